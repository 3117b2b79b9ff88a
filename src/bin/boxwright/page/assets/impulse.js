// @ts-check
// The impulse response over time, with the part that the gate keeps and a handle at its end: drag it by mouse or
// finger,
// move it by the arrow keys. Time is in milliseconds after the arrival.

import uPlot from "./uPlot.esm.js";
import { element } from "./element.js";
import { milliseconds } from "./number.js";
import { colourAt, whenSchemeTurns } from "./palette.js";
import { axis, X_AXIS_PX } from "./plot.js";

/** The gate is flat over this share of its length and falls over the rest. */
const FLAT = 0.75;
const STEP_MS = 0.1;
const LONG_STEP_MS = 1;
/** What is drawn of the level below its peak. */
const DEEPEST_DB = 80;
const HEIGHT = 260;

/** @param {number} ms */
const hundredths = (ms) => Math.round(100 * ms) / 100;

export class ImpulsePlot {
  /**
   * @param {{from_ms: number, step_ms: number, values: number[]}} impulse
   * @param {{shortest_ms: number, longest_ms: number, proposed_ms?: number, reflection_ms?: number}} limits
   */
  constructor(impulse, limits) {
    this.limits = limits;
    this.time_ms = impulse.values.map((_, i) => impulse.from_ms + i * impulse.step_ms);
    const peak = impulse.values.reduce((most, value) => Math.max(most, Math.abs(value)), 0) || 1;
    this.shapes = {
      pressure: impulse.values.map((value) => value / peak),
      level: impulse.values.map((value) => Math.max(-DEEPEST_DB, 20 * Math.log10(Math.abs(value) / peak + 1e-9))),
    };
    /** @type {"pressure" | "level"} */
    this.shape = "pressure";
    this.gate_ms = hundredths(limits.proposed_ms ?? limits.shortest_ms);
    /** @type {(length_ms: number) => void} */
    this.moved = () => {};
    this.view_ms = [0, 10];
    this.parts();
    this.sizes = new ResizeObserver(() => this.fit());
    this.sizes.observe(this.element);
    this.unturn = whenSchemeTurns(() => this.rebuild());
    this.lookAround();
  }

