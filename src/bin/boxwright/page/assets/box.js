// @ts-check
// What a finished box really is: volume, losses, leaks, by the driver's impedance in it.

import { optionWords } from "./command.js";
import { asTheyAre, choiceField, curveField, textField } from "./field.js";
import { record } from "./record.js";
import { taskPart } from "./task.js";

const OPTIONS = {
  "--driver": "driver",
  "--box": "box",
  "--kind": "kind",
  "--before": "before",
  "--design-l": "litres",
  "--port": "port",
  "--inner-mm": "inner",
  "--out": "out",
};

/** @param {string} stage */
function boxFields(stage) {
  const drivers = () => record.resultsOf("driver").map((/** @type {any} */ one) => one.path);
  return {
    curve: curveField("Impedance of the driver in the box", "magnitude_ohm", { stage }),
    driver: choiceField("The driver", () => [["", "not known"], ...asTheyAre(drivers())], {
      hint: "What was found of it in free air.",
    }),
    box: choiceField("Which of the job's boxes", () => [
      ["", "none, or its only one"],
      ...asTheyAre(Object.keys(record.job.box ?? {})),
    ]),
    kind: choiceField("Kind", () => [
      ["", "as the job says"],
      ["closed", "closed"],
      ["vented", "vented"],
      ["passive-radiator", "with a passive radiator"],
    ]),
    before: curveField("Impedance before a change", "magnitude_ohm", {
      stage,
      optional: "none",
      hint: "Sealed, stuffed, braced, vent trimmed: what did it do?",
    }),
  };
}

/** @param {string} stage */
export function boxTask(stage) {
  const fields = boxFields(stage);
  const design = {
    litres: textField("Designed volume, l", {}),
    port: textField("Vent", { hint: "Inner diameter x length in mm, such as 32x45." }),
    inner: textField("Inside, mm", { hint: "Width x height x depth, such as 110x180x96." }),
    out: textField("Folder for the results", { hint: "Beside the curve where it is left empty." }),
  };
  const words = () => {
    const curve = fields.curve.value();
    if (!curve) return "Choose the impedance of the driver in the box.";
    return ["box", curve, ...optionWords(OPTIONS, { ...fields, ...design })];
  };
  return taskPart({
    title: "What the box really is",
    verb: "Examine the box",
    words,
    says:
      "Airtight or not, how much air it holds, how it is tuned, what rings: at the driver's own terminals, " +
      "without crossover.",
    groups: [
      { fields: Object.values(fields) },
      { heading: "The design, where the job does not hold it", fields: Object.values(design), folded: true },
    ],
  });
}
