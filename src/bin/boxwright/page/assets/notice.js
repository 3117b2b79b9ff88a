// @ts-check
// What is said near a thing: findings with their severity as a word, refusals with what to do about them.

import { element, fill, sayAloud } from "./element.js";
import { hertz } from "./number.js";

const RANK = { fault: 0, caution: 1, note: 2 };

/** @param {any} finding */
const rank = (finding) => /** @type {Record<string, number>} */ (RANK)[finding.severity] ?? 3;

/** Where in the curve or recording a finding lies, in words. @param {any} at */
function whereabouts(at) {
  const places = [];
  if (at?.from_hz !== undefined && at?.to_hz !== undefined) places.push(`${hertz(at.from_hz)} to ${hertz(at.to_hz)}`);
  else if (at?.at_hz !== undefined) places.push(`at ${hertz(at.at_hz)}`);
  if (at?.channel !== undefined) places.push(`channel ${at.channel}`);
  return places.join(", ");
}

/** Findings, the gravest first. @param {any[] | undefined} findings */
export function findingsList(findings) {
  if (!findings?.length) return null;
  const sorted = [...findings].sort((a, b) => rank(a) - rank(b));
  return element(
    "ul",
    { class: "findings" },
    sorted.map((finding) => {
      const where = whereabouts(finding.at);
      return element(
        "li",
        { class: finding.severity },
        element(
          "p",
          {},
          element("strong", { class: "severity" }, finding.severity),
          ` ${finding.code}: `,
          finding.says,
          where ? ` (${where})` : "",
        ),
        finding.advice ? element("p", { class: "soft" }, `Try: ${finding.advice}`) : null,
      );
    }),
  );
}

/** How many findings of which severity, in words; empty for none. @param {Record<string, number> | undefined} counts */
export function findingsCounted(counts = {}) {
  const words = ["fault", "caution", "note"]
    .filter((severity) => counts[severity] > 0)
    .map((severity) => `${counts[severity]} ${severity}${counts[severity] === 1 ? "" : "s"}`);
  return words.join(", ");
}

/** Why it was not done and what to try. @param {any} why */
export function refusal(why) {
  const advice = why.advice ? element("p", { class: "soft" }, `Try: ${why.advice}`) : null;
  return element(
    "div",
    { class: "refused" },
    element("p", {}, element("strong", {}, "Not done: "), why.says ?? why.message),
    advice,
  );
}

/** A place for what is said near a thing. */
export function noticePlace() {
  return element("div", { class: "notice" });
}

/** Says near a thing, and aloud, why it was not done. @param {Element} place @param {any} why */
export function tellRefusal(place, why) {
  fill(place, refusal(why));
  sayAloud(`Not done: ${why.says ?? why.message}. ${why.advice ? `Try: ${why.advice}` : ""}`);
}

/** The cautions, as before any sound. @param {{heading: string, says: string}[]} cautions */
export function cautionsList(cautions) {
  return element(
    "dl",
    { class: "cautions" },
    cautions.flatMap(({ heading, says }) => [element("dt", {}, heading), element("dd", {}, says)]),
  );
}
