// @ts-check
// The job: what stands where, what is out of date and why, what to do next, and any command at all.

import { commandInSight, commandLine, commandShown, wordsOf } from "./command.js";
import { element, fill } from "./element.js";
import { textField } from "./field.js";
import { whenLeft } from "./leaving.js";
import { findingsList, noticePlace, refusal, tellRefusal } from "./notice.js";
import { rowOf, tableOf } from "./quantities.js";
import { asPartOfAName, ELSEWHERE, record, STAGES, stageOf } from "./record.js";
import { askToPlay } from "./sounding.js";
import { capital, stateTag } from "./stage.js";
import { foldable, runNear, taskPart } from "./task.js";

const SOUNDS = new Set(["level", "capture"]);

export function jobView() {
  const heading = element("h1", { tabindex: -1 });
  const here = element("div", {});
  const stale = stalePart();
  const next = element("div", {});
  const show = () => {
    const table = [element("h2", {}, "What stands where"), whereTable()];
    fill(heading, record.name);
    const wrong = record.told.job_error ?? record.told.status_error;
    fill(here, jobError(wrong), wrong ? null : table, findingsList(record.status.findings));
    stale.show();
    fill(next, nextPart());
  };
  whenLeft(record.follow(show));
  return element("div", {}, heading, here, stale.element, next, reportTask(), checkTask(), anyCommand());
}

/** @param {any} error */
function jobError(error) {
  return error ? refusal({ says: error.says, advice: error.advice }) : null;
}

/** Units over stages: how much there is, and what of it is out of date. */
function whereTable() {
  const names = record.unitNames();
  const things = [...record.status.captures, ...record.status.results];
  const known = new Set(names.map(asPartOfAName));
  const loose = things.some((thing) => !thing.unit || !known.has(asPartOfAName(thing.unit)));
  const stages = things.some((thing) => stageOf(thing) === ELSEWHERE) ? [...STAGES, ELSEWHERE] : STAGES;
  if (things.length === 0 && names.length === 0)
    return element(
      "p",
      {},
      "Nothing was captured in this folder yet. Begin with the sound card and the level, then with the driver on the bench.",
    );
  const rows = names.map((/** @type {string} */ name) =>
    rowOf(
      name,
      ...stages.map((stage) => cell((thing) => thing.unit && asPartOfAName(thing.unit) === asPartOfAName(name), stage)),
    ),
  );
  const rest = loose
    ? [
        rowOf(
          "not of one unit",
          ...stages.map((stage) => cell((thing) => !thing.unit || !known.has(asPartOfAName(thing.unit)), stage)),
        ),
      ]
    : [];
  return tableOf(["Unit", ...stages.map((stage) => capital(stage.name))], [...rows, ...rest]);
}

/** @param {(thing: any) => any} belongs @param {any} stage */
function cell(belongs, stage) {
  const captures = record.status.captures.filter(
    (/** @type {any} */ one) => belongs(one) && stageOf(one) === stage,
  ).length;
  const results = record.status.results.filter((/** @type {any} */ one) => belongs(one) && stageOf(one) === stage);
  const stale = results.filter((/** @type {any} */ one) => one.state === "out-of-date").length;
  if (captures + results.length === 0) return element("span", { class: "soft" }, "–");
  const counted = [
    [captures, "capture"],
    [results.length, "result"],
  ]
    .filter(([count]) => count)
    .map(([count, word]) => `${count} ${word}${count === 1 ? "" : "s"}`)
    .join(", ");
  return element(
    "span",
    {},
    element("a", { href: `#/stage/${stage.way}` }, counted),
    stale ? element("strong", { class: "tag stale" }, `${stale} out of date`) : null,
  );
}