  parts() {
    this.kept = element("div", { class: "gate-kept" });
    this.fall = element("div", { class: "gate-fall" });
    this.proposed = element("div", { class: "gate-mark proposed", hidden: true }, element("span", {}, "proposed"));
    this.reflection = element(
      "div",
      { class: "gate-mark reflection", hidden: true },
      element("span", {}, "reflection"),
    );
    this.handle = element("div", {
      class: "gate-handle",
      role: "slider",
      tabindex: 0,
      "aria-label": "Length of the gate after the arrival",
      "aria-valuemin": this.limits.shortest_ms,
      "aria-valuemax": this.limits.longest_ms,
    });
    this.layer = element(
      "div",
      { class: "gate-layer" },
      this.kept,
      this.fall,
      this.proposed,
      this.reflection,
      this.handle,
    );
    this.canvas = element("div", { class: "plot", role: "img", "aria-label": "Impulse response over time" });
    this.element = element("div", { class: "impulse" }, this.canvas, this.layer);
    this.handle.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => this.key(event));
    this.layer.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => this.grasp(event));
  }

  /** Shows the arrival and some time after the gate. */
  lookAround() {
    const span = Math.max(2, 2.2 * this.gate_ms);
    this.look(-0.12 * span, span);
  }

  /** @param {number} share Below one looks closer, above one wider. */
  widen(share) {
    const [from, to] = this.view_ms;
    const last = this.time_ms[this.time_ms.length - 1];
    this.look(Math.max(this.time_ms[0], from * share), Math.min(last, to * share));
  }

  /** @param {number} from_ms @param {number} to_ms */
  look(from_ms, to_ms) {
    this.view_ms = [from_ms, to_ms];
    this.rebuild();
  }

  /** @param {"pressure" | "level"} shape */
  draw(shape) {
    this.shape = shape;
    this.rebuild();
  }

  rebuild() {
    this.drawn?.destroy();
    this.drawn = null;
    const width = this.canvas.clientWidth;
    if (width < 50 || !this.element.isConnected) return;
    const y = this.shape === "level" ? [-DEEPEST_DB, 5] : [-1.05, 1.05];
    this.drawn = new /** @type {any} */ (uPlot)(
      {
        width,
        height: HEIGHT,
        padding: [10, 14, 0, 0],
        legend: { show: false },
        scales: { x: { time: false, range: () => this.view_ms }, y: { range: () => y } },
        axes: [
          axis({ label: "ms after the arrival", size: X_AXIS_PX }),
          axis({ size: 46, label: this.shape === "level" ? "dB re the peak" : "re the peak" }),
        ],
        series: [{}, { stroke: () => colourAt(0), width: 1.3, points: { show: false } }],
        cursor: { show: false },
      },
      [this.time_ms, this.shapes[this.shape]],
      this.canvas,
    );
    this.place();
  }

  fit() {
    const width = this.canvas.clientWidth;
    if (!this.drawn) return this.rebuild();
    if (width >= 50 && width !== this.drawn.width) this.drawn.setSize({ width, height: HEIGHT });
    this.place();
  }

  /** Puts gate and marks where they belong. */
  place() {
    if (!this.drawn) return;
    const over = this.drawn.over;
    Object.assign(this.layer.style, {
      left: `${over.offsetLeft}px`,
      top: `${over.offsetTop}px`,
      width: `${over.offsetWidth}px`,
      height: `${over.offsetHeight}px`,
    });
    const at = (/** @type {number} */ ms) => Math.min(over.offsetWidth, Math.max(0, this.drawn.valToPos(ms, "x")));
    const [begin, flat, end] = [at(0), at(FLAT * this.gate_ms), at(this.gate_ms)];
    Object.assign(this.kept.style, { left: `${begin}px`, width: `${Math.max(0, flat - begin)}px` });
    Object.assign(this.fall.style, { left: `${flat}px`, width: `${Math.max(0, end - flat)}px` });
    this.handle.style.left = `${end}px`;
    for (const [mark, ms] of [
      [this.proposed, this.limits.proposed_ms],
      [this.reflection, this.limits.reflection_ms],
    ]) {
      mark.hidden = ms === undefined || ms > this.view_ms[1];
      if (!mark.hidden) mark.style.left = `${at(ms)}px`;
    }
    this.handle.setAttribute("aria-valuenow", String(this.gate_ms));
    this.handle.setAttribute("aria-valuetext", milliseconds(this.gate_ms));
  }

  /** Sets the gate without telling. @param {number} length_ms */
  set(length_ms) {
    const { shortest_ms, longest_ms } = this.limits;
    this.gate_ms = hundredths(Math.min(longest_ms, Math.max(shortest_ms, length_ms)));
    this.place();
  }

  /** @param {number} length_ms */
  move(length_ms) {
    this.set(length_ms);
    this.moved(this.gate_ms);
  }

  /** @param {PointerEvent} event */
  grasp(event) {
    if (event.button !== 0 || !this.drawn) return;
    event.preventDefault();
    this.handle.focus();
    this.layer.setPointerCapture(event.pointerId);
    const left = this.layer.getBoundingClientRect().left;
    const follow = (/** @type {PointerEvent} */ to) => this.move(this.drawn.posToVal(to.clientX - left, "x"));
    const letGo = () => {
      this.layer.removeEventListener("pointermove", follow);
      this.layer.removeEventListener("lostpointercapture", letGo);
    };
    this.layer.addEventListener("pointermove", follow);
    this.layer.addEventListener("lostpointercapture", letGo);
    follow(event);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const step = event.shiftKey ? LONG_STEP_MS : STEP_MS;
    const to = {
      ArrowLeft: this.gate_ms - step,
      ArrowDown: this.gate_ms - step,
      ArrowRight: this.gate_ms + step,
      ArrowUp: this.gate_ms + step,
      PageDown: this.gate_ms - LONG_STEP_MS,
      PageUp: this.gate_ms + LONG_STEP_MS,
      Home: this.limits.shortest_ms,
      End: this.limits.longest_ms,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.move(to);
    if (this.gate_ms > this.view_ms[1]) this.lookAround();
  }

  leave() {
    this.sizes.disconnect();
    this.unturn();
    this.drawn?.destroy();
    this.drawn = null;
  }
}
