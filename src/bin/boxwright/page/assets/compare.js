// @ts-check
// Measured over expected, and why they differ; what the design promises; whether units are alike.

import { option, optionWords } from "./command.js";
import { asTheyAre, choiceField, curveField, curvesField, textField, yesField } from "./field.js";
import { record } from "./record.js";
import { taskPart } from "./task.js";

/** What the design promises. */
export function simulateTask() {
  const fields = {
    speaker: choiceField("Which loudspeaker", () => [
      ["", "all of the job"],
      ...asTheyAre(Object.keys(record.job.speaker ?? {})),
    ]),
    angle: textField("Angle from the axis, degrees", { shows: "0" }),
    distance: textField("Distance of the ear, m", { shows: "1" }),
  };
  const words = () => [
    "simulate",
    ".",
    ...option("--speaker", fields.speaker.value()),
    ...option("--angle", fields.angle.value()),
    ...option("--distance-m", fields.distance.value()),
  ];
  return taskPart({
    title: "What the design promises",
    verb: "Simulate",
    words,
    groups: [{ fields: Object.values(fields) }],
    says:
      "Response and impedance as the job's drivers, boxes, fronts and networks make them, to set the measured " +
      "ones beside.",
  });
}

const COMPARE_OPTIONS = {
  "--also": "also",
  "--align": "align",
  "--limits": "limits",
  "--band": "band",
  "--out": "out",
};

/** @param {string} stage */
export function compareTask(stage) {
  const fields = {
    measured: curveField("Measured", "any", { stage }),
    expected: curveField("Expected", "any", { hint: "A simulation, an earlier measurement, a predicted sum." }),
    explain: yesField("Say why, by the job's design", {}),
    also: curveField("The other measurement of the same loudspeaker", "any", {
      stage,
      optional: "none",
      hint: "Its impedance beside a response, or the other way round.",
    }),
  };
  const more = {
    align: choiceField("What is made equal first", () => [
      ["", "the level"],
      ["level,delay", "level and delay"],
      ["none", "nothing"],
    ]),
    limits: textField("Limits, dB", { shows: String(record.job.limits?.against_design_db ?? 3) }),
    band: textField("Band", { hint: "Such as 150:15000." }),
    out: textField("Folder for the results", { hint: "Beside the measured curve where it is left empty." }),
  };
  const words = () => {
    const [measured, expected] = [fields.measured.value(), fields.expected.value()];
    if (!measured || !expected) return "Choose what was measured and what was expected.";
    const why = option("--explain", fields.explain.value() && ".");
    return ["compare", measured, expected, ...why, ...optionWords(COMPARE_OPTIONS, { ...fields, ...more })];
  };
  return taskPart({
    title: "Measured and expected",
    verb: "Compare",
    words,
    groups: [
      { fields: Object.values(fields) },
      { heading: "Limits and band", fields: Object.values(more), folded: true },
    ],
  });
}

/** @param {string} stage @param {"level_db" | "magnitude_ohm" | "any"} measure */
export function matchTask(stage, measure) {
  const curves = curvesField("Curves of the units, in one order", measure, { stage });
  const more = {
    again: curveField("The first one, measured once more", measure, {
      stage,
      optional: "none",
      hint: "After it was set up anew: what setting up alone changes does not count.",
    }),
    limits: textField("Limits, dB", { shows: String(record.job.limits?.pair_db ?? 1) }),
    band: textField("Band", { hint: "Such as 150:15000." }),
    align: choiceField("What is made equal first", () => [
      ["", "nothing"],
      ["level", "the level"],
    ]),
  };
  const words = () => {
    if (curves.value().length < 2) return "Tick two curves or more.";
    return [
      "match",
      ...curves.value(),
      ...option("--again", more.again.value()),
      ...option("--limits", more.limits.value()),
      ...option("--band", more.band.value()),
      ...option("--align", more.align.value()),
    ];
  };
  return taskPart({
    title: "Are they alike?",
    verb: "Match",
    words,
    groups: [{ fields: [curves] }, { heading: "Limits and band", fields: Object.values(more), folded: true }],
    says: "Units side by side: a difference counts only where it is larger than the measurements' own doubt.",
  });
}

/** @param {string} stage */
export function averageTask(stage) {
  const curves = curvesField("Curves", "level_db", { stage });
  const more = {
    by: choiceField("What is averaged", () => [
      ["", "power"],
      ["complex", "level and phase"],
    ]),
    angles: textField("Directions", { hint: "Degrees off the axis, in the curves' order, such as 0,10,v-10." }),
  };
  const words = () =>
    curves.value().length < 2
      ? "Tick two curves or more."
      : ["average", ...curves.value(), ...option("--by", more.by.value()), ...option("--angles", more.angles.value())];
  return taskPart({
    title: "The average of several places",
    verb: "Average",
    words,
    groups: [{ fields: [curves, ...Object.values(more)] }],
  });
}
