// @ts-check
// The driver behind an impedance in free air, with a second curve for all the rest.

import { option, optionWords } from "./command.js";
import { curveField, textField } from "./field.js";
import { taskPart } from "./task.js";

const OPTIONS = {
  "--diameter-mm": "diameter",
  "--sd-cm2": "sd",
  "--mms-g": "mms",
  "--datasheet": "sheet",
  "--name": "name",
  "--out": "out",
};

/** What a second curve needs said with it; or what is missing. @param {Record<string, any>} second */
function secondWords({ mass, grams, box, litres }) {
  if (mass.value() && !grams.value()) return "Say how heavy the added mass is.";
  if (box.value() && !litres.value()) return "Say how much air the test box holds.";
  return [
    ...(mass.value() ? ["--with-mass", mass.value(), ...option("--added-mass-g", grams.value())] : []),
    ...(box.value() ? ["--in-box", box.value(), ...option("--test-box-l", litres.value())] : []),
  ];
}

/** @param {string} stage */
export function driverTask(stage) {
  const free = {
    curve: curveField("Impedance in free air", "magnitude_ohm", { stage }),
    diameter: textField("Diameter that moves the air, mm", { hint: "The cone and half of its surround." }),
    name: textField("What to call it", {}),
  };
  const second = {
    mass: curveField("Impedance with a mass on the cone", "magnitude_ohm", { stage, optional: "none" }),
    grams: textField("That mass, g", { hint: "With what holds it." }),
    box: curveField("Impedance in a test box", "magnitude_ohm", { stage, optional: "none" }),
    litres: textField("Air of that box, l", { hint: "Airtight and unlined." }),
    mms: textField("Moving mass, g", { hint: "With its air, from a scale." }),
  };
  const more = {
    sd: textField("Area that moves the air, cm²", { hint: "Instead of the diameter." }),
    sheet: textField("Data sheet", { hint: "A file of the job, such as mid-data-sheet.toml." }),
    out: textField("Folder for the results", { hint: "Beside the curve where it is left empty." }),
  };
  const words = () => {
    const curve = free.curve.value();
    if (!curve) return "Choose the impedance in free air.";
    const added = secondWords(second);
    if (typeof added === "string") return added;
    return ["driver", curve, ...added, ...optionWords(OPTIONS, { ...free, ...second, ...more })];
  };
  return taskPart({
    title: "What the driver really is",
    verb: "Find its numbers",
    words,
    says:
      "The free-air curve gives R_e, f_s and the Q; one of three more things gives the rest, and two of them " +
      "check each other.",
    groups: [
      { fields: Object.values(free) },
      { heading: "A second curve, or the mass", fields: Object.values(second) },
      { heading: "More", fields: Object.values(more), folded: true },
    ],
  });
}
