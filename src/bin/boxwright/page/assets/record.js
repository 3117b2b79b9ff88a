// @ts-check
// The job as the program last told it: what was captured, what came of it, which curves there are.

import { ask } from "./server.js";

/** The stages of building, in their order; what belongs to none of them comes last. */
export const STAGES = [
  { name: "on the bench", way: "on-the-bench", what: "the driver alone" },
  { name: "in its box", way: "in-its-box", what: "the box closed up" },
  { name: "on the stand", way: "on-the-stand", what: "the finished loudspeaker" },
  { name: "with the subwoofer", way: "with-the-subwoofer", what: "at the seats" },
];
export const ELSEWHERE = { name: "elsewhere", way: "elsewhere", what: "what belongs to no stage" };

const NOTHING = { units: [], captures: [], results: [], todo: [], next: [], findings: [] };

class JobRecord {
  constructor() {
    /** @type {any} */
    this.told = { folder: "", job: {}, status: NOTHING, curves: [], cautions: [] };
    /** @type {Set<() => void>} */
    this.listeners = new Set();
  }

  async load() {
    const told = await ask("/api/job");
    this.told = {
      ...told,
      job: told.job ?? {},
      status: { ...NOTHING, ...told.status },
      curves: withoutTwins(told.curves ?? []),
    };
    for (const listener of this.listeners) listener();
  }

  get status() {
    return this.told.status;
  }
  get curves() {
    return this.told.curves;
  }
  get job() {
    return this.told.job;
  }
  get name() {
    return this.status.name || this.job.job?.name || this.told.folder.split(/[\\/]/).pop() || "this folder";
  }

  /** Names of the loudspeakers, as the job or a capture has them. */
  unitNames() {
    const named = this.status.units.map((/** @type {any} */ unit) => unit.name);
    const known = new Set(named.map(asPartOfAName));
    const captured = this.status.captures.map((/** @type {any} */ capture) => capture.unit).filter(Boolean);
    return [...named, ...new Set(captured.filter((/** @type {string} */ name) => !known.has(asPartOfAName(name))))];
  }

  /** @param {string} measure */
  curvesOf(measure) {
    return this.curves.filter((/** @type {any} */ curve) => curve.measure === measure);
  }

  /** @param {string} kind */
  resultsOf(kind) {
    return this.status.results.filter((/** @type {any} */ result) => result.kind === kind);
  }

  /** Calls now and after each change, until the returned function is called. @param {() => void} listener */
  follow(listener) {
    this.listeners.add(listener);
    listener();
    return () => this.listeners.delete(listener);
  }

  /**
   * A path as a document has it, relative to the job's folder; also where the folder has moved since.
   * @param {string} path
   */
  inJob(path) {
    const plain = path.replace(/\\/g, "/");
    const folder = this.told.folder.replace(/\\/g, "/").replace(/\/$/, "");
    if (plain.startsWith(`${folder}/`)) return plain.slice(folder.length + 1);
    if (!/^(\/|[A-Za-z]:)/.test(plain)) return plain.replace(/^\.\//, "");
    const known = [...this.curves, ...this.status.results, ...this.status.captures].map(
      (/** @type {any} */ one) => one.path,
    );
    return known.filter((one) => plain.endsWith(`/${one}`)).sort((a, b) => b.length - a.length)[0] ?? plain;
  }
}

/** A Touchstone file beside a table of the same name is the same curve once more. @param {any[]} curves */
function withoutTwins(curves) {
  const known = new Set(curves.map(({ path }) => path));
  return curves.filter(({ path }) => !(path.endsWith(".s1p") && known.has(path.replace(/s1p$/, "csv"))));
}

export const record = new JobRecord();

/** "rear left" and "rear-left" are one unit. @param {string} name */
export function asPartOfAName(name) {
  return name
    .trim()
    .toLowerCase()
    .replace(/[^\p{L}\p{N}]+/gu, "-");
}

/** Where a result belongs that does not say it. */
const STAGE_OF_KIND = {
  driver: "on the bench",
  box: "in its box",
  simulation: "on the stand",
  compare: "on the stand",
  match: "on the stand",
  join: "on the stand",
  average: "on the stand",
  blend: "with the subwoofer",
};

/** The stage that a thing belongs to. @param {{stage?: string, kind?: string}} thing */
export function stageOf(thing) {
  const said = thing.stage || /** @type {Record<string, string>} */ (STAGE_OF_KIND)[thing.kind ?? ""];
  return STAGES.find((stage) => stage.name === said) ?? ELSEWHERE;
}
