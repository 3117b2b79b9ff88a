// @ts-check
// One stage of building: what was captured and found there, and what can be done there.

import { blendTask } from "./blend.js";
import { boxTask } from "./box.js";
import { captureImpedance, captureResponse } from "./capture.js";
import { averageTask, compareTask, matchTask, simulateTask } from "./compare.js";
import { driverTask } from "./driver.js";
import { element, fill } from "./element.js";
import { whenLeft } from "./leaving.js";
import { findingsCounted } from "./notice.js";
import { tableOf } from "./quantities.js";
import { ELSEWHERE, record, STAGES, stageOf } from "./record.js";

const TASKS = {
  "on the bench": (/** @type {string} */ stage) => [
    captureImpedance(stage, false),
    driverTask(stage),
    matchTask(stage, "magnitude_ohm"),
  ],
  "in its box": (/** @type {string} */ stage) => [captureImpedance(stage, false), boxTask(stage)],
  "on the stand": (/** @type {string} */ stage) => [
    captureResponse(stage, false),
    captureImpedance(stage, false),
    simulateTask(),
    compareTask(stage),
    matchTask(stage, "any"),
    averageTask(stage),
  ],
  "with the subwoofer": (/** @type {string} */ stage) => [
    captureResponse(stage, false),
    blendTask(stage),
    compareTask(stage),
  ],
};

/** @param {string} way */
export function stageView(way) {
  const stage = [...STAGES, ELSEWHERE].find((one) => one.way === way) ?? ELSEWHERE;
  const here = element("div", {});
  whenLeft(record.follow(() => showHere(here, stage)));
  const tasks = /** @type {Record<string, (stage: string) => HTMLElement[]>} */ (TASKS)[stage.name]?.(stage.name) ?? [];
  return element(
    "div",
    {},
    element("h1", { tabindex: -1 }, capital(stage.name)),
    element("p", { class: "soft" }, capital(stage.what)),
    here,
    tasks,
  );
}

/** @param {string} words */
export const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

/** @param {HTMLElement} here @param {any} stage */
function showHere(here, stage) {
  const focused = document.activeElement?.id;
  const captures = record.status.captures.filter((/** @type {any} */ one) => stageOf(one) === stage);
  const results = record.status.results.filter((/** @type {any} */ one) => stageOf(one) === stage);
  const ofCaptures = new Set(captures.flatMap((/** @type {any} */ capture) => capture.results));
  const others = results.filter((/** @type {any} */ one) => !ofCaptures.has(one.path));
  fill(
    here,
    element("h2", {}, "What there is"),
    captures.length
      ? capturesTable(captures)
      : element(
          "p",
          {},
          stage === ELSEWHERE ? "Nothing without a stage was captured." : "Nothing was captured at this stage yet.",
        ),
    others.length ? element("h3", {}, "Results of several captures") : null,
    others.length
      ? element(
          "ul",
          { class: "plain" },
          others.map((/** @type {any} */ one) => element("li", {}, resultLink(one, true))),
        )
      : null,
  );
  if (focused && document.activeElement?.id !== focused) document.getElementById(focused)?.focus();
}

/** @param {any[]} captures */
function capturesTable(captures) {
  return tableOf(
    ["Capture", "Note", "What came of it", "Next"],
    captures.map((capture) =>
      element(
        "tr",
        {},
        element(
          "th",
          { scope: "row" },
          element("code", {}, capture.path.split("/").pop()),
          element("br"),
          element("span", { class: "soft" }, [capture.unit, when(capture.when)].filter(Boolean).join(", ")),
        ),
        element("td", {}, capture.note ?? ""),
        element("td", {}, resultsOfCapture(capture)),
        element("td", {}, nextLinks(capture)),
      ),
    ),
  );
}

/** @param {any} capture */
function resultsOfCapture(capture) {
  const made = record.status.results.filter((/** @type {any} */ one) => capture.results.includes(one.path));
  return made.length
    ? element(
        "ul",
        { class: "plain" },
        made.map((/** @type {any} */ one) => element("li", {}, resultLink(one, false))),
      )
    : element("span", { class: "soft" }, capture.used_by?.length ? "tells the jig of others" : "not analysed yet");
}

/** @param {any} capture */
function nextLinks(capture) {
  const path = encodeURIComponent(capture.path);
  const link = (/** @type {string} */ to, /** @type {string} */ words) =>
    element(
      "a",
      { href: to, id: `next-${to.replace(/\W/g, "-")}`, "aria-label": `${words}: ${capture.path.split("/").pop()}` },
      words,
    );
  return element(
    "span",
    { class: "links" },
    link(`#/analyse/${capture.kind}/${path}`, capture.results.length ? "Analyse again" : "Analyse"),
    capture.kind === "response" ? link(`#/gate/${path}`, "Gate by hand") : null,
  );
}

/** A result with its state and what was noticed, in words. @param {any} result @param {boolean} withFolder */
export function resultLink(result, withFolder) {
  const words = withFolder ? `${result.kind}: ${result.path.replace(/\/[^/]*$/, "")}` : result.kind;
  const noticed = findingsCounted(result.findings);
  return element(
    "span",
    {},
    element(
      "a",
      {
        href: `#/result/${encodeURIComponent(result.path)}`,
        id: `result-${result.path.replace(/\W/g, "-")}`,
        "aria-label": `${result.kind}: ${result.path}`,
      },
      words,
    ),
    stateTag(result),
    noticed ? element("span", { class: "soft" }, `, ${noticed}`) : null,
  );
}

/** @param {any} result */
export function stateTag(result) {
  if (result.state === "out-of-date") return element("strong", { class: "tag stale" }, "out of date");
  return result.state === "unknown" ? element("span", { class: "tag" }, "origin not known") : null;
}

/** When it was, to the minute. @param {string | undefined} at */
export function when(at) {
  const date = at ? new Date(at) : null;
  return date && !Number.isNaN(date.getTime())
    ? date.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" })
    : "";
}
