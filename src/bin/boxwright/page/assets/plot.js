// @ts-check
// Curves over frequency, drawn: a logarithmic axis in hertz, a line to read at, a band that counts.

import uPlot from "./uPlot.esm.js";
import { onOneGrid, span } from "./curve.js";
import { element } from "./element.js";
import { hertzAtAxis } from "./number.js";
import { colourAt, dashAt, ink, whenSchemeTurns } from "./palette.js";

/** What is drawn of a level below the highest one, and the least that an axis spans. */
const DEEPEST_DB = 70;
const LEAST_SPAN = { level_db: 10, magnitude_ohm: 4, phase_deg: 90 };
const UNITS = { level_db: "dB", magnitude_ohm: "ohm", phase_deg: "degrees" };
const FONT = '12px "DejaVu Sans", Verdana, sans-serif';
/** Room for the labels of an axis, in pixels of the page. */
const AXIS_PX = 46;
export const X_AXIS_PX = 38;

/** An axis in the colours of the page. @param {any} more */
export function axis(more) {
  return {
    stroke: () => ink("--soft"),
    grid: { stroke: () => ink("--line"), width: 1 },
    ticks: { show: false },
    font: FONT,
    labelFont: FONT,
    labelSize: 16,
    labelGap: 0,
    gap: 4,
    values: (/** @type {any} */ _, /** @type {number[]} */ at) =>
      at.map((value) => String(value).replace("-", "\u2212")),
    ...more,
  };
}

/** Every 1, 2 … 9 of each decade between two frequencies. @param {number} from_hz @param {number} to_hz */
function decades(from_hz, to_hz) {
  const lines = [];
  for (let decade = 10 ** Math.floor(Math.log10(from_hz)); decade <= to_hz; decade *= 10) {
    for (let n = 1; n <= 9; n += 1)
      if (n * decade >= from_hz * 0.999 && n * decade <= to_hz * 1.001) lines.push(n * decade);
  }
  return lines;
}

/** Labels where they have room. @param {any} plot @param {number[]} lines */
function labels(plot, lines) {
  const room = plot.bbox.width / devicePixelRatio / Math.log10(plot.scales.x.max / plot.scales.x.min);
  const leading = room > 150 ? [1, 2, 5] : room > 75 ? [1, 3] : [1];
  return lines.map((hz) =>
    leading.includes(Math.round(hz / 10 ** Math.floor(Math.log10(hz * 1.0001)))) ? hertzAtAxis(hz) : "",
  );
}

export class FrequencyPlot {
  /**
   * @param {{label: string, measure: "level_db" | "magnitude_ohm" | "phase_deg", height?: number, from_hz?: number, to_hz?: number, steady?: boolean}} how
   */
  constructor({ label, measure, height = 320, from_hz = 20, to_hz = 20000, steady = false }) {
    this.measure = measure;
    this.height = height;
    this.x_hz = [from_hz, to_hz];
    /** A steady plot's axis only ever widens, so that a curve can be seen to move. */
    this.steady = steady;
    this.element = element("div", { class: "plot", role: "img", "aria-label": label });
    this.line = element("div", { class: "reading-line", hidden: true });
    /** @type {import("./curve.js").Curve[]} */
    this.curves = [];
    /** @type {any} */
    this.drawn = null;
    /** @type {[number, number] | null} */
    this.band_hz = null;
    /** @type {(hz: number) => void} */
    this.pointedAt = () => {};
    this.sizes = new ResizeObserver(() => this.fit());
    this.sizes.observe(this.element);
    this.unturn = whenSchemeTurns(() => this.rebuild());
  }

  /** @param {import("./curve.js").Curve[]} curves @param {[number, number] | null} [band_hz] */
  show(curves, band_hz = null) {
    const same =
      this.drawn &&
      curves.length === this.curves.length &&
      curves.every(({ name, place }, i) => name === this.curves[i].name && place === this.curves[i].place);
    this.curves = curves;
    this.band_hz = band_hz;
    this.stretch();
    if (!same) return this.rebuild();
    const { columns, joined } = onOneGrid(curves);
    if (joined !== this.joined) return this.rebuild();
    this.drawn.setData(columns);
  }

