// @ts-check
// What came of a command, told where it was asked for.

import { bench } from "./bench.js";
import { commandShown } from "./command.js";
import { element } from "./element.js";
import { kindOf, resultBody } from "./result.js";
import { record } from "./record.js";

/** Where a result lies among those of the job. @param {any} document */
export function placeOf(document) {
  const written = new Set((document?.files ?? []).map((/** @type {any} */ file) => record.inJob(file.path)));
  return record.status.results.find((/** @type {any} */ result) => written.has(result.path))?.path;
}

/** The recording that a capture wrote. @param {any} document */
function recordingOf(document) {
  if (kindOf(document) !== "capture") return undefined;
  const wav = document.files.find(
    (/** @type {any} */ file) => file.path.endsWith(".wav") && !file.path.endsWith(".excitation.wav"),
  );
  return wav && record.inJob(wav.path);
}

/** @param {any} document @param {number} exit @param {string[]} words */
export function outcome(document, exit, words) {
  const path = placeOf(document);
  const wav = recordingOf(document);
  return element(
    "section",
    { class: "outcome", "aria-label": "What came of it" },
    words.length
      ? element("p", { class: "soft" }, exit === 3 ? "Done; the answer is: not within the limits." : "Done.")
      : null,
    wav ? recorded(wav) : null,
    ["level", "match", "network", "check"].includes(kindOf(document)) || path
      ? resultBody(document)
      : written(document),
    kindOf(document) === "level" ? takeLevel(document) : null,
    path
      ? element("p", {}, element("a", { href: `#/result/${encodeURIComponent(path)}` }, "This result on its own"))
      : null,
  );
}

/** @param {string} wav */
function recorded(wav) {
  const kind = /-impedance(-\d+)?\.wav$/.test(wav) ? "impedance" : "response";
  return element(
    "div",
    {},
    element("p", {}, "Recorded: ", element("code", {}, wav), ". What comes of it:"),
    commandShown([kind, wav]),
    element("p", {}, element("a", { href: `#/analyse/${kind}/${encodeURIComponent(wav)}` }, `Analyse it`)),
  );
}

/** @param {any} document */
function written(document) {
  const files = document?.files ?? [];
  const body = resultBody(document ?? {});
  if (files.length === 0) return body;
  return element(
    "div",
    {},
    body,
    element(
      "ul",
      { class: "files" },
      files.map((/** @type {any} */ file) =>
        element("li", {}, element("code", {}, record.inJob(file.path)), file.what ? ` ${file.what}` : ""),
      ),
    ),
  );
}

/** @param {any} document */
function takeLevel(document) {
  const level = document.proposed_level_dbfs;
  if (level === undefined || level === null) return null;
  const take = element("button", { type: "button" }, `Use ${level} dBFS for the captures`);
  take.addEventListener("click", () => {
    bench.set("level_dbfs", String(level));
    take.replaceWith(element("p", { class: "soft" }, `The captures begin with ${level} dBFS.`));
  });
  return take;
}
