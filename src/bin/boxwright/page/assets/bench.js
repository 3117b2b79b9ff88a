// @ts-check
// The chain as it was chosen on this page: devices, channels, level. What is left empty is the job's.

import { option } from "./command.js";
import { record } from "./record.js";

const KEPT = "boxwright-bench";

/** Option of the program and key of the job for each choice. */
const OPTIONS = {
  output: "--output",
  input: "--input",
  rate: "--rate",
  output_channels: "--output-channels",
  reply: "--reply",
  reference: "--reference",
  drive: "--drive",
  load: "--load",
  sense_ohm: "--sense-ohm",
  level_dbfs: "--level-dbfs",
};
const FOR = {
  level: ["output", "input", "rate", "output_channels", "reply", "reference"],
  response: ["output", "input", "rate", "output_channels", "reply", "reference"],
  impedance: ["output", "input", "rate", "output_channels", "drive", "load", "sense_ohm"],
};

class Bench {
  constructor() {
    /** @type {Record<string, string>} */
    this.chosen = JSON.parse(sessionStorage.getItem(KEPT) ?? "{}");
  }

  /** @param {string} what */
  get(what) {
    return this.chosen[what] ?? "";
  }

  /** @param {string} what @param {string} value */
  set(what, value) {
    if (value === "") delete this.chosen[what];
    else this.chosen[what] = value;
    sessionStorage.setItem(KEPT, JSON.stringify(this.chosen));
  }

  /** The job's own word on something. @param {string} key */
  jobs(key) {
    const said = record.job.bench?.[key];
    return said === undefined ? "" : String(said);
  }

  isSimulated() {
    return (this.get("output") || this.jobs("output")) === "simulated";
  }

  /** Options for a command that sounds. @param {"level" | "response" | "impedance"} kind @returns {string[]} */
  words(kind) {
    return FOR[kind].flatMap((what) => option(/** @type {Record<string, string>} */ (OPTIONS)[what], this.get(what)));
  }
}

export const bench = new Bench();
