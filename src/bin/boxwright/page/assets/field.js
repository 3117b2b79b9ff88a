// @ts-check
// What a person fills in: text, numbers, choices, curves of the job. Each field knows its value and its label.

import { element, fill, freshName } from "./element.js";
import { record, stageOf } from "./record.js";
import { hertz } from "./number.js";

/**
 * @typedef {{element: HTMLElement, control: any, value: () => any, set: (value: any) => void, renew?: () => void}} Field
 */

/** @param {string} label @param {any} control @param {string} [hint] @returns {HTMLElement} */
function labelled(label, control, hint) {
  control.id ||= freshName("field");
  const told = hint ? element("small", { id: `${control.id}-hint` }, hint) : null;
  if (told) control.setAttribute("aria-describedby", told.id);
  return element("div", { class: "field" }, element("label", { for: control.id }, label), control, told);
}

/**
 * A line of text or a number with its unit, as people type it: `5 ms`, `2.8 l`.
 * @param {string} label
 * @param {{hint?: string, value?: string, shows?: string, list?: () => string[], size?: number}} [more]
 * @returns {Field}
 */
export function textField(label, { hint, value = "", shows, list, size } = {}) {
  const control = element("input", {
    type: "text",
    autocomplete: "off",
    spellcheck: "false",
    placeholder: shows,
    size,
  });
  control.value = value;
  const field = {
    element: labelled(label, control, hint),
    control,
    value: () => control.value.trim(),
    set: (/** @type {any} */ to) => {
      control.value = to;
    },
  };
  if (!list) return field;
  const choices = element("datalist", { id: freshName("choices") });
  control.setAttribute("list", choices.id);
  field.element.append(choices);
  return {
    ...field,
    renew: () =>
      fill(
        choices,
        list().map((name) => element("option", { value: name })),
      ),
  };
}

/**
 * One of several; the choices are pairs of value and words.
 * @param {string} label
 * @param {() => [string, string][]} choices
 * @param {{hint?: string, value?: string}} [more]
 * @returns {Field}
 */
export function choiceField(label, choices, { hint, value = "" } = {}) {
  const control = element("select");
  let wanted = value;
  const renew = () => {
    const offered = choices();
    fill(
      control,
      offered.map(([name, words]) => element("option", { value: name }, words)),
    );
    if (offered.some(([name]) => name === wanted)) control.value = wanted;
  };
  control.addEventListener("change", () => {
    wanted = control.value;
  });
  const set = (/** @type {string} */ to) => {
    wanted = to;
    renew();
  };
  renew();
  return { element: labelled(label, control, hint), control, value: () => control.value, set, renew };
}

/** Choices that are called what they are. @param {string[]} names @returns {[string, string][]} */
export function asTheyAre(names) {
  return names.map((name) => [name, name]);
}

/** @param {string} label @param {{hint?: string, value?: boolean}} [more] @returns {Field} */
export function yesField(label, { hint, value = false } = {}) {
  const control = element("input", { type: "checkbox", id: freshName("field") });
  control.checked = value;
  const told = hint ? element("small", { id: `${control.id}-hint` }, hint) : null;
  if (told) control.setAttribute("aria-describedby", told.id);
  const whole = element("div", { class: "field yes" }, control, element("label", { for: control.id }, label), told);
  return {
    element: whole,
    control,
    value: () => control.checked,
    set: (to) => {
      control.checked = to;
    },
  };
}

/** A curve's path with what lies behind it. @param {any} curve */
export function curveWords(curve) {
  return `${curve.path} (${hertz(curve.from_hz)} to ${hertz(curve.to_hz)})`;
}

/** Curves of this stage first, the others after them. @param {any[]} curves @param {string} [stage] */
export function stageFirst(curves, stage) {
  const here = curves.filter((curve) => stage && stageOf(curve).name === stage);
  return [...here, ...curves.filter((curve) => !here.includes(curve))];
}

/**
 * A curve of the job, or none.
 * @param {string} label
 * @param {"level_db" | "magnitude_ohm" | "any"} measure
 * @param {{hint?: string, stage?: string, optional?: string, wanted?: (path: string) => boolean}} [more]
 * @returns {Field}
 */
export function curveField(label, measure, { hint, stage, optional, wanted } = {}) {
  const choices = () => {
    const all = measure === "any" ? record.curves : record.curvesOf(measure);
    const offered = stageFirst(all, stage).map(
      (curve) => /** @type {[string, string]} */ ([curve.path, curveWords(curve)]),
    );
    return /** @type {[string, string][]} */ ([["", optional ?? "choose a curve"], ...offered]);
  };
  const first = wanted ? (stageFirst(record.curves, stage).find((curve) => wanted(curve.path))?.path ?? "") : "";
  return choiceField(label, choices, { hint, value: first });
}

/**
 * Several curves of the job, ticked.
 * @param {string} label
 * @param {"level_db" | "magnitude_ohm" | "any"} measure
 * @param {{stage?: string}} [more]
 * @returns {Field}
 */
export function curvesField(label, measure, { stage } = {}) {
  const list = element("div", { class: "ticks" });
  const whole = element("fieldset", { class: "field curves" }, element("legend", {}, label), list);
  /** @type {Set<string>} */
  let ticked = new Set();
  const renew = () => {
    const all = stageFirst(measure === "any" ? record.curves : record.curvesOf(measure), stage);
    fill(
      list,
      all.length
        ? all.map((curve) => tick(curve, ticked))
        : element("p", { class: "soft" }, "There are no curves yet."),
    );
  };
  renew();
  const value = () =>
    record.curves
      .map((/** @type {any} */ curve) => curve.path)
      .filter((/** @type {string} */ path) => ticked.has(path));
  return {
    element: whole,
    control: whole,
    value,
    set: (paths) => {
      ticked = new Set(paths);
      renew();
    },
    renew,
  };
}

/** @param {any} curve @param {Set<string>} ticked */
function tick(curve, ticked) {
  const box = element("input", { type: "checkbox", id: freshName("tick"), value: curve.path });
  box.checked = ticked.has(curve.path);
  box.addEventListener("change", () => {
    box.checked ? ticked.add(curve.path) : ticked.delete(curve.path);
  });
  return element("div", {}, box, element("label", { for: box.id }, curveWords(curve)));
}
