// @ts-check
// The curves of a result document, on sheets: those in the document itself and those in the files beside it.

import { element, fill } from "./element.js";
import { record } from "./record.js";
import { ask } from "./server.js";
import { CurveSheet } from "./sheet.js";

/** @typedef {import("./curve.js").Curve} Curve */

/** A name for a curve by where it lies: the folder of a `response.csv`, else folder and file. @param {string} path */
export function curveName(path) {
  const parts = path.split(/[\\/]/);
  const file = (parts.pop() ?? path).replace(/\.[^.]+$/, "");
  const folder = parts.pop();
  return !folder ? file : ["response", "impedance"].includes(file) ? folder : `${folder}/${file}`;
}

/**
 * A curve file of the job, ready to be drawn.
 * @param {string} path
 * @param {number} place
 * @param {string} [name]
 * @returns {Promise<Curve & {measure: string, phase_deg?: number[], header: any}>}
 */
export async function loadCurve(path, place, name = curveName(path)) {
  const read = await ask("/api/curve", { path });
  return {
    name,
    place,
    x: read.frequency_hz,
    y: read.values,
    u: read.u,
    measure: read.measure,
    phase_deg: read.phase_deg,
    header: read.header,
  };
}

/** The column with the doubt of another one. */
const DOUBTS = { level_db: "u_db", magnitude_ohm: "u_ohm", phase_deg: "u_deg" };

/**
 * A column of a document as a curve.
 * @param {any} column
 * @param {string} key
 * @param {string} name
 * @param {number} place
 * @returns {Curve}
 */
function columnCurve(column, key, name, place) {
  return {
    name,
    place,
    x: column.frequency_hz,
    y: column[key],
    u: column[/** @type {Record<string, string>} */ (DOUBTS)[key]],
  };
}

/**
 * A sheet with these curves.
 * @param {string} label
 * @param {"level_db" | "magnitude_ohm" | "phase_deg"} measure
 * @param {Curve[]} curves
 * @param {[number, number]} [band_hz]
 */
function sheetOf(label, measure, curves, band_hz) {
  const lowest = Math.min(...curves.map(({ x }) => x[0]));
  const highest = Math.max(...curves.map(({ x }) => x[x.length - 1]));
  const sheet = new CurveSheet({
    label,
    measure,
    switches: curves.length > 1,
    from_hz: lowest < 19 ? 10 : 20,
    to_hz: highest < 1100 ? 1000 : 20000,
  });
  sheet.show(curves, band_hz);
  return sheet.element;
}

/** A sheet that is made when it is asked for. @param {string} title @param {() => Node} make */
function onDemand(title, make) {
  const part = element(
    "details",
    {
      class: "more",
      ontoggle: () => {
        if (part.open && part.children.length === 1) part.append(make());
      },
    },
    element("summary", {}, title),
  );
  return part;
}

/**
 * A place that fills when its curves are read.
 * @param {string} label
 * @param {any} measure
 * @param {{path: string, name?: string}[]} wanted
 */
function fromFiles(label, measure, wanted) {
  const place = element("div", {});
  Promise.all(wanted.map(({ path, name }, i) => loadCurve(record.inJob(path), i, name).catch(() => null))).then(
    (read) => {
      const curves = read.filter((curve) => curve !== null && (measure === "any" || curve.measure === measure));
      if (curves.length)
        fill(
          place,
          sheetOf(
            label,
            measure === "any" ? /** @type {any} */ (curves[0]).measure : measure,
            /** @type {any} */ (curves),
          ),
        );
    },
  );
  return place;
}

/** Harmonics that are there at all. @param {any} distortion */
function distortionSheet(distortion) {
  const curves = Object.entries(distortion.harmonics).map(([order, level]) => ({
    name: `harmonic ${order}`,
    place: Number(order) - 2,
    x: distortion.frequency_hz,
    y: /** @type {any} */ (level),
  }));
  const heard = curves.filter(({ y }) => y.some((/** @type {any} */ value) => value !== null));
  if (heard.length === 0) return element("p", { class: "soft" }, "All harmonics are hidden in the noise.");
  return sheetOf("Harmonics in dB re the fundamental", "level_db", heard);
}

/** @param {any} document @param {string} ends */
const fileNamed = (document, ends) =>
  (document.files ?? []).find((/** @type {any} */ file) => file.path.endsWith(ends))?.path;

