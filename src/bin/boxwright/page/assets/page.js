// @ts-check
// The page from its start: the token, the record, the events, and the view that the address names.

import { analyseView } from "./analyse.js";
import { benchView } from "./bench_view.js";
import { element, fill, sayAloud } from "./element.js";
import { listen } from "./events.js";
import { gateView } from "./gate.js";
import { jobView } from "./job_view.js";
import { leaveView } from "./leaving.js";
import { refusal } from "./notice.js";
import { overlayView } from "./overlay.js";
import { ELSEWHERE, record, STAGES, stageOf } from "./record.js";
import { resultView } from "./result_view.js";
import { useToken } from "./server.js";
import { soundEvent, stopByEscape } from "./sounding.js";
import { capital, stageView } from "./stage.js";
import { takeToken } from "./token.js";

const main = /** @type {HTMLElement} */ (document.getElementById("main"));
const lost = /** @type {HTMLElement} */ (document.getElementById("lost"));

const VIEWS = {
  job: () => jobView(),
  sound: () => benchView(),
  curves: () => overlayView(),
  stage: (/** @type {string} */ way) => stageView(way),
  result: (/** @type {string} */ path) => resultView(path),
  gate: (/** @type {string} */ wav) => gateView(wav),
  analyse: (/** @type {string} */ kind, /** @type {string} */ wav) => analyseView(kind, wav),
};

/** Ways through the job, in the order of building. */
function ways() {
  const elsewhere = [...record.status.captures, ...record.status.results].some((thing) => stageOf(thing) === ELSEWHERE);
  return [
    ["#/job", "The job"],
    ["#/sound", "Sound card and level"],
    ...STAGES.map(({ way, name }) => [`#/stage/${way}`, capital(name)]),
    ...(elsewhere ? [[`#/stage/${ELSEWHERE.way}`, capital(ELSEWHERE.name)]] : []),
    ["#/curves", "Curves over each other"],
  ];
}

function showWays() {
  const list = /** @type {HTMLElement} */ (document.getElementById("ways"));
  const focused = document.activeElement?.getAttribute("href");
  const here = location.hash || "#/job";
  fill(
    list,
    ways().map(([to, words]) =>
      element(
        "li",
        { class: to.startsWith("#/stage") ? "stage" : undefined },
        element(
          "a",
          { href: to, "aria-current": to === here ? "page" : undefined, onclick: to === here ? toHeading : undefined },
          words,
        ),
      ),
    ),
  );
  if (focused) /** @type {HTMLElement | null} */ (list.querySelector(`[href="${focused}"]`))?.focus();
}

/** The way that is taken already. */
function toHeading() {
  /** @type {HTMLElement | null} */ (main.querySelector("h1"))?.focus();
}

function showView() {
  const [name, ...given] = (location.hash.replace(/^#\//, "") || "job").split("/");
  const view = /** @type {Record<string, (...given: string[]) => HTMLElement>} */ (VIEWS)[name] ?? VIEWS.job;
  leaveView();
  fill(main, view(...given.map(decodeURIComponent)));
  showWays();
  const heading = main.querySelector("h1");
  document.title = `${heading?.textContent || record.name} – boxwright`;
  return /** @type {HTMLElement | null} */ (heading);
}

/** A new way was taken: from its top, with the keyboard at its heading. */
function takeWay() {
  if (location.hash.startsWith("#token=")) {
    takeToken();
    return location.reload();
  }
  return showView()?.focus();
}

/** @param {"here" | "lost" | "stranger"} state */
function connection(state) {
  if (state === "here" && lost.hidden) return;
  const was = lost.dataset.state;
  if (was === "stranger" || was === state) return;
  lost.dataset.state = state;
  lost.hidden = state === "here";
  const words = {
    here: "",
    lost: "The program behind this page does not answer. If it was ended, start boxwright page again and open the address that it prints; else this page goes on by itself.",
    stranger: "The program behind this page is another one now. Open the address that boxwright page printed.",
  };
  fill(lost, element("p", {}, words[state]));
  if (state === "here") {
    sayAloud("The program answers again.");
    record.load().catch(() => {});
  }
}

let listening = false;

/** The folder may have been changed by hand while another window was in front. */
window.addEventListener("focus", () => record.load().catch(() => {}));

/** Whether this begins a connection after another one: something may have changed in between. @param {any} event */
function missed(event) {
  if (event.kind !== "silent" && event.kind !== "sounding") return false;
  const again = listening && event.kind === "silent";
  listening = true;
  return again;
}

/** @param {any} event */
function heard(event) {
  soundEvent(event);
  if (event.kind === "changed" || missed(event)) record.load().catch(() => {});
  document.title =
    event.kind === "sounding"
      ? "Playing – boxwright"
      : event.kind === "ended" || event.kind === "silent"
        ? `${main.querySelector("h1")?.textContent || record.name} – boxwright`
        : document.title;
}

function withoutToken() {
  fill(
    main,
    element("h1", { tabindex: -1 }, "This page needs its address"),
    element(
      "p",
      {},
      "Open the address that ",
      element("code", {}, "boxwright page"),
      " printed, with everything behind the #. It holds a secret that only this machine knows, so that no other page can play sounds here.",
    ),
    element("p", { class: "soft" }, "The address is good until the program ends, in one tab or in several."),
  );
}

async function begin() {
  const token = takeToken();
  if (!token) return withoutToken();
  useToken(token);
  try {
    await record.load();
  } catch (why) {
    return fill(main, element("h1", { tabindex: -1 }, "The job can't be read"), refusal(why));
  }
  record.follow(() => {
    fill(/** @type {HTMLElement} */ (document.getElementById("job-name")), record.name);
    fill(/** @type {HTMLElement} */ (document.getElementById("job-folder")), record.told.folder);
    showWays();
  });
  stopByEscape();
  document.querySelector(".skip")?.addEventListener("click", (event) => {
    event.preventDefault();
    main.focus();
  });
  showView();
  addEventListener("hashchange", takeWay);
  return listen(heard, connection);
}

begin();
