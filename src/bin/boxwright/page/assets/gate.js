// @ts-check
// The gate set by hand: the impulse with a handle, the curve that follows, and the command that keeps it.

import { commandInSight } from "./command.js";
import { element, fill, freshName } from "./element.js";
import { ImpulsePlot } from "./impulse.js";
import { KeptOpen } from "./kept_open.js";
import { onlyTheLatest } from "./latest.js";
import { whenLeft } from "./leaving.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { hertz, milliseconds } from "./number.js";
import { record } from "./record.js";
import { send } from "./server.js";
import { CurveSheet } from "./sheet.js";
import { runNear } from "./task.js";

/** @param {string} wav */
export function gateView(wav) {
  const place = element("div", {}, element("p", { class: "working" }, "Reading the recording …"));
  open(wav, place);
  return element(
    "div",
    {},
    element("h1", { tabindex: -1 }, "The gate"),
    element(
      "p",
      {},
      "What comes before the gate's end counts, what comes after it is the room. Drag the handle, or move it by the arrow keys; with Shift it takes longer steps. The curve follows. ",
      element("code", {}, wav),
    ),
    place,
  );
}

/**
 * The command that made the result there is, so that its other settings stay.
 * @param {string} wav
 * @returns {string[]}
 */
function wordsBefore(wav) {
  const made = record
    .resultsOf("response")
    .find((/** @type {any} */ result) => result.command?.[1] === wav && (result.run_in ?? ".") === ".");
  const words = made ? [...made.command] : ["response", wav];
  const at = words.indexOf("--gate");
  if (at >= 0) words.splice(at, 2);
  return words.filter((word) => word !== "--json");
}

/** @param {string} wav @param {Element} place */
async function open(wav, place) {
  try {
    const words = wordsBefore(wav);
    const opened = await send("/api/gate/open", { arguments: words });
    if (place.isConnected) new GateWork(words, opened, place);
  } catch (why) {
    tellRefusal(place, why);
  }
}

class GateWork {
  /** @param {string[]} words @param {any} opened @param {Element} place */
  constructor(words, opened, place) {
    this.words = words;
    this.opened = opened;
    /** The curve that waits to be shown. @type {any} */
    this.fresh = null;
    this.kept = new KeptOpen("gate", words, opened);
    this.impulse = new ImpulsePlot(opened.impulse, opened);
    this.sheet = new CurveSheet({
      label: "Level over frequency through this gate",
      measure: "level_db",
      steady: true,
      switches: false,
    });
    this.command = commandInSight();
    this.notice = noticePlace();
    this.holds = element("p", { class: "holds" });
    this.follow = onlyTheLatest((/** @type {number} */ length_ms) => this.draw(length_ms));
    this.field = element("input", {
      type: "number",
      id: freshName("gate"),
      step: 0.1,
      min: opened.shortest_ms,
      max: opened.longest_ms,
    });
    this.field.addEventListener("change", () => this.impulse.move(Number(this.field.value)));
    this.impulse.moved = (length_ms) => this.moved(length_ms);
    fill(
      place,
      element("figure", { class: "sheet" }, this.impulse.element, this.tools()),
      this.holds,
      this.sheet.element,
      this.command.element,
      this.keeping(),
      this.notice,
    );
    this.impulse.lookAround();
    this.moved(this.impulse.gate_ms);
    whenLeft(() => this.impulse.leave());
  }

  tools() {
    const button = (/** @type {string} */ words, /** @type {() => void} */ does) =>
      element("button", { type: "button", class: "quiet", onclick: does }, words);
    const { proposed_ms } = this.opened;
    const level = button("Draw as a level", () => {
      const next = this.impulse.shape === "level" ? "pressure" : "level";
      this.impulse.draw(next);
      level.textContent = next === "level" ? "Draw as a pressure" : "Draw as a level";
    });
    return element(
      "div",
      { class: "actions" },
      element("label", { for: this.field.id }, "Gate after the arrival, ms"),
      this.field,
      proposed_ms === undefined
        ? null
        : button(`The proposed ${milliseconds(proposed_ms)}`, () => this.impulse.move(proposed_ms)),
      button("Closer", () => this.impulse.widen(0.5)),
      button("Wider", () => this.impulse.widen(2)),
      level,
    );
  }

  keeping() {
    const keep = element("button", { type: "button", class: "go" }, "Keep this gate");
    keep.addEventListener("click", () => runNear(this.wordsNow(), this.notice, keep));
    return element("div", { class: "actions" }, keep);
  }

  wordsNow() {
    return [...this.words, "--gate", `${this.impulse.gate_ms} ms`];
  }

  /** @param {number} length_ms */
  moved(length_ms) {
    this.field.value = String(length_ms);
    this.command.show(this.wordsNow());
    this.follow(length_ms);
  }

  /** @param {number} length_ms */
  async draw(length_ms) {
    try {
      this.showSoon(await this.kept.ask("curve", { length_ms }));
    } catch (why) {
      tellRefusal(this.holds, why);
    }
  }

  /** At the next frame of the screen; meanwhile the next curve is asked for. @param {any} curve */
  showSoon(curve) {
    const waits = Boolean(this.fresh);
    this.fresh = curve;
    if (!waits) requestAnimationFrame(() => this.show());
  }

  show() {
    const { length_ms, valid_hz, frequency_hz, level_db } = this.fresh;
    this.fresh = null;
    const band = `${hertz(valid_hz[0])} to ${hertz(valid_hz[1])}`;
    this.holds.textContent = `Through ${milliseconds(length_ms)} it holds from ${band}. ${this.opened.level_reference.replace("uPa", "µPa")}`;
    this.sheet.show([{ name: "through this gate", place: 0, x: frequency_hz, y: level_db }]);
  }
}
