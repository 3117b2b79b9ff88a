// @ts-check
// From a capture to its curve: the command that analyses it, with what it may need to know.

import { option } from "./command.js";
import { element } from "./element.js";
import { choiceField, textField } from "./field.js";
import { record } from "./record.js";
import { taskPart } from "./task.js";

/** @param {string} kind @param {string} wav */
export function analyseView(kind, wav) {
  return element(
    "div",
    {},
    element("h1", { tabindex: -1 }, `From the recording to the ${kind}`),
    element("p", {}, element("code", {}, wav)),
    kind === "impedance" ? analyseImpedance(wav) : analyseResponse(wav),
  );
}

/**
 * What was said the last time this recording was analysed, so that nothing of it is lost: the options by name, and those that no field has.
 * @param {string} kind @param {string} wav @param {string[]} fields the options that have a field
 */
function saidBefore(kind, wav, fields) {
  const its = (/** @type {any} */ one) => one.kind === kind && one.command[0] === kind && one.command[1] === wav;
  const words = record.status.results.find(its)?.command.slice(2) ?? [];
  /** @type {Map<string, string>} */
  const said = new Map();
  const rest = [];
  for (let at = 0; at < words.length; at += 1) {
    const takesOne = at + 1 < words.length && !words[at + 1].startsWith("--");
    if (fields.includes(words[at]) && takesOne) said.set(words[at], words[(at += 1)]);
    else rest.push(words[at]);
  }
  return { of: (/** @type {string} */ name) => said.get(name) ?? "", rest };
}

/** @param {string} wav */
function analyseResponse(wav) {
  const before = saidBefore("response", wav, ["--gate", "--smooth", "--mic", "--distance", "--drive-v"]);
  const fields = {
    gate: textField("Gate", {
      shows: "auto",
      value: before.of("--gate"),
      hint: "What counts after the arrival: 5 ms; auto: up to the first reflection; none: the room as well.",
    }),
    smooth: textField("Smoothing", { shows: "none", value: before.of("--smooth"), hint: "Such as 1/12 of an octave." }),
    mic: textField("Microphone's table", {
      value: before.of("--mic"),
      shows: String(record.job.bench?.mic ?? "none"),
      hint: "A file of the job.",
    }),
    distance: textField("From loudspeaker to microphone", {
      value: before.of("--distance"),
      hint: "In m, where the capture does not say it, or says it wrong.",
    }),
    drive: textField("Voltage at the loudspeaker", {
      value: before.of("--drive-v"),
      hint: "In V for a sine of the sweep's level: levels are then those at 2.83 V and 1 m.",
    }),
  };
  const words = () => [
    "response",
    wav,
    ...option("--gate", fields.gate.value()),
    ...option("--smooth", fields.smooth.value()),
    ...option("--mic", fields.mic.value()),
    ...option("--distance", fields.distance.value()),
    ...option("--drive-v", fields.drive.value()),
    ...before.rest,
  ];
  const byHand = element("a", { href: `#/gate/${encodeURIComponent(wav)}` }, "Set the gate by hand");
  return taskPart({
    title: "Impulse and frequency response",
    open: true,
    verb: "Analyse",
    words,
    groups: [{ fields: Object.values(fields) }],
    more: [byHand],
  });
}

/** @param {string} wav */
function analyseImpedance(wav) {
  const others = () =>
    /** @type {[string, string][]} */ ([
      ["", "none"],
      ...record.status.captures
        .filter((/** @type {any} */ one) => one.kind === "impedance" && one.path !== wav)
        .map((/** @type {any} */ one) => [one.path, one.path]),
    ]);
  const before = saidBefore("impedance", wav, ["--short", "--open", "--known", "--known-ohm", "--lead-ohm", "--sense-ohm", "--gain-limit-db"]);
  const fields = {
    short: choiceField("Capture with the clips joined", others, {
      value: before.of("--short"),
      hint: "Tells the leads.",
    }),
    open: choiceField("Capture with nothing connected", others, {
      value: before.of("--open"),
      hint: "Tells what the two inputs differ by.",
    }),
    known: choiceField("Capture with a known resistor", others, { value: before.of("--known") }),
    ohm: textField("That resistor", { value: before.of("--known-ohm"), hint: "Such as 8.2 ohm." }),
    lead: textField("Resistance of the leads", {
      value: before.of("--lead-ohm"),
      hint: "In ohm, there and back, where it is known.",
    }),
    sense: textField("Sense resistor", {
      value: before.of("--sense-ohm"),
      hint: "In ohm, where the capture does not say it.",
    }),
    gain: textField("The two inputs differ by at most", {
      value: before.of("--gain-limit-db"),
      hint: "In dB, where it is known; 1 dB otherwise.",
    }),
  };
  const words = () => {
    if (fields.known.value() && !fields.ohm.value()) return "Say how large the known resistor is.";
    return [
      "impedance",
      wav,
      ...option("--short", fields.short.value()),
      ...option("--open", fields.open.value()),
      ...option("--known", fields.known.value()),
      ...option("--known-ohm", fields.known.value() && fields.ohm.value()),
      ...option("--lead-ohm", fields.lead.value()),
      ...option("--sense-ohm", fields.sense.value()),
      ...option("--gain-limit-db", fields.gain.value()),
      ...before.rest,
    ];
  };
  return taskPart({
    title: "Impedance",
    open: true,
    verb: "Analyse",
    words,
    groups: [{ fields: Object.values(fields) }],
  });
}
