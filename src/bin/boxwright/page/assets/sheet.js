// @ts-check
// A sheet: curves drawn, the list of them to switch on and off, and their values at the frequency that is being read.

import { across } from "./across.js";
import { THIRDS_HZ, valueAt } from "./curve.js";
import { element, fill, freshName, sayAloud } from "./element.js";
import { whenLeft } from "./leaving.js";
import { figure, hertz, inMeasure } from "./number.js";
import { lineSample, whenSchemeTurns } from "./palette.js";
import { FrequencyPlot } from "./plot.js";

/** Steps of the reading in an octave. */
const STEPS = 24;
/** How long a hand has to rest before the values are read out. */
const REST_MS = 700;
const FIRST_READ_HZ = 1000;

/** @typedef {import("./curve.js").Curve} Curve */

export class CurveSheet {
  /**
   * @param {{label: string, measure: "level_db" | "magnitude_ohm" | "phase_deg", height?: number, from_hz?: number, to_hz?: number, steady?: boolean, switches?: boolean}} how
   */
  constructor(how) {
    this.how = how;
    this.plot = new FrequencyPlot(how);
    this.switches = how.switches ?? true;
    /** @type {Curve[]} */
    this.curves = [];
    /** @type {Set<string>} */
    this.off = new Set();
    this.list = element("tbody");
    this.numbers = element("div", {});
    this.reader = this.readerParts();
    this.element = this.parts();
    this.plot.pointedAt = (hz) => this.read(hz);
    whenLeft(whenSchemeTurns(() => this.showList()));
    whenLeft(() => this.plot.leave());
  }

  parts() {
    const table = element(
      "table",
      { class: "legend" },
      element("thead", {}, element("tr", {}, element("th", { scope: "col" }, "Curve"), this.reader.heading)),
      this.list,
    );
    const asNumbers = element(
      "details",
      { class: "more", ontoggle: () => this.showNumbers() },
      element("summary", {}, "The same as numbers"),
      this.numbers,
    );
    this.asNumbers = asNumbers;
    return element(
      "figure",
      { class: "sheet" },
      this.plot.element,
      this.reader.element,
      across("The curves", table),
      this.axisPart(),
      asNumbers,
    );
  }

  readerParts() {
    const [from, to] = this.plot.x_hz;
    const id = freshName("read");
    const range = element("input", {
      type: "range",
      id,
      min: 0,
      max: Math.round(STEPS * Math.log2(to / from)),
      step: 1,
    });
    const heading = element("th", { scope: "col" });
    range.addEventListener("input", () => {
      this.read(this.plot.x_hz[0] * 2 ** (range.value / STEPS));
      this.sayLater();
    });
    return {
      element: element("div", { class: "reader" }, element("label", { for: id }, "Read at"), range),
      range,
      heading,
    };
  }

  axisPart() {
    const field = (/** @type {string} */ words, /** @type {number} */ value) => {
      const input = element("input", {
        type: "number",
        min: 1,
        max: 100000,
        step: "any",
        id: freshName("axis"),
        value,
      });
      return { input, label: element("label", { for: input.id }, words) };
    };
    const from = field("Show from, Hz", this.plot.x_hz[0]);
    const to = field("to, Hz", this.plot.x_hz[1]);
    const turn = () => {
      const [low, high] = [Number(from.input.value), Number(to.input.value)];
      if (low > 0 && high > low * 1.1) this.look(low, high);
    };
    from.input.addEventListener("change", turn);
    to.input.addEventListener("change", turn);
    return element(
      "details",
      { class: "more" },
      element("summary", {}, "Other frequencies"),
      element("div", { class: "axis-fields" }, from.label, from.input, to.label, to.input),
    );
  }

  /** @param {number} from_hz @param {number} to_hz */
  look(from_hz, to_hz) {
    this.plot.look(from_hz, to_hz);
    this.reader.range.max = String(Math.round(STEPS * Math.log2(to_hz / from_hz)));
    this.read(Math.min(to_hz, Math.max(from_hz, this.plot.reading_hz ?? FIRST_READ_HZ)));
  }

