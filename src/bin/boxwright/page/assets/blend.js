// @ts-check
// Satellite and subwoofer at the seats: which curves, the search for the best setting, and the setting by hand.

import { BlendDesk } from "./blend_desk.js";
import { option, optionWords } from "./command.js";
import { element, fill } from "./element.js";
import { curveField, textField } from "./field.js";
import { noticePlace, tellRefusal } from "./notice.js";
import { record } from "./record.js";
import { send } from "./server.js";
import { taskPart } from "./task.js";

/** Options that a search and a single setting share, with what they are called here. */
const SHARED = {
  "--alone": "alone",
  "--smooth": "smooth",
  "--room": "room",
  "--crossover": "crossover",
  "--high-pass": "high",
  "--low-pass": "low",
  "--out": "out",
};

/** What the receiver can do, and the room. @returns {Record<string, import("./field.js").Field>} */
function moreFields() {
  return {
    alone: curveField("The satellite free of the room", "level_db", {
      optional: "none",
      hint: "Joined near and far field, or simulated: tells how low it reaches.",
    }),
    crossover: textField("Crossovers that the receiver has", { shows: "40:200" }),
    high: textField("The satellite's filters", { shows: "BW2,LR4" }),
    low: textField("The subwoofer's", { shows: "LR4" }),
    smooth: textField("Smoothing", { shows: "none", hint: "1/6 leaves a room's narrow dips out of account." }),
    room: textField("Room, m", { hint: "Length x width x height." }),
    out: textField("Folder for the results", { hint: "Beside the first curve where it is left empty." }),
  };
}

/**
 * @param {{name: string, sat: string, sub: string}[]} seats
 * @param {Record<string, any>} more
 * @returns {string[] | string}
 */
function blendWords(seats, more) {
  if (seats.length === 0) return "Choose for each seat a curve of the satellite and one of the subwoofer.";
  const names = seats.map(({ name }) => name);
  const curves = ["--sat", ...seats.map(({ sat }) => sat), "--sub", ...seats.map(({ sub }) => sub)];
  return [
    "blend",
    ...curves,
    ...option("--seats", names.every(Boolean) && names.join(",")),
    ...optionWords(SHARED, more),
  ];
}

/** @param {string} stage */
export function blendTask(stage) {
  const seats = seatRows(stage);
  const more = moreFields();
  takeOver(seats, more);
  const words = () => blendWords(seats.value(), more);
  const desk = element("div", {});
  const notice = noticePlace();
  /** @type {BlendDesk | null} */
  let opened = null;
  const open = async () => {
    opened = await openDesk(words(), desk, notice);
  };
  const search = taskPart({
    title: "Satellite and subwoofer together",
    open: true,
    verb: "Search the best setting",
    words,
    more: [element("button", { type: "button", onclick: open }, "Set it by hand")],
    after: async (document) => {
      if (!opened) await open();
      opened?.takeDocument(document);
    },
    says: "Each was captured alone from every seat, with its room (gate: none) and with nothing changed in between.",
    groups: [
      { heading: "Seats", fields: [seats.field] },
      { heading: "What the receiver can do, and the room", fields: Object.values(more), folded: true },
    ],
  });
  return element("div", {}, search, notice, desk);
}

/**
 * @param {string[] | string} words
 * @param {Element} desk
 * @param {Element} notice
 * @returns {Promise<BlendDesk | null>}
 */
async function openDesk(words, desk, notice) {
  if (typeof words === "string") {
    tellRefusal(notice, { says: words });
    return null;
  }
  fill(notice, element("p", { class: "working" }, "Reading the curves …"));
  try {
    const opened = await send("/api/blend/open", { arguments: words });
    fill(notice);
    const made = new BlendDesk(words, opened);
    fill(desk, made.element);
    made.element.querySelector("h2")?.focus();
    return made;
  } catch (why) {
    tellRefusal(notice, why);
    return null;
  }
}

/** One seat: its name, the satellite and the subwoofer there. @param {number} n @param {string} stage */
function seatRow(n, stage) {
  const name = textField(`Seat ${n}`, { shows: `seat ${n}` });
  const sat = curveField("Satellite alone there", "level_db", { stage });
  const sub = curveField("Subwoofer alone there", "level_db", { stage });
  return { name, sat, sub, element: element("div", { class: "seat" }, name.element, sat.element, sub.element) };
}

/** Rows of seats, as many as there are. @param {string} stage */
function seatRows(stage) {
  /** @type {ReturnType<typeof seatRow>[]} */
  const rows = [];
  const list = element("div", { class: "seats" });
  const add = () => {
    const row = seatRow(rows.length + 1, stage);
    rows.push(row);
    list.append(row.element);
    return row;
  };
  add();
  const oneMore = { type: "button", class: "quiet", onclick: () => add().name.control.focus() };
  const whole = element("div", { class: "field wide" }, list, element("button", oneMore, "One seat more"));
  const value = () =>
    rows
      .map(({ name, sat, sub }) => ({ name: name.value(), sat: sat.value(), sub: sub.value() }))
      .filter(({ sat, sub }) => sat && sub);
  const renew = () => rows.forEach(({ sat, sub }) => [sat, sub].forEach((field) => field.renew?.()));
  const set = (/** @type {{name: string, sat: string, sub: string}[]} */ seats) =>
    seats.forEach((seat, i) => {
      const row = rows[i] ?? add();
      row.name.set(seat.name);
      row.sat.set(seat.sat);
      row.sub.set(seat.sub);
    });
  return { field: { element: whole, control: whole, value, set, renew }, value, set };
}

/** Begins with the curves of the last blend of this job. @param {any} seats @param {Record<string, any>} more */
function takeOver(seats, more) {
  const made = record.resultsOf("blend").at(-1);
  if (!made?.command) return;
  const from = (/** @type {string} */ path) => inJobFrom(made.run_in ?? ".", path);
  const given = (/** @type {string} */ name) => {
    const at = made.command.indexOf(name);
    const end = made.command.findIndex(
      (/** @type {string} */ word, /** @type {number} */ i) => i > at && word.startsWith("--"),
    );
    return at < 0 ? [] : made.command.slice(at + 1, end < 0 ? undefined : end);
  };
  const [sat, sub, names] = [given("--sat"), given("--sub"), (given("--seats")[0] ?? "").split(",")];
  if (sat.length === 0 || sat.length !== sub.length) return;
  seats.set(
    sat.map((/** @type {string} */ path, /** @type {number} */ i) => ({
      name: (names[i] ?? "").trim(),
      sat: from(path),
      sub: from(sub[i]),
    })),
  );
  for (const [name, key] of Object.entries(SHARED)) {
    const value = given(name)[0];
    if (value && !["--crossover", "--high-pass", "--low-pass"].includes(name))
      more[key].set(["--alone", "--out"].includes(name) ? from(value) : value);
  }
}

/** A path from where a command ran, as one from the job's folder. @param {string} run_in @param {string} path */
function inJobFrom(run_in, path) {
  const parts = [];
  for (const part of `${run_in}/${path}`.split("/")) {
    if (part === ".." && parts.length) parts.pop();
    else if (part !== "." && part !== "") parts.push(part);
  }
  return path.startsWith("/") ? record.inJob(path) : parts.join("/");
}
