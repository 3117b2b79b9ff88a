// @ts-check
// What is playing, in whatever tab it was started: shown with its levels, and with a button that stops it from
// anywhere.

import { commandShown } from "./command.js";
import { element, fill, sayAloud } from "./element.js";
import { cautionsList, refusal, tellRefusal } from "./notice.js";
import { decibel } from "./number.js";
import { outcome } from "./outcome.js";
import { record } from "./record.js";
import { send } from "./server.js";

/** Levels are drawn from here up to full scale. */
const FLOOR_DBFS = -90;
/** A good end is in sight for so long. */
const END_SHOWN_MS = 8000;

/** @type {{take: number, says: string} | null} */
let playing = null;
/** Where this tab said that it starts something: what came of it is told there too. @type {Map<number, Element>} */
const started = new Map();
/** The last end, in case it is told before the answer to the start. @type {any} */
let lastEnd = null;
/** Whether this tab has asked for a sound and has no answer yet. */
let asking = false;

const region = () => /** @type {HTMLElement} */ (document.getElementById("sounding"));

/** Takes what the program tells about sound. @param {any} event */
export function soundEvent(event) {
  if (event.kind === "silent") playing = null;
  if (event.kind === "silent" && region().dataset.state === "playing") hide();
  if (event.kind === "sounding") show(event);
  if (event.kind === "news" && playing?.take === event.take) showNews(event);
  if (event.kind === "ended") showEnd(event);
}

function hide() {
  region().hidden = true;
  delete region().dataset.state;
}

/** @param {any} event */
function show(event) {
  if (playing?.take === event.take) return;
  playing = { take: event.take, says: event.says };
  const stop = element(
    "button",
    { type: "button", class: "stop", onclick: stopSound },
    "Stop",
    element("kbd", {}, "Esc"),
  );
  fill(
    region(),
    element(
      "div",
      { class: "sounding-line" },
      element("p", { class: "sounding-says" }, event.says),
      stop,
      element(
        "div",
        { class: "done" },
        element("progress", { "aria-label": "How much of it is done", max: 1, value: 0 }),
        element("span", { class: "sounding-time" }),
      ),
    ),
    element("div", { class: "meters" }),
  );
  region().dataset.state = "playing";
  region().hidden = false;
  sayAloud(`${event.says} Press Escape to stop.`);
}

/** @param {any} event */
function showNews({ done_s, total_s, inputs }) {
  const bar = region().querySelector("progress");
  const time = region().querySelector(".sounding-time");
  if (bar && total_s > 0) bar.value = Math.min(1, done_s / total_s);
  if (time) time.textContent = `${Math.floor(done_s)} of ${Math.ceil(total_s)} s`;
  const meters = region().querySelector(".meters");
  if (meters && inputs) for (const input of inputs) meterOf(meters, input.channel)(input);
}

/** The meter of one input, made when it is first heard of. @param {Element} meters @param {number} channel */
function meterOf(meters, channel) {
  let meter = /** @type {any} */ (meters.querySelector(`[data-channel="${channel}"]`));
  if (!meter) {
    meter = element(
      "div",
      { class: "meter", "data-channel": channel },
      element("span", { class: "meter-name" }, `input ${channel}`),
      element(
        "span",
        {
          class: "meter-bar",
          role: "meter",
          "aria-label": `Level of input ${channel} in dBFS`,
          "aria-valuemin": FLOOR_DBFS,
          "aria-valuemax": 0,
          "aria-valuenow": FLOOR_DBFS,
        },
        element("span", { class: "meter-rms" }),
        element("span", { class: "meter-peak" }),
      ),
      element("span", { class: "meter-says" }),
    );
    meters.append(meter);
  }
  return (/** @type {any} */ level) => showLevel(meter, level);
}

