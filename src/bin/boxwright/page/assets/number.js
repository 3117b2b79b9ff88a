// @ts-check
// Numbers as people read them: value ± 2u, frequencies, levels.

const SIGNS = { ohm: "Ω", cm2: "cm²", m3: "m³", uF: "µF", "": "" };
const MINUS = "\u2212";

/** A true minus sign. @param {string} text */
const signed = (text) => text.replace(/-/g, MINUS);

/** On one line. @param {string} text */
const unbroken = (text) => text.replace(/ /g, "\u00a0");

/**
 * With so many significant digits, never in powers of ten within reason.
 * @param {number} value
 * @param {number} [digits]
 */
export function figure(value, digits = 4) {
  if (value === 0) return "0";
  const size = Math.floor(Math.log10(Math.abs(value)));
  if (size < -5 || size > 8) return signed(value.toExponential(digits - 1));
  return signed(value.toFixed(Math.min(12, Math.max(0, digits - 1 - size))));
}

/** A quantity with its doubt, as `92.4 ± 0.6 Hz`. @param {{value: number, u?: number, unit?: string}} quantity */
export function measured({ value, u, unit = "" }) {
  const sign = /** @type {Record<string, string>} */ (SIGNS)[unit] ?? unit;
  const tail = sign === "" ? "" : ` ${sign}`;
  if (!u) return unbroken(figure(value) + tail);
  const doubt = 2 * u;
  const decimals = Math.min(12, Math.max(0, 1 - Math.floor(Math.log10(doubt))));
  return unbroken(`${signed(value.toFixed(decimals))} ± ${doubt.toFixed(decimals)}${tail}`);
}

/** Whether this is a quantity object. @param {any} thing */
export function isQuantity(thing) {
  return typeof thing === "object" && thing !== null && typeof thing.value === "number" && "unit" in thing;
}

/** @param {number} hz */
export function hertz(hz) {
  return hz >= 1000 ? `${+(hz / 1000).toPrecision(3)} kHz` : `${+hz.toPrecision(3)} Hz`;
}

/** As it stands at an axis: 20, 500, 2k. @param {number} hz */
export function hertzAtAxis(hz) {
  return hz >= 1000 ? `${+(hz / 1000).toPrecision(3)}k` : `${+hz.toPrecision(3)}`;
}

/** One decimal. @param {number} db */
export function decibel(db) {
  return `${signed(db.toFixed(1))} dB`;
}

/** @param {number} ms */
export function milliseconds(ms) {
  return `${signed(ms.toFixed(ms >= 100 ? 0 : 2))} ms`;
}

/** As its measure asks for. @param {number} value @param {string} measure */
export function inMeasure(value, measure) {
  if (measure === "magnitude_ohm") return `${figure(value)} Ω`;
  if (measure === "phase_deg") return `${signed(value.toFixed(0))}°`;
  return `${signed(value.toFixed(2))} dB`;
}
