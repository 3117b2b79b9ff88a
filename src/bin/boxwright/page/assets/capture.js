// @ts-check
// Captures: what is played and recorded at a stage, through a microphone or through the jig.

import { bench } from "./bench.js";
import { option } from "./command.js";
import { choiceField, textField, yesField } from "./field.js";
import { record } from "./record.js";
import { taskPart } from "./task.js";

/** @typedef {import("./field.js").Field} Field */

const LOADS = [
  ["driver", "the driver in free air"],
  ["heavier", "the same with a mass on its cone"],
  ["boxed", "in a closed box, airtight and empty"],
  ["leaky", "in a closed box that leaks and rings"],
  ["sealed", "the same, sealed and braced"],
  ["vented", "in a vented box"],
  ["passive-radiator", "in a box with a passive radiator"],
  ["satellite", "the whole loudspeaker with its crossover"],
  ["known", "a resistor"],
  ["short", "the clips joined"],
  ["open", "nothing"],
];
const FIRST_LOAD = { "on the bench": "driver", "in its box": "leaky", "on the stand": "satellite" };

/** What is asked for before any capture. @param {string} repeats */
function sweepFields(repeats) {
  return {
    level: textField("Level, dBFS", {
      value: bench.get("level_dbfs"),
      shows: bench.jobs("level_dbfs") || "-20",
      hint: "0 is full scale. Begin quietly.",
    }),
    repeats: textField("Repeats", { shows: repeats, hint: "Their spread tells how certain the result is." }),
    from: textField("Lowest frequency", { hint: "Such as 20 or 2k." }),
    to: textField("Highest frequency", {}),
    seconds: textField("Seconds for one sweep", { shows: "5" }),
    treble: yesField("A treble driver without its crossover is connected", {
      hint: "Then the lowest frequency has to be given; nothing is played below it.",
    }),
  };
}

/** @param {string} stage */
function recordFields(stage) {
  return {
    unit: textField("Which loudspeaker or driver", { list: () => record.unitNames(), hint: "Also names the files." }),
    note: textField("Note", { hint: `Anything worth knowing later. The stage is written down as: ${stage}.` }),
  };
}

/** @param {Record<string, Field>} fields */
const sweepWords = (fields) => [
  ...option("--level-dbfs", fields.level.value()),
  ...option("--repeats", fields.repeats.value()),
  ...option("--seconds", fields.seconds.value()),
  ...option("--from", fields.from.value()),
  ...option("--to", fields.to.value()),
  ...option("--treble", fields.treble.value()),
];

/** @param {Record<string, Field>} fields @param {string} stage */
const recordWords = (fields, stage) => [
  ...option("--unit", fields.unit.value()),
  ...option("--stage", stage),
  ...option("--note", fields.note.value()),
];

/** @param {boolean} seated */
function placeFields(seated) {
  return {
    distance: textField("From loudspeaker to microphone", { hint: "In m, such as 0.5." }),
    outputs: textField("Outputs that play", {
      hint: seated
        ? "The satellite or the subwoofer alone, such as 1,2 or 3,2."
        : "If others than chosen under sound card and level.",
    }),
    marks: textField("Output of the time marks", {
      hint: seated
        ? "Without a loopback: the satellite's output in all captures, for one zero of time."
        : "Only for captures that share a zero of time.",
    }),
  };
}

/** A response through the microphone. @param {string} stage @param {boolean} open */
export function captureResponse(stage, open) {
  const kept = recordFields(stage);
  const sweep = sweepFields("1");
  const seated = stage === "with the subwoofer";
  const place = placeFields(seated);
  const bare = simulatedRoom(seated);
  const words = () => [
    "capture",
    "response",
    ...withOutputs("response", place.outputs.value()),
    ...recordWords(kept, stage),
    ...sweepWords(sweep),
    ...option("--distance", place.distance.value()),
    ...option("--marks-output", place.marks.value()),
    ...(bench.isSimulated() ? bare.words() : []),
  ];
  return taskPart({
    title: "Measure a response",
    open,
    sounds: true,
    verb: "Measure",
    words,
    groups: [
      { fields: Object.values(kept) },
      { heading: "What is played", fields: Object.values(sweep) },
      { heading: "Where from", fields: Object.values(place), folded: !seated },
      ...(bench.isSimulated() ? [bare.group] : []),
    ],
  });
}

