// @ts-check
// A task: what a person fills in, the command that comes of it, the button that does it, and what came of it.

import { commandInSight } from "./command.js";
import { element, fill, sayAloud } from "./element.js";
import { whenLeft } from "./leaving.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { record } from "./record.js";
import { outcome } from "./outcome.js";
import { send } from "./server.js";
import { askToPlay } from "./sounding.js";

/**
 * @typedef {import("./field.js").Field} Field
 * @typedef {{title: string, says?: string, groups: {heading?: string, fields: Field[], folded?: boolean}[],
 *   words: () => string[] | string, verb: string, sounds?: boolean, open?: boolean, after?: (document: any) => void,
 *   more?: Node[]}} Task
 */

/** A part of a view that opens and shuts. @param {string} title @param {boolean} open @param {...any} inside */
export function foldable(title, open, ...inside) {
  return element("details", { class: "task", open }, element("summary", {}, element("h2", {}, title)), ...inside);
}

/**
 * The whole task as a part of a view. `words` gives the argument list, or says what is missing.
 * @param {Task} task
 */
export function taskPart(task) {
  const command = commandInSight();
  const notice = noticePlace();
  const go = element("button", { type: "button", class: "go" }, task.verb);
  const form = element("div", { class: "form" }, task.groups.map(groupPart));
  const fields = task.groups.flatMap((group) => group.fields);
  const renew = () => {
    for (const field of fields) field.renew?.();
    command.show(task.words());
  };
  form.addEventListener("input", () => command.show(task.words()));
  form.addEventListener("change", () => command.show(task.words()));
  whenLeft(record.follow(() => keepFocus(form, renew)));
  go.addEventListener("click", () => act(task, go, notice));
  const told = task.says ? element("p", { class: "soft" }, task.says) : null;
  return foldable(
    task.title,
    task.open ?? false,
    told,
    form,
    command.element,
    element("div", { class: "actions" }, go, ...(task.more ?? [])),
    notice,
  );
}

/** @param {{heading?: string, fields: Field[], folded?: boolean}} group */
function groupPart({ heading, fields, folded }) {
  const grid = element(
    "div",
    { class: "fields" },
    fields.map((field) => field.element),
  );
  if (folded) return element("details", { class: "more" }, element("summary", {}, heading ?? "More"), grid);
  if (!heading) return grid;
  return element("fieldset", {}, element("legend", {}, heading), grid);
}

/** Renews something without taking the keyboard's place away. @param {Element} within @param {() => void} renew */
function keepFocus(within, renew) {
  const before = document.activeElement;
  const id = before && within.contains(before) ? before.id : "";
  renew();
  if (id && document.activeElement !== before) document.getElementById(id)?.focus();
}

/** @param {Task} task @param {HTMLButtonElement} go @param {Element} notice */
async function act(task, go, notice) {
  const words = task.words();
  if (typeof words === "string") return tellRefusal(notice, { says: words });
  if (task.sounds) return askToPlay(words, notice, go);
  const document = await runNear(words, notice, go);
  if (document && task.after) task.after(document);
}

/**
 * Runs a command and says near the button what came of it; the document, if there is one.
 * @param {string[]} words
 * @param {Element} notice
 * @param {HTMLButtonElement} button
 */
export async function runNear(words, notice, button) {
  if (button.getAttribute("aria-disabled") === "true") return null;
  button.setAttribute("aria-disabled", "true");
  fill(notice, element("p", { class: "working" }, "Working …"));
  try {
    const { exit, document } = await send("/api/run", { arguments: words });
    await record.load();
    fill(notice, outcome(document, exit, words));
    sayAloud(exit === 3 ? "Done; the answer is: not within the limits." : "Done.");
    return document;
  } catch (why) {
    tellRefusal(notice, why);
    return null;
  } finally {
    button.removeAttribute("aria-disabled");
  }
}
