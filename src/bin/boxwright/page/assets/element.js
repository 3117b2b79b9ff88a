// @ts-check
// Pieces of the page, made from a name, what they carry and what stands in them. Text is always text, never markup.

/** @typedef {Node | string | number | null | undefined | false} Child */

/**
 * An element: `on…` are listeners, `true` an attribute without value, `false` and `undefined` are left out.
 * @param {string} name
 * @param {Record<string, any>} [carries]
 * @param {...(Child | Child[])} children
 * @returns {any}
 */
export function element(name, carries = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(carries)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : String(value));
  }
  fill(made, ...children);
  return made;
}

/**
 * Puts these children in place of what was there.
 * @param {Element} into
 * @param {...(Child | Child[])} children
 */
export function fill(into, ...children) {
  const kept = children.flat().filter((child) => child !== null && child !== undefined && child !== false);
  into.replaceChildren(...kept.map((child) => (child instanceof Node ? child : String(child))));
}

let named = 0;

/** A name that no other element of the page has. @param {string} stem */
export function freshName(stem) {
  named += 1;
  return `${stem}-${named}`;
}

/** Says something to a person who hears the page. @param {string} text */
export function sayAloud(text) {
  const said = document.getElementById("said");
  if (said) said.textContent = text;
}
