// @ts-check
// A result document for people: the answer first, then what was noticed, numbers, pictures, and where it came from.

import { element } from "./element.js";
import { decibel, figure, hertz, measured } from "./number.js";
import { findingsList } from "./notice.js";
import { numbersTable, nameOf, rowOf, tableOf, valueOf } from "./quantities.js";
import { resultPictures } from "./result_pictures.js";

/** Kind of a document, from its schema. @param {any} document */
export function kindOf(document) {
  return /^boxwright\/([a-z-]+)\//.exec(document?.schema ?? "")?.[1] ?? "";
}

/** Everything that is to be seen of a result. @param {any} document @returns {HTMLElement} */
export function resultBody(document) {
  const pictures = resultPictures(document, kindOf(document));
  const numbers = foldedNumbers(document);
  const inOrder = ["driver", "box"].includes(kindOf(document)) ? [numbers, ...pictures] : [...pictures, numbers];
  return element(
    "div",
    { class: "result" },
    answer(document),
    findingsList(document.findings),
    special(document),
    inOrder,
    origin(document),
  );
}

/** The answer in a sentence, for what judges or decides. @param {any} document */
function answer(document) {
  const lines = {
    compare: () =>
      `${document.within ? "Within the limits" : "Not within the limits"}: ${decibel(document.rms_db)} rms, at worst ${decibel(document.worst.level_db)} at ${hertz(document.worst.at_hz)}.`,
    match: () =>
      document.within
        ? "They are alike within the limits."
        : `They are not alike within the limits.${document.odd_one_out ? ` The odd one out: ${document.odd_one_out}.` : ""}`,
    box: () =>
      ({ yes: "The box leaks.", no: "The box is airtight.", undecided: "Whether the box leaks can't be told." })[
        /** @type {"yes"} */ (document.leak?.present)
      ] ?? "",
    blend: () => (document.menu ? `To enter: ${document.menu.join("; ")}.` : ""),
    level: () =>
      document.proposed_level_dbfs === undefined
        ? ""
        : `Proposed level: ${figure(document.proposed_level_dbfs, 3)} dBFS.`,
    check: () =>
      document.within === undefined ? "" : judged(document),
  };
  const line = /** @type {Record<string, () => string>} */ (lines)[kindOf(document)]?.();
  return line ? element("p", { class: "answer" }, line) : null;
}

/** What a check comes to: what can't be told is no praise. @param {any} document */
function judged(document) {
  const has = (/** @type {string} */ verdict) => document.verdicts.some((/** @type {any} */ one) => one.verdict === verdict);
  if (!document.within) return "Not within its limits.";
  if (has("undecided")) return "Nothing is outside its limits; of some the measurement's doubt is too large to tell.";
  return has("not judged") ? "What was judged is within its limits; not all could be." : "Within its limits.";
}

/** Numbers in sight where they are the result itself, folded where a picture is. @param {any} document */
function foldedNumbers(document) {
  const table = numbersTable(document);
  if (!table) return null;
  if (["driver", "box", "impedance", "response"].includes(kindOf(document))) return table;
  return element("details", { class: "more" }, element("summary", {}, "Numbers"), table);
}

/** Tables that one kind of document has. @param {any} document */
function special(document) {
  return [
    document.causes ? causes(document) : null,
    document.pairs ? pairs(document) : null,
    Array.isArray(document.design) ? design(document) : null,
    document.datasheet ? dataSheet(document) : null,
    kindOf(document) === "blend" ? seats(document) : null,
    document.peaks ? peaks(document) : null,
    kindOf(document) === "level" ? channels(document) : null,
    document.changed ? changed(document) : null,
    document.wrinkles ? wrinkles(document) : null,
  ];
}

/** @param {any} document */
function causes({ causes: found, left }) {
  const rest = left?.says ? element("p", { class: "soft" }, left.says) : null;
  if (found.length === 0) return rest;
  const rows = found.map((/** @type {any} */ cause) =>
    rowOf(cause.cause, cause.says, `${figure(cause.explains_percent, 2)} %`),
  );
  return element(
    "div",
    {},
    element("h3", {}, "What explains the difference"),
    tableOf(["Cause", "Finding", "Explains"], rows),
    rest,
  );
}

