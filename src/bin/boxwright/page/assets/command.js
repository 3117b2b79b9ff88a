// @ts-check
// A command of the program: as an argument list, as a line for a shell, as a piece of the page with a button to copy
// it.

import { element, fill, sayAloud } from "./element.js";

const PLAIN = /^[\p{L}\p{N}_@%+=:,./-]+$/u;
/** What a POSIX shell would act on within double quotes. */
const ACTED_ON = /[$`"\\!]/;

/** @param {string} argument */
function quoted(argument) {
  if (PLAIN.test(argument)) return argument;
  if (!ACTED_ON.test(argument)) return `"${argument}"`;
  return `'${argument.replace(/'/g, "'\\''")}'`;
}

/** The line for a shell. @param {string[]} words */
export function commandLine(words) {
  return ["boxwright", ...words].map(quoted).join(" ");
}

/**
 * The words of a line as a POSIX shell would part it; `boxwright` at its beginning is left out.
 * @param {string} line
 * @returns {string[]}
 */
export function wordsOf(line) {
  const words = [];
  const word = /\s*((?:'[^']*'|"(?:[^"\\]|\\.)*"|\\.|[^\s'"\\])+)/gy;
  const rest = line.trimEnd();
  for (let found = word.exec(rest); found; found = word.exec(rest)) {
    words.push(
      found[1].replace(
        /'([^']*)'|"((?:[^"\\]|\\.)*)"|\\(.)/g,
        (_, single, double, bare) => single ?? (double === undefined ? bare : double.replace(/\\([$`"\\])/g, "$1")),
      ),
    );
    if (word.lastIndex >= rest.length) return words[0] === "boxwright" ? words.slice(1) : words;
  }
  throw new Error("a quote is opened and not closed");
}

/**
 * An option with its value, or nothing where there is none.
 * @param {string} name
 * @param {any} value
 * @returns {string[]}
 */
export function option(name, value) {
  if (value === undefined || value === null || value === false || value === "") return [];
  if (value === true) return [name];
  return [name, String(value)];
}

/**
 * The options of several fields, by their names.
 * @param {Record<string, string>} names Option of the program, and key of the field.
 * @param {Record<string, {value: () => any}>} fields
 */
export function optionWords(names, fields) {
  return Object.entries(names).flatMap(([name, key]) => option(name, fields[key].value()));
}

/**
 * The command in sight, with a button to copy it. `show` changes it; a text instead of words says what is missing.
 * @returns {{element: HTMLElement, show: (words: string[] | string) => void}}
 */
export function commandInSight() {
  const code = element("code");
  const copy = element("button", { type: "button", class: "quiet", "aria-label": "Copy the command" }, "Copy");
  const box = element("div", { class: "command" }, code, copy);
  copy.addEventListener("click", () => copyText(code.textContent, copy));
  const show = (/** @type {string[] | string} */ words) => {
    const missing = typeof words === "string";
    fill(code, missing ? words : commandLine(words));
    box.classList.toggle("missing", missing);
    copy.disabled = missing;
  };
  return { element: box, show };
}

/** @param {string[]} words */
export function commandShown(words) {
  const command = commandInSight();
  command.show(words);
  return command.element;
}

/** @param {string} text @param {HTMLElement} button */
async function copyText(text, button) {
  const before = button.textContent;
  try {
    await navigator.clipboard.writeText(text);
    button.textContent = "Copied";
    sayAloud("The command is copied.");
  } catch {
    const code = /** @type {Node} */ (button.previousSibling);
    getSelection()?.selectAllChildren(code);
    button.textContent = "Selected";
    sayAloud("The command is selected; copy it with the keyboard.");
  }
  setTimeout(() => {
    button.textContent = before;
  }, 1500);
}
