// @ts-check
// One setting of satellite and subwoofer by hand: sliders, the sum at each seat as they move, and the command that
// keeps it.

import { commandInSight } from "./command.js";
import { element, sayAloud } from "./element.js";
import { asTheyAre, choiceField, yesField } from "./field.js";
import { KeptOpen } from "./kept_open.js";
import { onlyTheLatest } from "./latest.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { decibel, hertz } from "./number.js";
import { CurveSheet } from "./sheet.js";
import { slider } from "./slider.js";
import { runNear } from "./task.js";

/** How long a hand has to rest before the ripple is read out. */
const REST_MS = 700;
const DELAY_STEP_MS = 0.05;
const GAIN_STEP_DB = 0.1;
/** Where low-passes of subwoofers go. */
const LOW_PASS_HZ = [30, 250];
/** What one setting replaces in the words of a search. */
const SEARCHED = new Set([
  "--crossover",
  "--high-pass",
  "--low-pass",
  "--low-pass-at",
  "--delay",
  "--polarity",
  "--gain-db",
  "--boost-db",
]);

/**
 * @typedef {{crossover_hz: number, high_pass: string, low_pass: string, low_pass_hz: number, delay_ms: number, polarity: string, gain_db: number}} Setting
 */

export class BlendDesk {
  /** @param {string[]} words @param {any} opened */
  constructor(words, opened) {
    this.words = words;
    this.opened = opened;
    this.kept = new KeptOpen("blend", words, opened);
    this.command = commandInSight();
    this.notice = noticePlace();
    this.worst = element("p", { class: "answer ripple" });
    this.controls = this.makeControls(opened);
    this.sheets = opened.seats.map(
      (/** @type {string} */ name) =>
        new CurveSheet({
          label: `Sum, satellite and subwoofer: ${name}`,
          measure: "level_db",
          to_hz: 500,
          steady: true,
          height: 280,
        }),
    );
    this.ripples = opened.seats.map(() => element("p", { class: "soft" }));
    this.follow = onlyTheLatest((/** @type {Setting} */ setting) => this.sum(setting));
    this.element = this.parts();
    this.take(opened.without_help);
  }

  /** @param {any} opened */
  makeControls({ filters, without_help, ...limits }) {
    const named = () => asTheyAre(filters);
    const controls = {
      ...this.sliders(limits, without_help),
      high: choiceField("Satellite's high-pass", named),
      low: choiceField("Subwoofer's low-pass", named),
      own: yesField("The low-pass has a frequency of its own"),
      polarity: choiceField("Phase of the subwoofer", () => [
        ["+", "0°"],
        ["-", "180°"],
      ]),
    };
    for (const field of [controls.high, controls.low, controls.own, controls.polarity])
      field.control.addEventListener("change", () => this.changed());
    return controls;
  }

  /** @param {any} limits @param {any} first */
  sliders({ crossovers_hz, delay_ms, gain_db }, { crossover_hz, low_pass_hz }) {
    const changed = () => this.changed();
    const sliding = (/** @type {number[]} */ [from, to], step = 1, unit = "Hz", value = 0) => ({
      from,
      to,
      step,
      unit,
      value,
      changed,
    });
    const ends = [crossovers_hz[0], crossovers_hz[crossovers_hz.length - 1]];
    const crossover = { ...sliding(ends, 1, "Hz", crossover_hz), among: crossovers_hz };
    return {
      crossover: slider("Crossover", crossover),
      lowAt: slider("Low-pass", sliding(LOW_PASS_HZ, 1, "Hz", low_pass_hz ?? crossover_hz)),
      delay: slider("Delay of the satellite", sliding(delay_ms, DELAY_STEP_MS, "ms")),
      gain: slider("Level of the subwoofer", sliding(gain_db, GAIN_STEP_DB, "dB")),
    };
  }

