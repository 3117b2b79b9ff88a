// @ts-check
// What a finished box really is: volume, losses, leaks, by the driver's impedance in it.

import { option } from "./command.js";
import { choiceField, curveField, textField } from "./field.js";
import { record } from "./record.js";
import { taskPart } from "./task.js";

/** @param {string} stage */
export function boxTask(stage) {
  const fields = {
    curve: curveField("Impedance of the driver in the box", "magnitude_ohm", { stage }),
    driver: choiceField("The driver", () => [["", "not known"], ...record.resultsOf("driver").map((/** @type {any} */ one) => /** @type {[string, string]} */ ([one.path, one.path]))], { hint: "What was found of it in free air." }),
    box: choiceField("Which of the job's boxes", () => [["", "none, or its only one"], ...Object.keys(record.job.box ?? {}).map((name) => /** @type {[string, string]} */ ([name, name]))]),
    kind: choiceField("Kind", () => [["", "as the job says"], ["closed", "closed"], ["vented", "vented"], ["passive-radiator", "with a passive radiator"]]),
    before: curveField("Impedance before a change", "magnitude_ohm", { stage, optional: "none", hint: "Sealed, stuffed, braced, vent trimmed: what did it do?" }),
  };
  const design = { litres: textField("Designed volume, l", {}), port: textField("Vent", { hint: "Inner diameter x length in mm, such as 32x45." }), inner: textField("Inside, mm", { hint: "Width x height x depth, such as 110x180x96." }),
    out: textField("Folder for the results", { hint: "Beside the curve where it is left empty." }) };
  const words = () => {
    if (!fields.curve.value()) return "Choose the impedance of the driver in the box.";
    return ["box", fields.curve.value(), ...option("--driver", fields.driver.value()), ...option("--box", fields.box.value()), ...option("--kind", fields.kind.value()), ...option("--before", fields.before.value()),
      ...option("--design-l", design.litres.value()), ...option("--port", design.port.value()), ...option("--inner-mm", design.inner.value()), ...option("--out", design.out.value())];
  };
  return taskPart({ title: "What the box really is", verb: "Examine the box", words, says: "Airtight or not, how much air it holds, how it is tuned, what rings: at the driver's own terminals, without crossover.",
    groups: [{ fields: Object.values(fields) }, { heading: "The design, where the job does not hold it", fields: Object.values(design), folded: true }] });
}
