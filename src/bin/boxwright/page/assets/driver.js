// @ts-check
// The driver behind an impedance in free air, with a second curve for all the rest.

import { option } from "./command.js";
import { curveField, textField } from "./field.js";
import { taskPart } from "./task.js";

/** @param {string} stage */
export function driverTask(stage) {
  const free = { curve: curveField("Impedance in free air", "magnitude_ohm", { stage }), diameter: textField("Diameter that moves the air, mm", { hint: "The cone and half of its surround." }),
    name: textField("What to call it", {}) };
  const second = {
    mass: curveField("Impedance with a mass on the cone", "magnitude_ohm", { stage, optional: "none" }), grams: textField("That mass, g", { hint: "With what holds it." }),
    box: curveField("Impedance in a test box", "magnitude_ohm", { stage, optional: "none" }), litres: textField("Air of that box, l", { hint: "Airtight and unlined." }),
    mms: textField("Moving mass, g", { hint: "With its air, from a scale." }),
  };
  const more = { sd: textField("Area that moves the air, cm²", { hint: "Instead of the diameter." }), sheet: textField("Data sheet", { hint: "A file of the job, such as mid-data-sheet.toml." }),
    out: textField("Folder for the results", { hint: "Beside the curve where it is left empty." }) };
  const words = () => {
    if (!free.curve.value()) return "Choose the impedance in free air.";
    if (second.mass.value() && !second.grams.value()) return "Say how heavy the added mass is.";
    if (second.box.value() && !second.litres.value()) return "Say how much air the test box holds.";
    return ["driver", free.curve.value(), ...option("--diameter-mm", free.diameter.value()), ...option("--sd-cm2", more.sd.value()), ...option("--with-mass", second.mass.value()),
      ...option("--added-mass-g", second.mass.value() && second.grams.value()), ...option("--in-box", second.box.value()), ...option("--test-box-l", second.box.value() && second.litres.value()),
      ...option("--mms-g", second.mms.value()), ...option("--datasheet", more.sheet.value()), ...option("--name", free.name.value()), ...option("--out", more.out.value())];
  };
  return taskPart({ title: "What the driver really is", verb: "Find its numbers", words, says: "The free-air curve gives R_e, f_s and the Q; one of three more things gives the rest, and two of them check each other.",
    groups: [{ fields: Object.values(free) }, { heading: "A second curve, or the mass", fields: Object.values(second) }, { heading: "More", fields: Object.values(more), folded: true }] });
}