function stalePart() {
  const list = element("div", {});
  const notice = noticePlace();
  const words = ["status", "--do"];
  const go = element("button", { type: "button", class: "go" }, "Do them");
  go.addEventListener("click", () => runNear(words, notice, go));
  const doing = element("div", {}, commandShown(words), element("div", { class: "actions" }, go));
  const part = element("section", {}, element("h2", {}, "Out of date"), list, doing, notice);
  const show = () => {
    part.hidden = Boolean(record.told.job_error ?? record.told.status_error);
    doing.hidden = record.status.todo.length === 0;
    fill(list, todoList(record.status.todo), unknownList());
  };
  return { element: part, show };
}

/** @param {any[]} todo */
function todoList(todo) {
  if (todo.length === 0) return element("p", {}, "Everything is as its inputs are.");
  const entries = todo.map(({ says, command, run_in = "." }) => {
    const where = run_in === "." ? null : element("small", {}, `in ${run_in}`);
    return element("li", {}, says, commandShown(command), where);
  });
  return element("ol", {}, entries);
}

/** Results that don't say what they were made from. */
function unknownList() {
  const unknown = record.status.results.filter((/** @type {any} */ one) => one.state === "unknown");
  if (unknown.length === 0) return null;
  const entries = unknown.map((/** @type {any} */ one) => {
    const link = element("a", { href: `#/result/${encodeURIComponent(one.path)}` }, one.path);
    return element("li", {}, link, stateTag(one));
  });
  const summary = element("summary", {}, `${unknown.length} of which nobody knows what they came from`);
  return element("details", { class: "more" }, summary, element("ul", {}, entries));
}

function nextPart() {
  const { next } = record.status;
  if (next.length === 0) return null;
  return element(
    "section",
    {},
    element("h2", {}, "What to do next"),
    element(
      "ol",
      {},
      next.map((/** @type {any} */ one) => {
        const at = one.command.indexOf("--stage");
        const stage = STAGES.find(({ name }) => at >= 0 && one.command[at + 1] === name);
        return element(
          "li",
          {},
          one.says,
          commandShown(one.command),
          stage ? element("a", { href: `#/stage/${stage.way}` }, `Go to: ${stage.name}`) : null,
          SOUNDS.has(one.command[0]) || (one.run_in ?? ".") !== "." ? null : doItHere(one.command),
        );
      }),
    ),
  );
}

/** @param {string[]} words */
function doItHere(words) {
  const notice = noticePlace();
  const go = element("button", { type: "button", "aria-label": `Do it: ${commandLine(words)}` }, "Do it");
  go.addEventListener("click", () => runNear(words, notice, go));
  return element("div", {}, element("div", { class: "actions" }, go), notice);
}

function reportTask() {
  return taskPart({
    title: "A report to keep",
    verb: "Write the report",
    words: () => ["report"],
    groups: [],
    says: "One file with everything in it: the story by stages, pictures, numbers, settings, cautions. It opens without this program.",
  });
}

function checkTask() {
  return taskPart({
    title: "Judge it by its limits",
    verb: "Check",
    words: () => ["check"],
    groups: [],
    says: "The job's own limits, [limits] in job.toml: against the design, within a pair.",
  });
}

function anyCommand() {
  const field = textField("Command", {
    hint: "As on a terminal in this folder; quotes as a shell has them. Enter does it.",
    shows: "join near.csv far.csv --job .",
  });
  const command = commandInSight();
  const notice = noticePlace();
  const go = element("button", { type: "button", class: "go" }, "Do it");
  const words = () => {
    try {
      const parted = wordsOf(field.value());
      return parted.length ? parted : "Type a command.";
    } catch (why) {
      return capital(`${/** @type {Error} */ (why).message}.`);
    }
  };
  const act = () => {
    const now = words();
    if (typeof now === "string") return tellRefusal(notice, { says: now });
    return SOUNDS.has(now[0]) ? askToPlay(now, notice, go) : runNear(now, notice, go);
  };
  field.control.addEventListener("input", () => command.show(words()));
  field.control.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
    if (event.key === "Enter") act();
  });
  go.addEventListener("click", act);
  command.show(words());
  return foldable(
    "Any other command",
    false,
    element("div", { class: "fields" }, field.element),
    command.element,
    element("div", { class: "actions" }, go),
    notice,
  );
}
