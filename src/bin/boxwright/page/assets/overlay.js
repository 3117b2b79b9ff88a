// @ts-check
// Any curves of the job laid over each other: levels on one sheet, impedances on another, phase where it is asked for.

import { element, fill, freshName } from "./element.js";
import { curveWords } from "./field.js";
import { whenLeft } from "./leaving.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { record, STAGES, ELSEWHERE, stageOf } from "./record.js";
import { loadCurve } from "./result_pictures.js";
import { CurveSheet } from "./sheet.js";

/** What was ticked, for coming back to it within this tab. @type {Map<string, number>} */
const ticked = new Map();

export function overlayView() {
  return new Overlay().element;
}

class Overlay {
  constructor() {
    /** @type {Map<string, any>} */
    this.read = new Map();
    this.notice = noticePlace();
    this.levels = new CurveSheet({ label: "Levels over frequency", measure: "level_db" });
    this.ohms = new CurveSheet({ label: "Impedances over frequency", measure: "magnitude_ohm", from_hz: 10 });
    this.phases = new CurveSheet({ label: "Phases over frequency", measure: "phase_deg", from_hz: 10 });
    this.list = element("div", { class: "curve-list" });
    this.phaseBox = element("input", { type: "checkbox", id: freshName("phase"), onchange: () => this.draw() });
    this.parts = {
      levels: element("section", { hidden: true }, element("h2", {}, "Levels"), this.levels.element),
      ohms: element("section", { hidden: true }, element("h2", {}, "Impedances"), this.ohms.element),
      phases: element("section", { hidden: true }, element("h2", {}, "Phases"), this.phases.element),
    };
    this.nothing = element("p", { class: "soft" }, "Tick a curve to see it here.");
    this.element = element(
      "div",
      {},
      element("h1", { tabindex: -1 }, "Curves over each other"),
      this.list,
      element(
        "div",
        { class: "field yes" },
        this.phaseBox,
        element("label", { for: this.phaseBox.id }, "Show the phases as well"),
      ),
      this.notice,
      this.nothing,
      this.parts.levels,
      this.parts.ohms,
      this.parts.phases,
    );
    whenLeft(record.follow(() => this.showList()));
    for (const path of ticked.keys()) this.load(path);
  }

  showList() {
    const focused = document.activeElement?.id;
    const groups = [...STAGES, ELSEWHERE]
      .map((stage) => ({ stage, curves: record.curves.filter((/** @type {any} */ curve) => stageOf(curve) === stage) }))
      .filter(({ curves }) => curves.length);
    fill(
      this.list,
      groups.length
        ? groups.map(({ stage, curves }) =>
            element(
              "fieldset",
              { class: "curves" },
              element("legend", {}, stage.name),
              element(
                "div",
                { class: "ticks" },
                curves.map((/** @type {any} */ curve) => this.tick(curve)),
              ),
            ),
          )
        : element("p", {}, "There are no curves in this folder yet."),
    );
    if (focused) document.getElementById(focused)?.focus();
    for (const path of this.read.keys()) this.load(path);
  }

  /** @param {any} curve */
  tick(curve) {
    const id = `over-${curve.path.replace(/[^\w-]/g, "-")}`;
    const box = element("input", { type: "checkbox", id, onchange: () => this.turn(curve.path, box.checked) });
    box.checked = ticked.has(curve.path);
    return element("div", {}, box, element("label", { for: id }, curveWords(curve)));
  }

  /** @param {string} path @param {boolean} on */
  async turn(path, on) {
    if (!on) {
      ticked.delete(path);
      this.read.delete(path);
      return this.draw();
    }
    const taken = new Set(ticked.values());
    let place = 0;
    while (taken.has(place)) place += 1;
    ticked.set(path, place);
    await this.load(path);
  }

  /** @param {string} path */
  async load(path) {
    try {
      const curve = await loadCurve(path, ticked.get(path) ?? 0);
      if (ticked.has(path)) this.read.set(path, curve);
      fill(this.notice);
    } catch (why) {
      ticked.delete(path);
      this.read.delete(path);
      tellRefusal(this.notice, why);
    }
    this.draw();
  }

  /** Curves in the order of ticking, with names of their own. @param {string} measure */
  curvesOf(measure) {
    const some = [...this.read].filter(([, curve]) => curve.measure === measure);
    return some.map(([path, curve]) =>
      some.filter(([, other]) => other.name === curve.name).length > 1 ? { ...curve, name: path } : curve,
    );
  }

  draw() {
    const [levels, ohms] = [this.curvesOf("level_db"), this.curvesOf("magnitude_ohm")];
    const phases = this.phaseBox.checked
      ? [...levels, ...ohms]
          .filter(({ phase_deg }) => phase_deg)
          .map((curve) => ({ ...curve, y: curve.phase_deg, u: undefined }))
      : [];
    this.nothing.hidden = levels.length + ohms.length > 0;
    for (const [part, sheet, curves] of /** @type {[HTMLElement, CurveSheet, any[]][]} */ ([
      [this.parts.levels, this.levels, levels],
      [this.parts.ohms, this.ohms, ohms],
      [this.parts.phases, this.phases, phases],
    ])) {
      part.hidden = curves.length === 0;
      sheet.show(curves);
    }
  }
}
