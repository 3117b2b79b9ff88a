// @ts-check
// Sound card and level: which devices and channels, and a quiet tone to set the level by.

import { bench } from "./bench.js";
import { commandShown, option } from "./command.js";
import { element, fill } from "./element.js";
import { choiceField, textField } from "./field.js";
import { noticePlace, refusal } from "./notice.js";
import { ask } from "./server.js";
import { foldable, taskPart } from "./task.js";

/** @returns {HTMLElement} */
export function benchView() {
  return element("div", {}, element("h1", { tabindex: -1 }, "Sound card and level"),
    element("p", {}, "What you choose here goes along with every capture of this tab. What is left to the job stands in its ", element("code", {}, "job.toml"), "."),
    devicesPart(), levelPart());
}

/** @param {string} key */
const jobsWord = (key) => (bench.jobs(key) === "" ? "as the job says" : `as the job says: ${bench.jobs(key)}`);

function devicesPart() {
  const fields = element("div", { class: "fields" });
  const notice = noticePlace();
  const lines = element("pre", { tabindex: 0, "aria-label": "Lines for job.toml" });
  const showLines = () => { lines.textContent = tomlLines(); };
  const load = async () => {
    fill(notice, element("p", { class: "working" }, "Asking for devices …"));
    try {
      const { devices } = await ask("/api/devices");
      fill(fields, choiceParts(devices, showLines));
      fill(notice, deviceWords(devices));
    } catch (why) {
      fill(notice, refusal(why));
    }
  };
  load();
  showLines();
  return foldable("Devices and channels", true, fields, element("div", { class: "actions" }, element("button", { type: "button", onclick: load }, "Look again")), notice,
    commandShown(["devices"]), element("details", { class: "more" }, element("summary", {}, "Keep this for good"),
      element("p", { class: "soft" }, "These lines in the job's job.toml make the choice last beyond this tab:"), lines));
}

/** @param {any[]} devices */
function deviceWords(devices) {
  const cards = devices.filter((device) => device.id !== "simulated");
  return element("p", { class: "soft" }, cards.length ? `${cards.length} sound device${cards.length === 1 ? "" : "s"}, and the simulated bench, which needs none.`
    : "No sound device was found; connect an interface and look again, or use the simulated bench.");
}

/** @param {any[]} devices @param {() => void} changed */
function choiceParts(devices, changed) {
  const named = (/** @type {"output" | "input"} */ side) => () => /** @type {[string, string][]} */ ([["", jobsWord(side)],
    ...devices.filter((device) => device[side]).map((device) => [device.id, `${device.name}, ${device[side].channels} ${side}s`])]);
  const rates = [44100, 48000, 88200, 96000, 176400, 192000];
  const fields = [
    keep("output", choiceField("Device that plays", named("output"), { value: bench.get("output") }), changed),
    keep("input", choiceField("Device that records", named("input"), { value: bench.get("input") }), changed),
    keep("rate", choiceField("Sample rate", () => [["", "as the job says, else 48 kHz"], ...rates.map((hz) => /** @type {[string, string]} */ ([String(hz), `${hz / 1000} kHz`]))], { value: bench.get("rate") }), changed),
    keep("output_channels", textField("Outputs that play", { hint: "Numbers from 1, such as 1,2.", shows: jobsWord("output_channels") }), changed),
    keep("reply", textField("Input with the microphone", { shows: jobsWord("reply_channel") }), changed),
    keep("reference", textField("Input with the loopback cable", { hint: "Or: none.", shows: jobsWord("reference_channel") }), changed),
    keep("drive", textField("Jig: input before the resistor", { shows: bench.jobs("drive_channel") || "1" }), changed),
    keep("load", textField("Jig: input across the loudspeaker", { shows: bench.jobs("load_channel") || "2" }), changed),
    keep("sense_ohm", textField("Jig: sense resistor", { hint: "As measured, such as 10 ohm.", shows: jobsWord("sense_ohm") }), changed),
  ];
  return fields.map((field) => field.element);
}

/** Remembers what is put into a field. @param {string} what @param {import("./field.js").Field} field @param {() => void} changed */
function keep(what, field, changed) {
  if (field.control.tagName === "INPUT") field.set(bench.get(what));
  field.control.addEventListener("change", () => {
    bench.set(what, field.value());
    changed();
  });
  return field;
}

const TOML_KEYS = { output: "output", input: "input", rate: "rate_hz", output_channels: "output_channels", reply: "reply_channel", reference: "reference_channel", drive: "drive_channel", load: "load_channel", sense_ohm: "sense_ohm", level_dbfs: "level_dbfs" };

/** The choice as the job writes it. */
function tomlLines() {
  const lines = Object.entries(TOML_KEYS).filter(([what]) => bench.get(what) !== "").map(([what, key]) => {
    const value = bench.get(what);
    if (what === "output_channels") return `${key} = [${value.split(/[\s,]+/).join(", ")}]`;
    return `${key} = ${/^-?\d+(\.\d+)?$/.test(value) ? value : JSON.stringify(value)}`;
  });
  return ["[bench]", ...(lines.length ? lines : ["# nothing chosen here that is not the job's"])].join("\n");
}

function levelPart() {
  const fields = {
    most: textField("Never louder than, dBFS", { value: bench.get("level_dbfs"), shows: bench.jobs("level_dbfs") || "-20", hint: "0 is full scale. The tone itself is 20 dB quieter." }),
    at: textField("Frequency of the tone", { shows: "1k", hint: "Before a treble driver without its crossover: above its lower limit, such as 4k." }),
    seconds: textField("Seconds", { shows: "2" }),
  };
  return taskPart({
    title: "Set the level", open: true, sounds: true, verb: "Play a quiet tone",
    says: "Turn the amplifier all the way down first; then turn it up until the reply is well above the noise. The meters stand at the top while it sounds.",
    groups: [{ fields: Object.values(fields) }],
    words: () => ["level", ...bench.words("level"), ...option("--level-dbfs", fields.most.value()), ...option("--at", fields.at.value()), ...option("--seconds", fields.seconds.value())],
  });
}