/** @param {any} document */
function pairs({ pairs: compared }) {
  const rows = compared.map((/** @type {any} */ pair) =>
    rowOf(
      `${pair.a} and ${pair.b}`,
      decibel(pair.level_db),
      decibel(pair.rms_db),
      pair.worst ? `${decibel(pair.worst.level_db)} at ${hertz(pair.worst.at_hz)}` : "–",
      pair.verdict ?? (pair.within ? "within" : "not within"),
    ),
  );
  return tableOf(["Pair", "Level", "Difference, rms", "Worst", "Verdict"], rows);
}

/** @param {any} document */
function design({ design: compared }) {
  const rows = compared.map((/** @type {any} */ one) =>
    rowOf(
      nameOf(one.quantity),
      measured({ value: one.designed, unit: one.found?.unit }),
      measured(one.found),
      one.says,
    ),
  );
  return element(
    "div",
    {},
    element("h3", {}, "Beside the design"),
    tableOf(["Quantity", "Designed", "Found", "What it means"], rows),
  );
}

/** @param {any} document */
function dataSheet({ datasheet }) {
  const rows = (datasheet.quantities ?? []).map((/** @type {any} */ one) =>
    rowOf(
      nameOf(one.quantity),
      measured(one.promised),
      measured(one.found),
      one.difference ? measured(one.difference) : "",
      one.beyond_usual ? "more than usual" : one.significant ? "real, and usual" : "none to speak of",
    ),
  );
  return element(
    "div",
    {},
    element("h3", {}, "Beside its data sheet"),
    tableOf(["Quantity", "Promised", "Found", "Difference", "Which is"], rows),
  );
}

/** @param {any} document */
function seats({ seats: heard }) {
  const rows = heard.map((/** @type {any} */ seat) =>
    rowOf(seat.name, decibel(seat.ripple_db), seat.without_help_db === undefined ? "–" : decibel(seat.without_help_db)),
  );
  return tableOf(["Seat", "Ripple", "Without help"], rows);
}

/** @param {any} document */
function peaks({ peaks: found }) {
  if (found.length === 0) return null;
  return tableOf(
    ["Peak at", "Height"],
    found.map((/** @type {any} */ peak) => rowOf(hertz(peak.frequency_hz), `${figure(peak.magnitude_ohm)} Ω`)),
  );
}

/** @param {any} document */
function channels({ channels: heard }) {
  const dbfs = (/** @type {number | undefined} */ level) =>
    level === undefined || level === null ? "–" : `${decibel(level)}FS`;
  return tableOf(
    ["Input", "Peak", "Tone", "Noise", "Tone over noise"],
    heard.map((/** @type {any} */ one) =>
      rowOf(
        `${one.channel}, ${one.what}`,
        dbfs(one.peak_dbfs),
        dbfs(one.tone_dbfs),
        dbfs(one.noise_dbfs),
        one.snr_db === undefined ? "–" : decibel(one.snr_db),
      ),
    ),
  );
}

/** @param {any} document */
function changed({ changed: places }) {
  if (places.length === 0) return null;
  return element(
    "div",
    {},
    element("h3", {}, "What changed by more than its doubt"),
    element(
      "ul",
      {},
      places.map((/** @type {any} */ place) =>
        element(
          "li",
          {},
          place.says ?? `${hertz(place.from_hz ?? place.band_hz?.[0])} to ${hertz(place.to_hz ?? place.band_hz?.[1])}`,
        ),
      ),
    ),
  );
}

/** @param {any} document */
function wrinkles({ wrinkles: found }) {
  if (found.length === 0) return null;
  const rows = found.map((/** @type {any} */ one) =>
    rowOf(hertz(one.frequency_hz), `${figure(one.height_ohm, 2)} Ω`, (one.hints ?? []).join("; ") || "–"),
  );
  return element("div", {}, element("h3", {}, "What rings"), tableOf(["At", "Height", "It may be"], rows));
}

/** Settings, inputs and files, folded away. @param {any} document */
function origin(document) {
  const settings = Object.entries(document.settings ?? {}).map(([key, value]) =>
    rowOf(nameOf(key), valueOf(key, value) ?? JSON.stringify(value)),
  );
  const inputs = (document.inputs ?? []).map((/** @type {any} */ input) =>
    rowOf(input.path, element("code", {}, input.sha256.slice(0, 12))),
  );
  if (settings.length + inputs.length === 0) return null;
  return element(
    "details",
    { class: "more" },
    element("summary", {}, "Settings and origin"),
    settings.length ? tableOf(["Setting", "Value"], settings) : null,
    inputs.length ? tableOf(["Made from", "SHA-256, beginning"], inputs) : null,
  );
}