/** Curves of the units that a document was made from. @param {any} document */
const inputCurves = (document) =>
  (document.inputs ?? [])
    .map((/** @type {any} */ input) => input.path)
    .filter((/** @type {string} */ path) => /\.(csv|txt|s1p|frd|zma)$/i.test(path));

const PICTURES = {
  response: (/** @type {any} */ d) => [
    sheetOf("Level over frequency", "level_db", [columnCurve(d.curve, "level_db", "response", 0)]),
    onDemand("Phase", () =>
      sheetOf("Phase over frequency, the arrival's delay removed", "phase_deg", [
        columnCurve(d.curve, "phase_deg", "phase", 0),
      ]),
    ),
    d.distortion ? onDemand("Distortion", () => distortionSheet(d.distortion)) : null,
  ],
  impedance: (/** @type {any} */ d) => [
    sheetOf("Impedance over frequency", "magnitude_ohm", [columnCurve(d.curve, "magnitude_ohm", "impedance", 0)]),
    onDemand("Phase", () =>
      sheetOf("Phase of the impedance", "phase_deg", [columnCurve(d.curve, "phase_deg", "phase", 0)]),
    ),
  ],
  driver: (/** @type {any} */ d) => fittedPictures(d, "Measured impedance and the fitted driver"),
  box: (/** @type {any} */ d) => fittedPictures(d, "Measured impedance and the fitted box"),
  compare: (/** @type {any} */ d) => [
    fromFiles(
      "Measured and expected",
      d.of === "impedance" ? "magnitude_ohm" : "level_db",
      inputCurves(d)
        .slice(0, 2)
        .map((/** @type {string} */ path, /** @type {number} */ i) => ({
          path,
          name: `${i ? "expected" : "measured"}: ${curveName(path)}`,
        })),
    ),
    d.deviation?.level_db
      ? sheetOf(
          "Measured minus expected",
          "level_db",
          [columnCurve(d.deviation, "level_db", "measured minus expected", 4)],
          d.band_hz,
        )
      : null,
  ],
  match: (/** @type {any} */ d) => [
    fromFiles(
      "The units",
      "any",
      inputCurves(d).map((/** @type {string} */ path) => ({ path })),
    ),
  ],
  blend: (/** @type {any} */ d) =>
    (d.seats ?? []).map((/** @type {any} */ seat) => {
      const parts = ["sum", "satellite", "subwoofer"]
        .map((part) => ({ path: fileNamed(d, `${seat.name}-${part}.csv`), name: part }))
        .filter(({ path }) => path);
      return parts.length
        ? element(
            "div",
            {},
            element("h3", {}, seat.name),
            fromFiles(`Sum, satellite and subwoofer: ${seat.name}`, "level_db", parts),
          )
        : null;
    }),
  simulation: (/** @type {any} */ d) =>
    Object.entries(d.speakers ?? {}).flatMap(([name, /** @type {any} */ speaker]) => [
      element("h3", {}, name),
      sheetOf(`${name}: response as designed`, "level_db", [
        columnCurve(speaker.response, "level_db", "all ways", 0),
        ...Object.entries(speaker.ways ?? {}).map(([way, /** @type {any} */ curves], i) =>
          columnCurve(curves.response, "level_db", way, i + 1),
        ),
      ]),
      sheetOf(`${name}: impedance as designed`, "magnitude_ohm", [
        columnCurve(speaker.impedance, "magnitude_ohm", "impedance", 0),
      ]),
    ]),
  join: (/** @type {any} */ d) => [
    sheetOf("Near and far joined", "level_db", [columnCurve(d.curve, "level_db", "joined", 0)]),
  ],
  average: (/** @type {any} */ d) =>
    d.curve ? [sheetOf("The average", "level_db", [columnCurve(d.curve, "level_db", "average", 0)])] : [],
};

/** @param {any} document @param {string} label */
function fittedPictures(document, label) {
  const fitted = fileNamed(document, "fitted.csv");
  const measured = inputCurves(document)[0];
  const wanted = [
    measured ? { path: measured, name: "measured" } : null,
    fitted ? { path: fitted, name: "fitted" } : null,
  ].filter((one) => one !== null);
  return wanted.length ? [fromFiles(label, "magnitude_ohm", /** @type {any} */ (wanted))] : [];
}

/** @param {any} document @param {string} kind @returns {(Node | null)[]} */
export function resultPictures(document, kind) {
  return /** @type {Record<string, (document: any) => any[]>} */ (PICTURES)[kind]?.(document) ?? [];
}
