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

/** @param {string} wav */
function analyseResponse(wav) {
  const fields = {
    gate: textField("Gate", {
      shows: "auto",
      hint: "What counts after the arrival: 5 ms; auto: up to the first reflection; none: the room as well.",
    }),
    smooth: textField("Smoothing", { shows: "none", hint: "Such as 1/12 of an octave." }),
    mic: textField("Microphone's table", {
      shows: String(record.job.bench?.mic ?? "none"),
      hint: "A file of the job.",
    }),
    distance: textField("From loudspeaker to microphone", { hint: "In m, where the capture does not say it." }),
  };
  const words = () => [
    "response",
    wav,
    ...option("--gate", fields.gate.value()),
    ...option("--smooth", fields.smooth.value()),
    ...option("--mic", fields.mic.value()),
    ...option("--distance", fields.distance.value()),
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
  const fields = {
    short: choiceField("Capture with the clips joined", others, { hint: "Tells the leads." }),
    open: choiceField("Capture with nothing connected", others, { hint: "Tells what the two inputs differ by." }),
    known: choiceField("Capture with a known resistor", others, {}),
    ohm: textField("That resistor", { hint: "Such as 8.2 ohm." }),
    lead: textField("Resistance of the leads", { hint: "In ohm, there and back, where it is known." }),
    sense: textField("Sense resistor", { hint: "In ohm, where the capture does not say it." }),
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
