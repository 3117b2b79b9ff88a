// @ts-check
// The numbers of a result document as a table: the field's symbols, values with their doubt, units from the keys.

import { across } from "./across.js";
import { element } from "./element.js";
import { decibel, figure, hertz, isQuantity, measured } from "./number.js";

/** Symbols and words for keys that don't speak for themselves; what follows `_` is set lower. */
const NAMES = {
  re: "R_e",
  fs: "f_s",
  fc: "f_c",
  fb: "f_b",
  qms: "Q_ms",
  qes: "Q_es",
  qts: "Q_ts",
  qmc: "Q_mc",
  qec: "Q_ec",
  qtc: "Q_tc",
  ql: "Q_L",
  qa: "Q_A",
  qp: "Q_P",
  vas: "V_as",
  sd: "S_d",
  mms: "M_ms",
  mmd: "M_md",
  cms: "C_ms",
  rms: "R_ms",
  bl: "Bl",
  eta0: "η_0",
  alpha: "V_as/V",
  le: "L_e",
  l2: "L_2",
  r2: "R_2",
  f3: "F_3",
  f6: "F_6",
  f10: "F_10",
  zmax: "Z_max",
  sensitivity: "sensitivity, 2.83 V at 1 m",
  sensitivity_1w: "sensitivity, 1 W at 1 m",
  valid_hz: "holds",
  band_hz: "band",
  snr_db: "signal to noise",
  rms_db: "difference, rms",
  within: "within the limits",
  residual_percent: "left over",
  ripple_db: "ripple",
  without_help_db: "ripple without help",
  at_least_db: "no setting goes below",
  three_point: "by hand, three points",
  rated_ohm: "rated impedance",
  clock_drift: "recorder's clock",
  worst_ripple_db: "ripple of the worst seat",
  menu: "to enter",
};
/** Told elsewhere, or of no use to a person. */
const SILENT = new Set([
  "schema",
  "made_by",
  "command",
  "run_in",
  "from_job",
  "inputs",
  "settings",
  "findings",
  "files",
  "covariance",
  "candidates",
  "air",
  "impulse",
  "name",
  "methods",
  "agreements",
  "misfit_ratio",
  "widened_ratio",
  "loss_factors",
  "driver_moved",
  "parameters",
  "speakers",
  "high_order",
  "distortion",
  "curve",
  "deviation",
  "third_octaves",
  "seats",
  "causes",
  "left",
  "datasheet",
  "design",
  "wrinkles",
  "pairs",
  "units",
  "alternatives",
  "unevenness",
  "standing_waves",
  "changed",
  "peaks",
  "evidence",
  "flow",
  "mass_over_friction",
  "repeats",
  "repeats_used",
  "ringing",
  "phase",
  "rests_on",
  "listening_window",
  "load_voltage",
  "spoiled_db",
  "resolution_hz",
  "without_help",
  "channels",
  "sides_hz",
]);
const DEEPEST = 2;

/** @param {string} key @returns {(Node | string)[]} */
export function nameOf(key) {
  const words =
    /** @type {Record<string, string>} */ (NAMES)[key] ??
    key.replace(/_(hz|db|dbfs|ms|percent|ohm|ppm|m|ft|v|deg|l|mm|g)$/, "").replace(/_/g, " ");
  const parts = /^(\S+?)_(\S+?)(\/.*)?$/.exec(words);
  return parts ? [parts[1], element("sub", {}, parts[2]), parts[3] ?? ""] : [words];
}

const TAILS = {
  dbfs: "dBFS",
  percent: "%",
  ms: "ms",
  ohm: "Ω",
  ppm: "ppm",
  m: "m",
  ft: "ft",
  v: "V",
  deg: "°",
  l: "l",
  mm: "mm",
  g: "g",
  kpa: "kPa",
  c: "°C",
};

/** A plain number whose key carries its unit. @param {string} key @param {number} value */
function plain(key, value) {
  const unit = /(?:^|_)([a-z]+)$/.exec(key)?.[1] ?? "";
  if (unit === "hz") return hertz(value);
  if (unit === "db") return decibel(value);
  const tail = /** @type {Record<string, string>} */ (TAILS)[unit];
  return tail ? `${figure(value)} ${tail}` : `${+value.toPrecision(6)}`;
}

/** A value and where it lies. @param {any} value @returns {string | null} */
function placed({ at_hz, ...rest }) {
  const key = ["ohm", "level_db"].find((one) => typeof rest[one] === "number");
  return key ? `${plain(key, rest[key])} at ${hertz(at_hz)}` : null;
}

/**
 * What a person reads, or nothing where it is no single value.
 * @param {string} key
 * @param {any} value
 * @returns {string | null}
 */
export function valueOf(key, value) {
  if (isQuantity(value)) return measured(value);
  if (typeof value?.at_hz === "number") return placed(value);
  if (typeof value === "number") return plain(key, value);
  if (typeof value === "string") return value;
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (!Array.isArray(value) || value.length === 0) return null;
  if (value.length === 2 && value.every((one) => typeof one === "number"))
    return `${plain(key, value[0])} to ${plain(key, value[1])}`;
  return value.length <= 12 && value.every((one) => typeof one === "string") ? value.join("; ") : null;
}

/**
 * Rows of name and value, those of parts under the part's name.
 * @param {any} document
 * @param {(Node | string)[]} before
 * @param {number} depth
 * @returns {HTMLElement[]}
 */
function rowsOf(document, before, depth) {
  return Object.entries(document).flatMap(([key, value]) => {
    if (SILENT.has(key)) return [];
    const told = valueOf(key, value);
    const name = before.length
      ? [...before.map((part) => (part instanceof Node ? part.cloneNode(true) : part)), ": ", ...nameOf(key)]
      : nameOf(key);
    if (told !== null) return [element("tr", {}, element("th", { scope: "row" }, name), element("td", {}, told))];
    const part = typeof value === "object" && value !== null && !Array.isArray(value) && depth < DEEPEST;
    return part ? rowsOf(value, name, depth + 1) : [];
  });
}

/** The numbers of a document. @param {any} document */
export function numbersTable(document) {
  const rows = rowsOf(document, [], 0);
  if (rows.length === 0) return null;
  return tableOf(["Quantity", "Value"], rows);
}

/** @param {string[]} heads @param {HTMLElement[]} rows */
export function tableOf(heads, rows) {
  const table = element(
    "table",
    {},
    element(
      "thead",
      {},
      element(
        "tr",
        {},
        heads.map((head) => element("th", { scope: "col" }, head)),
      ),
    ),
    element("tbody", {}, rows),
  );
  return across(`Table: ${heads.join(", ")}`, table);
}

/** A row whose first cell names it. @param {...any} cells */
export function rowOf(...cells) {
  return element(
    "tr",
    {},
    cells.map((cell, i) => element(i === 0 ? "th" : "td", i === 0 ? { scope: "row" } : {}, cell)),
  );
}
