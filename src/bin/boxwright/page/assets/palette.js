// @ts-check
// Colours and strokes of curves: those of M. Okabe, K. Ito, "Color Universal Design" (2008), and a dash for each, so
// that
// no two curves are told apart by colour alone. Black turns to paper in the dark.

const LIGHT = ["#0072b2", "#e69f00", "#000000", "#56b4e9", "#d55e00", "#cc79a7", "#009e73"];
const DARK = ["#3a9bd4", "#e69f00", "#ece9e4", "#86c8ee", "#e8793a", "#cc79a7", "#1fb58b"];
const DASHES = [[], [9, 5], [2, 3], [12, 4, 3, 4], [5, 3]];

const dark = matchMedia("(prefers-color-scheme: dark)");

/** Calls this when light turns to dark or back. @param {() => void} then */
export function whenSchemeTurns(then) {
  dark.addEventListener("change", then);
  return () => dark.removeEventListener("change", then);
}

/** Colour of the curve in this place. @param {number} place */
export function colourAt(place) {
  const colours = dark.matches ? DARK : LIGHT;
  return colours[place % colours.length];
}

/** Strokes and gaps of the curve in this place. @param {number} place */
export function dashAt(place) {
  return DASHES[place % DASHES.length];
}

/** A colour of the style sheet. @param {string} name */
export function ink(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

/** A short piece of the curve's line, for a list of curves. @param {number} place */
export function lineSample(place) {
  const NS = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(NS, "svg");
  for (const [key, value] of Object.entries({ width: 34, height: 10, viewBox: "0 0 34 10", "aria-hidden": "true" }))
    svg.setAttribute(key, String(value));
  const line = document.createElementNS(NS, "line");
  const looks = {
    x1: 1,
    x2: 33,
    y1: 5,
    y2: 5,
    "stroke-width": 2.5,
    stroke: colourAt(place),
    "stroke-dasharray": dashAt(place).join(" "),
  };
  for (const [key, value] of Object.entries(looks)) line.setAttribute(key, String(value));
  svg.append(line);
  return svg;
}