  /** @param {Curve[]} curves @param {[number, number] | null} [band_hz] */
  show(curves, band_hz = null) {
    const same =
      curves.length === this.curves.length &&
      curves.every(({ name, place }, i) => name === this.curves[i].name && place === this.curves[i].place);
    this.curves = curves;
    this.band_hz = band_hz;
    if (!same) this.showList();
    this.draw();
    this.read(this.plot.reading_hz ?? this.firstReading());
    if (this.asNumbers.open) this.showNumbers();
  }

  firstReading() {
    const [from, to] = this.plot.x_hz;
    return FIRST_READ_HZ > from && FIRST_READ_HZ < to ? FIRST_READ_HZ : Math.sqrt(from * to);
  }

  draw() {
    this.plot.show(
      this.curves.filter(({ name }) => !this.off.has(name)),
      this.band_hz,
    );
  }

  showList() {
    fill(
      this.list,
      this.curves.map((curve) => {
        const id = freshName("curve");
        const box = this.switches
          ? element("input", { type: "checkbox", id, onchange: () => this.turn(curve.name, box.checked) })
          : null;
        if (box) box.checked = !this.off.has(curve.name);
        const name = element(
          box ? "label" : "span",
          { for: box ? id : undefined },
          lineSample(curve.place),
          curve.name,
        );
        return element("tr", {}, element("th", { scope: "row" }, box, name), element("td", {}));
      }),
    );
    this.read(this.plot.reading_hz);
  }

  /** @param {string} name @param {boolean} on */
  turn(name, on) {
    if (on) this.off.delete(name);
    else this.off.add(name);
    this.draw();
    this.read(this.plot.reading_hz);
  }

  /** @param {number | undefined} hz */
  read(hz) {
    if (!hz) return;
    this.plot.read(hz);
    this.reader.range.value = String(Math.round(STEPS * Math.log2(hz / this.plot.x_hz[0])));
    this.reader.range.setAttribute("aria-valuetext", hertz(hz));
    this.reader.heading.textContent = `at ${hertz(hz)}`;
    this.curves.forEach((curve, i) => {
      const cell = this.list.rows[i]?.cells[1];
      if (cell) cell.textContent = this.valueWords(curve, hz);
    });
  }

  /** @param {Curve} curve @param {number} hz */
  valueWords(curve, hz) {
    if (this.off.has(curve.name)) return "off";
    const value = valueAt(curve, hz);
    if (value === null) return "–";
    const u = curve.u ? valueAt({ x: curve.x, y: curve.u }, hz) : null;
    return inMeasure(value, this.how.measure) + (u ? ` ± ${figure(2 * u, 2)}` : "");
  }

  /** Reads the values out once the hand rests. */
  sayLater() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      const hz = this.plot.reading_hz ?? FIRST_READ_HZ;
      const on = this.curves.filter(({ name }) => !this.off.has(name));
      sayAloud(`At ${hertz(hz)}: ${on.map((curve) => `${curve.name} ${this.valueWords(curve, hz)}`).join("; ")}`);
    }, REST_MS);
  }

  showNumbers() {
    if (!this.asNumbers.open) return;
    const on = this.curves.filter(({ name }) => !this.off.has(name));
    const rows = THIRDS_HZ.filter((hz) => on.some((curve) => valueAt(curve, hz) !== null));
    fill(
      this.numbers,
      across(
        "The same as numbers",
        element(
          "table",
          {},
          element(
            "thead",
            {},
            element(
              "tr",
              {},
              element("th", { scope: "col" }, "Frequency"),
              on.map(({ name }) => element("th", { scope: "col" }, name)),
            ),
          ),
          element(
            "tbody",
            {},
            rows.map((hz) =>
              element(
                "tr",
                {},
                element("th", { scope: "row" }, hertz(hz)),
                on.map((curve) => element("td", {}, this.valueWords(curve, hz))),
              ),
            ),
          ),
        ),
      ),
    );
  }
}
