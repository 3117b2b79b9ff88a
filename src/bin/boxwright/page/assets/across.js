// @ts-check
// What may be wider than the page: it scrolls by itself, and is reached by the keyboard where it does.

import { element } from "./element.js";

/** @type {WeakMap<Element, HTMLElement>} */
const boxes = new WeakMap();
const sizes = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    const box = boxes.get(target) ?? /** @type {HTMLElement} */ (target);
    const scrolls = box.scrollWidth > box.clientWidth + 1;
    if (scrolls) box.setAttribute("tabindex", "0");
    else box.removeAttribute("tabindex");
  }
});

/** @param {string} label @param {HTMLElement} wide @returns {HTMLElement} */
export function across(label, wide) {
  const box = element("div", { class: "across", role: "group", "aria-label": label }, wide);
  boxes.set(wide, box);
  sizes.observe(wide);
  sizes.observe(box);
  return box;
}
