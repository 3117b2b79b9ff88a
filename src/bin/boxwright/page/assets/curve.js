// @ts-check
// Curves over frequency as columns: their value between points, several on one column of frequencies, their span.

/** @typedef {{name: string, x: number[], y: (number | null)[], place: number, u?: number[]}} Curve */

/** Index of the last point at or below; -1 before the first. @param {number[]} x @param {number} at */
function below(x, at) {
  let low = -1;
  let high = x.length;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (x[middle] <= at) low = middle;
    else high = middle;
  }
  return low;
}

/**
 * The value at a frequency, straight over the logarithm of frequency between points; none outside or in a gap.
 * @param {{x: number[], y: (number | null)[]}} curve
 * @param {number} hz
 */
export function valueAt({ x, y }, hz) {
  const left = below(x, hz);
  if (left < 0 || (left === x.length - 1 && x[left] < hz)) return null;
  const right = Math.min(left + 1, x.length - 1);
  const [a, b] = [y[left], y[right]];
  if (a === null || b === null || a === undefined || b === undefined) return null;
  if (right === left) return a;
  const share = Math.log(hz / x[left]) / Math.log(x[right] / x[left]);
  return a + share * (b - a);
}

/** Whether all have the very same frequencies. @param {Curve[]} curves */
function onOneColumn(curves) {
  const first = curves[0].x;
  return curves.every(({ x }) => x === first || (x.length === first.length && x.every((hz, i) => hz === first[i])));
}

/**
 * One column of frequencies and one of values each; undefined where a curve has no point there.
 * @param {Curve[]} curves
 * @returns {{columns: any[][], joined: boolean}}
 */
export function onOneGrid(curves) {
  if (curves.length === 0) return { columns: [[]], joined: false };
  if (onOneColumn(curves)) return { columns: [curves[0].x, ...curves.map(({ y }) => y)], joined: false };
  const all = [...new Set(curves.flatMap(({ x }) => x))].sort((a, b) => a - b);
  const values = curves.map(({ x, y }) => {
    const known = new Map(x.map((hz, i) => [hz, y[i]]));
    return all.map((hz) => known.get(hz));
  });
  return { columns: [all, ...values], joined: true };
}

/**
 * Lowest and highest value between two frequencies; none if there is none.
 * @param {Curve[]} curves
 * @param {number} from_hz
 * @param {number} to_hz
 */
export function span(curves, from_hz, to_hz) {
  let low = Infinity;
  let high = -Infinity;
  for (const { x, y } of curves) {
    for (let i = 0; i < x.length; i += 1) {
      const value = y[i];
      if (x[i] < from_hz || x[i] > to_hz || value === null || !Number.isFinite(value)) continue;
      low = Math.min(low, value);
      high = Math.max(high, value);
    }
  }
  return low <= high ? [low, high] : null;
}

/** Third octaves from 20 Hz to 20 kHz, as tables have them. */
export const THIRDS_HZ = Array.from({ length: 31 }, (_, n) => 1000 * 10 ** ((n - 17) / 10));