  parts() {
    const { crossover, high, low, own, lowAt, delay, polarity, gain } = this.controls;
    const keep = element("button", { type: "button", class: "go" }, "Keep this setting");
    keep.addEventListener("click", () => runNear(this.wordsNow(), this.notice, keep));
    const without = element(
      "button",
      { type: "button", onclick: () => this.take(this.opened.without_help) },
      "Without help",
    );
    return element(
      "section",
      { class: "desk", "aria-label": "The setting by hand" },
      element("h2", { tabindex: -1 }, "The setting by hand"),
      element("div", { class: "slides" }, crossover.element, delay.element, gain.element, lowAt.element),
      element("div", { class: "fields" }, high.element, low.element, polarity.element, own.element),
      this.worst,
      this.opened.seats.map((/** @type {string} */ name, /** @type {number} */ i) =>
        element("div", {}, element("h3", {}, name), this.ripples[i], this.sheets[i].element),
      ),
      this.command.element,
      element("div", { class: "actions" }, keep, without),
      this.notice,
    );
  }

  /** @returns {Setting} */
  setting() {
    const { crossover, high, low, own, lowAt, delay, polarity, gain } = this.controls;
    const crossover_hz = crossover.value();
    return {
      crossover_hz,
      high_pass: high.value(),
      low_pass: low.value(),
      low_pass_hz: own.value() ? lowAt.value() : crossover_hz,
      delay_ms: delay.value(),
      polarity: polarity.value(),
      gain_db: gain.value(),
    };
  }

  /** Shows a setting from elsewhere. @param {any} setting */
  take(setting) {
    const { crossover, high, low, own, lowAt, delay, polarity, gain } = this.controls;
    const apart = typeof setting.low_pass === "object";
    const low_hz = apart ? setting.low_pass.hz : (setting.low_pass_hz ?? setting.crossover_hz);
    crossover.set(setting.crossover_hz);
    high.set(setting.high_pass);
    low.set(apart ? setting.low_pass.name : setting.low_pass);
    own.set(low_hz !== setting.crossover_hz);
    lowAt.set(low_hz);
    delay.set(setting.delay_ms);
    polarity.set(setting.polarity);
    gain.set(setting.gain_db);
    this.changed();
  }

  /** The setting that a search found. @param {any} document */
  takeDocument(document) {
    this.take(document);
    this.element.querySelector("h2")?.focus();
  }

  changed() {
    this.controls.lowAt.element.hidden = !this.controls.own.value();
    this.command.show(this.wordsNow());
    this.follow(this.setting());
  }

  wordsNow() {
    const kept = [];
    for (let i = 0; i < this.words.length; i += 1)
      if (SEARCHED.has(this.words[i])) i += 1;
      else kept.push(this.words[i]);
    const now = this.setting();
    return [
      ...kept,
      "--crossover",
      String(now.crossover_hz),
      "--high-pass",
      now.high_pass,
      "--low-pass",
      now.low_pass,
      "--low-pass-at",
      String(now.low_pass_hz),
      "--delay",
      String(now.delay_ms),
      "--polarity",
      now.polarity === "-" ? "reversed" : "straight",
      "--gain-db",
      String(now.gain_db),
    ];
  }

  /** @param {Setting} setting */
  async sum(setting) {
    try {
      const summed = await this.kept.ask("sum", { setting });
      const [from, to] = summed.band_hz.map(hertz);
      this.worst.textContent = `Ripple of the worst seat: ${decibel(summed.worst_ripple_db)}, from ${from} to ${to}.`;
      this.sayLater();
      summed.seats.forEach((/** @type {any} */ seat, /** @type {number} */ i) =>
        this.showSeat(seat, i, summed.band_hz),
      );
    } catch (why) {
      tellRefusal(this.worst, why);
    }
  }

  /** Reads the ripple out once the hand rests. */
  sayLater() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => sayAloud(this.worst.textContent ?? ""), REST_MS);
  }

  /** @param {any} seat @param {number} i @param {[number, number]} band_hz */
  showSeat(seat, i, band_hz) {
    const x = this.opened.frequency_hz;
    this.ripples[i].textContent = `Ripple ${decibel(seat.ripple_db)}`;
    this.sheets[i].show(
      [
        { name: "sum", place: 0, x, y: seat.sum_db },
        { name: "satellite", place: 1, x, y: seat.satellite_db },
        { name: "subwoofer", place: 6, x, y: seat.subwoofer_db },
      ],
      band_hz,
    );
  }
}