  /** Which frequencies are shown. @param {number} from_hz @param {number} to_hz */
  look(from_hz, to_hz) {
    this.x_hz = [from_hz, to_hz];
    this.y = undefined;
    this.stretch();
    this.rebuild();
  }

  /** Sets the vertical axis by what there is to see. */
  stretch() {
    const found = span(this.curves, this.x_hz[0], this.x_hz[1]);
    if (!found) return;
    const least = LEAST_SPAN[this.measure];
    const step = this.measure === "level_db" ? 5 : this.measure === "phase_deg" ? 45 : 1;
    let low = Math.floor(found[0] / step) * step;
    let high = Math.ceil(found[1] / step) * step;
    if (this.measure === "level_db") low = Math.max(low, high - DEEPEST_DB);
    if (this.measure === "magnitude_ohm") low = Math.min(low, 0);
    if (high - low < least)
      [low, high] = [
        low - step * Math.ceil((least - high + low) / 2 / step),
        high + step * Math.ceil((least - high + low) / 2 / step),
      ];
    this.y = this.steady && this.y ? [Math.min(this.y[0], low), Math.max(this.y[1], high)] : [low, high];
  }

  rebuild() {
    this.drawn?.destroy();
    this.drawn = null;
    const width = this.element.clientWidth;
    if (width < 50 || !this.element.isConnected) return;
    const { columns, joined } = onOneGrid(this.curves);
    this.joined = joined;
    this.drawn = new /** @type {any} */ (uPlot)(this.looks(width, joined), columns, this.element);
    this.drawn.over.append(this.line);
    this.read(this.reading_hz);
  }

  /** @param {number} width @param {boolean} joined */
  looks(width, joined) {
    const series = this.curves.map(({ name, place }) => ({
      label: name,
      stroke: colourAt(place),
      dash: dashAt(place),
      width: 2,
      points: { show: false },
      spanGaps: joined,
    }));
    return {
      width,
      height: this.height,
      padding: [10, 14, 0, 0],
      legend: { show: false },
      scales: { x: { time: false, distr: 3, range: () => this.x_hz }, y: { range: () => this.y ?? [0, 1] } },
      axes: [
        axis({
          splits: () => decades(this.x_hz[0], this.x_hz[1]),
          filter: (/** @type {any} */ _, /** @type {number[]} */ lines) => lines,
          values: labels,
          label: "Hz",
          size: X_AXIS_PX,
        }),
        axis({ size: AXIS_PX, label: UNITS[this.measure] }),
      ],
      series: [{}, ...series],
      cursor: { y: false, x: false, drag: { x: false, y: false }, points: { show: false } },
      hooks: {
        setCursor: [(/** @type {any} */ plot) => this.pointer(plot)],
        drawClear: [(/** @type {any} */ plot) => this.shade(plot)],
        draw: [() => this.element.dispatchEvent(new CustomEvent("drawn"))],
      },
    };
  }

  /** @param {any} plot */
  pointer(plot) {
    if (plot.cursor.left >= 0) this.pointedAt(plot.posToVal(plot.cursor.left, "x"));
  }

  /** The band that counts. @param {any} plot */
  shade(plot) {
    if (!this.band_hz) return;
    const [from, to] = this.band_hz.map((hz) =>
      plot.valToPos(Math.min(this.x_hz[1], Math.max(this.x_hz[0], hz)), "x", true),
    );
    plot.ctx.save();
    plot.ctx.fillStyle = ink("--band");
    plot.ctx.fillRect(from, plot.bbox.top, to - from, plot.bbox.height);
    plot.ctx.restore();
  }

  /** Puts the line to read at here. @param {number | undefined} hz */
  read(hz) {
    this.reading_hz = hz;
    this.line.hidden = !hz || !this.drawn;
    if (hz && this.drawn) this.line.style.left = `${this.drawn.valToPos(hz, "x")}px`;
  }

  fit() {
    const width = this.element.clientWidth;
    if (!this.drawn) return this.rebuild();
    if (width >= 50 && width !== this.drawn.width) this.drawn.setSize({ width, height: this.height });
    this.read(this.reading_hz);
  }

  leave() {
    this.sizes.disconnect();
    this.unturn();
    this.drawn?.destroy();
    this.drawn = null;
  }
}
