// @ts-check
// A number to slide and to type: both show the same value.

import { element, freshName } from "./element.js";

/**
 * @param {string} label
 * @param {{from: number, to: number, step: number, value: number, unit: string, changed: (value: number) => void, among?: number[]}} how
 *   `among` lists the only values that there are; the slider then goes from one to the next.
 */
export function slider(label, { from, to, step, value, unit, changed, among }) {
  const id = freshName("slide");
  const ends = among ? { min: 0, max: among.length - 1, step: 1 } : { min: from, max: to, step };
  const range = element("input", { type: "range", id, ...ends });
  const typed = { type: "number", min: from, max: to, step: among ? "any" : step };
  const number = element("input", { ...typed, "aria-label": `${label}, ${unit}` });
  const nearest = (/** @type {number} */ wish) =>
    among
      ? among.reduce((best, one) => (Math.abs(one - wish) < Math.abs(best - wish) ? one : best))
      : Math.min(to, Math.max(from, wish));
  let now = value;
  const show = () => {
    range.value = String(among ? among.indexOf(now) : now);
    range.setAttribute("aria-valuetext", `${now} ${unit}`);
    number.value = String(now);
  };
  const set = (/** @type {number} */ wish) => {
    now = nearest(Math.round(wish * 1000) / 1000);
    show();
  };
  range.addEventListener("input", () => {
    set(among ? among[Number(range.value)] : Number(range.value));
    changed(now);
  });
  number.addEventListener("change", () => {
    set(Number(number.value));
    changed(now);
  });
  set(value);
  const whole = element("div", { class: "slide" }, element("label", { for: id }, `${label}, ${unit}`), range, number);
  return { element: whole, set, value: () => now };
}