/**
 * The chain's options, with other outputs where some are named.
 * @param {"response" | "impedance"} kind
 * @param {string} outputs
 */
function withOutputs(kind, outputs) {
  const chosen = bench.words(kind);
  const at = chosen.indexOf("--output-channels");
  if (outputs === "") return chosen;
  if (at >= 0) chosen.splice(at, 2);
  return [...chosen, "--output-channels", outputs];
}

/** @param {boolean} seated */
function simulatedRoom(seated) {
  const fields = {
    room: choiceField(
      "Room",
      () => [
        ["", "small"],
        ["none", "none, nothing reflects"],
        ["living", "living room, with modes in the bass"],
      ],
      { value: seated ? "living" : "" },
    ),
    seat: textField("Seat of the microphone", {
      hint: "Ahead, aside, up in m, or sofa, armchair, rug in the living room.",
    }),
    subwoofer: yesField("A subwoofer stands in the room, on output 3", { value: seated }),
    seed: textField("Where chance starts", { hint: "The same number gives the same noise." }),
  };
  const words = () => [
    ...option("--simulated-room", fields.room.value()),
    ...option("--simulated-seat", fields.seat.value()),
    ...option("--simulated-subwoofer", fields.subwoofer.value()),
    ...option("--simulated-seed", fields.seed.value()),
  ];
  return { words, group: { heading: "The simulated bench", fields: Object.values(fields), folded: true } };
}

/** An impedance through the jig. @param {string} stage @param {boolean} open */
export function captureImpedance(stage, open) {
  const kept = recordFields(stage);
  const sweep = sweepFields("3");
  sweep.level = textField("Level, dBFS", { shows: "-30", hint: "Quiet: a driver is measured at rest." });
  const bare = simulatedJig(stage);
  const sense = textField("Sense resistor", {
    value: bench.get("sense_ohm") || (bench.isSimulated() && !bench.jobs("sense_ohm") ? "10 ohm" : ""),
    shows: bench.jobs("sense_ohm"),
    hint: "As measured.",
  });
  const chain = () => {
    const words = bench.words("impedance");
    const at = words.indexOf("--sense-ohm");
    if (at >= 0) words.splice(at, 2);
    return words;
  };
  const words = () => [
    "capture",
    "impedance",
    ...chain(),
    ...option("--sense-ohm", sense.value()),
    ...recordWords(kept, stage),
    ...sweepWords(sweep),
    ...(bench.isSimulated() ? bare.words() : []),
  ];
  return taskPart({
    title: "Measure an impedance",
    open,
    sounds: true,
    verb: "Measure",
    words,
    says: "Through the sense resistor, from a headphone or line output. One more capture each with the clips joined, with nothing, and with a known resistor takes off what the jig adds.",
    groups: [
      { fields: [...Object.values(kept), sense] },
      { heading: "What is played", fields: Object.values(sweep) },
      ...(bench.isSimulated() ? [bare.group] : []),
    ],
  });
}

/** @param {string} stage */
function simulatedJig(stage) {
  const first = /** @type {Record<string, string>} */ (FIRST_LOAD)[stage] ?? "driver";
  const fields = {
    load: choiceField("What hangs on the jig", () => /** @type {[string, string][]} */ (LOADS), { value: first }),
    seed: textField("Where chance starts", { hint: "The same number gives the same noise." }),
  };
  const words = () => [
    ...option("--simulated-load", fields.load.value()),
    ...option("--simulated-seed", fields.seed.value()),
  ];
  return { words, group: { heading: "The simulated bench", fields: Object.values(fields), folded: false } };
}