/** @param {any} meter @param {{peak_dbfs?: number, rms_dbfs?: number}} level */
function showLevel(meter, { peak_dbfs, rms_dbfs }) {
  const share = (/** @type {number | undefined} */ db) => Math.max(0, Math.min(1, 1 - (db ?? FLOOR_DBFS) / FLOOR_DBFS));
  const bar = meter.querySelector(".meter-bar");
  meter.querySelector(".meter-rms").style.width = `${100 * share(rms_dbfs)}%`;
  meter.querySelector(".meter-peak").style.left = `${100 * share(peak_dbfs)}%`;
  bar.setAttribute("aria-valuenow", String(Math.round(peak_dbfs ?? FLOOR_DBFS)));
  const words =
    peak_dbfs === undefined
      ? "silent"
      : `${decibel(peak_dbfs)}FS peak${rms_dbfs === undefined ? "" : `, ${decibel(rms_dbfs)}FS rms`}`;
  fill(
    meter.querySelector(".meter-says"),
    peak_dbfs === undefined ? words : `${decibel(peak_dbfs)}FS`,
    rms_dbfs === undefined ? null : element("span", { class: "rms" }, ` peak, ${decibel(rms_dbfs)}FS rms`),
  );
  bar.setAttribute("aria-valuetext", words);
}

/** @param {any} event */
function showEnd(event) {
  playing = null;
  const says = event.error ? event.error.says : "Done.";
  const close = element("button", { type: "button", class: "quiet", onclick: hide }, "Close");
  region().dataset.state = "ended";
  region().hidden = false;
  fill(
    region(),
    element(
      "div",
      { class: "sounding-line" },
      element("p", { class: "sounding-says" }, event.error ? `Ended: ${says}` : "It has been played to its end."),
      close,
    ),
  );
  sayAloud(event.error ? `Ended: ${says}` : "It has been played to its end.");
  if (!event.error) setTimeout(() => region().dataset.state === "ended" && lastEnd === event && hide(), END_SHOWN_MS);
  lastEnd = event;
  tellNear(event);
}

/** What came of it, where this tab started it. @param {any} event */
async function tellNear(event) {
  const near = started.get(event.take);
  if (!near) return;
  started.delete(event.take);
  await record.load().catch(() => {});
  fill(
    near,
    event.error ? refusal(event.error) : null,
    event.document ? outcome(event.document, event.exit, []) : null,
  );
}

/** Fades out whatever plays; what was recorded is kept. */
export async function stopSound() {
  const says = region().querySelector(".sounding-says");
  if (says) says.textContent = "Stopping …";
  try {
    await send("/api/stop", {});
    if (says?.isConnected && playing) says.textContent = "It fades out; what was recorded until now is kept …";
  } catch (why) {
    if (says)
      says.textContent = `Not stopped: ${/** @type {Error} */ (why).message}. Pull the amplifier's volume down.`;
  }
}

/** Escape stops from every view, before anything else hears it. */
export function stopByEscape() {
  document.addEventListener(
    "keydown",
    (event) => {
      if (event.key === "Escape" && (playing || asking)) stopSound();
    },
    true,
  );
}

/**
 * The cautions and the command, and only then the sound.
 * @param {string[]} words
 * @param {Element} notice
 * @param {HTMLElement} from
 */
export function askToPlay(words, notice, from) {
  if (playing)
    return tellRefusal(notice, {
      says: `something is playing already: ${playing.says}`,
      advice: "wait for its end, or stop it",
    });
  const play = element("button", { type: "button", class: "go" }, "Play it");
  const leave = element("button", { type: "button", autofocus: true }, "Not now");
  const dialog = element(
    "dialog",
    { "aria-labelledby": "before-sound" },
    element("h2", { id: "before-sound" }, "Before any sound"),
    element(
      "div",
      { class: "read-first", tabindex: 0, role: "group", "aria-label": "Cautions" },
      cautionsList(record.told.cautions),
    ),
    element("p", {}, "The level is turned down, the ears are away, and this is what will be done:"),
    commandShown(words),
    element("div", { class: "actions" }, leave, play),
  );
  leave.addEventListener("click", () => dialog.close());
  play.addEventListener("click", () => {
    dialog.close();
    start(words, notice);
  });
  dialog.addEventListener("close", () => {
    dialog.remove();
    from.focus();
  });
  document.body.append(dialog);
  dialog.showModal();
}

/** @param {string[]} words @param {Element} notice */
async function start(words, notice) {
  fill(notice, element("p", { class: "working" }, "Starting …"));
  asking = true;
  try {
    const { take } = await send("/api/sound", { arguments: words });
    started.set(take, notice);
    fill(notice, element("p", { class: "working" }, "Playing. Escape stops it; what was recorded until then is kept."));
    if (lastEnd?.take === take) tellNear(lastEnd);
  } catch (why) {
    tellRefusal(notice, why);
  } finally {
    asking = false;
  }
}
