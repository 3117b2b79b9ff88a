// @ts-check
// Sound card and level: which devices and channels, and a quiet tone to set the level by.

import { bench } from "./bench.js";
import { commandShown, option } from "./command.js";
import { element, fill } from "./element.js";
import { choiceField, textField } from "./field.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { ask } from "./server.js";
import { foldable, taskPart } from "./task.js";

/** @returns {HTMLElement} */
export function benchView() {
  return element(
    "div",
    {},
    element("h1", { tabindex: -1 }, "Sound card and level"),
    element(
      "p",
      {},
      "What you choose here goes along with every capture of this tab. What is left to the job stands in its ",
      element("code", {}, "job.toml"),
      ".",
    ),
    devicesPart(),
    levelPart(),
  );
}

/** @param {string} key */
const jobsWord = (key) => (bench.jobs(key) === "" ? "as the job says" : `as the job says: ${bench.jobs(key)}`);

function devicesPart() {
  const fields = element("div", { class: "fields" });
  const notice = noticePlace();
  const lines = element("pre", { tabindex: 0, "aria-label": "Lines for job.toml" });
  const showLines = () => {
    lines.textContent = tomlLines();
  };
  const load = async () => {
    fill(notice, element("p", { class: "working" }, "Asking for devices …"));
    try {
      const { devices } = await ask("/api/devices");
      fill(fields, choiceParts(devices, showLines));
      fill(notice, deviceWords(devices));
    } catch (why) {
      tellRefusal(notice, why);
    }
  };
  load();
  showLines();
  return foldable(
    "Devices and channels",
    true,
    fields,
    element("div", { class: "actions" }, element("button", { type: "button", onclick: load }, "Look again")),
    notice,
    commandShown(["devices"]),
    element(
      "details",
      { class: "more" },
      element("summary", {}, "Keep this for good"),
      element("p", { class: "soft" }, "These lines in the job's job.toml make the choice last beyond this tab:"),
      lines,
    ),
  );
}

/** @param {any[]} devices */
function deviceWords(devices) {
  const cards = devices.filter((device) => device.id !== "simulated");
  return element(
    "p",
    { class: "soft" },
    cards.length
      ? `${cards.length} sound device${cards.length === 1 ? "" : "s"}, and the simulated bench, which needs none.`
      : "No sound device was found; connect an interface and look again, or use the simulated bench.",
  );
}

/** @param {any[]} devices @param {() => void} changed */
function choiceParts(devices, changed) {
  const fields = { ...deviceFields(devices), ...channelFields() };
  return Object.entries(fields).map(([what, field]) => keep(what, field, changed).element);
}

const RATES_HZ = [44100, 48000, 88200, 96000, 176400, 192000];

/** @param {any[]} devices @returns {Record<string, import("./field.js").Field>} */
function deviceFields(devices) {
  const named = (/** @type {"output" | "input"} */ side) => () => {
    const able = devices.filter((device) => device[side]);
    const pairs = able.map((device) => [device.id, `${device.name}, ${device[side].channels} ${side}s`]);
    return /** @type {[string, string][]} */ ([["", jobsWord(side)], ...pairs]);
  };
  const rates = () => {
    const pairs = RATES_HZ.map((hz) => [String(hz), `${hz / 1000} kHz`]);
    return /** @type {[string, string][]} */ ([["", "as the job says, else 48 kHz"], ...pairs]);
  };
  return {
    output: choiceField("Device that plays", named("output"), { value: bench.get("output") }),
    input: choiceField("Device that records", named("input"), { value: bench.get("input") }),
    rate: choiceField("Sample rate", rates, { value: bench.get("rate") }),
  };
}

/** @returns {Record<string, import("./field.js").Field>} */
function channelFields() {
  const text = (/** @type {string} */ label, /** @type {string} */ shows, /** @type {string} */ hint = "") =>
    textField(label, { shows, hint });
  return {
    output_channels: text("Outputs that play", jobsWord("output_channels"), "Numbers from 1, such as 1,2."),
    reply: text("Input with the microphone", jobsWord("reply_channel")),
    reference: text("Input with the loopback cable", jobsWord("reference_channel"), "Or: none."),
    drive: text("Jig: input before the resistor", bench.jobs("drive_channel") || "1"),
    load: text("Jig: input across the loudspeaker", bench.jobs("load_channel") || "2"),
    sense_ohm: text("Jig: sense resistor", jobsWord("sense_ohm"), "As measured, such as 10 ohm."),
  };
}

/**
 * Remembers what is put into a field.
 * @param {string} what
 * @param {import("./field.js").Field} field
 * @param {() => void} changed
 */
function keep(what, field, changed) {
  if (field.control.tagName === "INPUT") field.set(bench.get(what));
  field.control.addEventListener("change", () => {
    bench.set(what, field.value());
    changed();
  });
  return field;
}

const TOML_KEYS = {
  output: "output",
  input: "input",
  rate: "rate_hz",
  output_channels: "output_channels",
  reply: "reply_channel",
  reference: "reference_channel",
  drive: "drive_channel",
  load: "load_channel",
  sense_ohm: "sense_ohm",
  level_dbfs: "level_dbfs",
};

/** A choice as the job writes it; nothing where it has no word for it. @param {string} what @param {string} value */
function tomlValue(what, value) {
  if (what === "output" || what === "input") return JSON.stringify(value);
  if (what === "output_channels") return `[${value.split(/[\s,]+/).join(", ")}]`;
  return /^-?\d+(\.\d+)?/.exec(value)?.[0];
}

/** All choices as the job writes them. */
function tomlLines() {
  const lines = Object.entries(TOML_KEYS).flatMap(([what, key]) => {
    const value = bench.get(what) && tomlValue(what, bench.get(what));
    return value ? [`${key} = ${value}`] : [];
  });
  return ["[bench]", ...(lines.length ? lines : ["# nothing chosen here that is not the job's"])].join("\n");
}

function levelPart() {
  const fields = {
    most: textField("Never louder than, dBFS", {
      value: bench.get("level_dbfs"),
      shows: bench.jobs("level_dbfs") || "-20",
      hint: "0 is full scale. The tone itself is 20 dB quieter.",
    }),
    at: textField("Frequency of the tone", {
      shows: "1k",
      hint: "Before a treble driver without its crossover: above its lower limit, such as 4k.",
    }),
    seconds: textField("Seconds", { shows: "2" }),
  };
  return taskPart({
    title: "Set the level",
    open: true,
    sounds: true,
    verb: "Play a quiet tone",
    says: "Turn the amplifier all the way down first; then turn it up until the reply is well above the noise. The meters stand at the top while it sounds.",
    groups: [{ fields: Object.values(fields) }],
    words: () => [
      "level",
      ...bench.words("level"),
      ...option("--level-dbfs", fields.most.value()),
      ...option("--at", fields.at.value()),
      ...option("--seconds", fields.seconds.value()),
    ],
  });
}
