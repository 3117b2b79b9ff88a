// @ts-check
// One result on its own: where it stands, the command that made it, and everything that it holds.

import { commandShown } from "./command.js";
import { element, fill } from "./element.js";
import { whenLeft } from "./leaving.js";
import { noticePlace, refusal } from "./notice.js";
import { record } from "./record.js";
import { kindOf, resultBody } from "./result.js";
import { ask } from "./server.js";
import { capital, stateTag } from "./stage.js";
import { runNear } from "./task.js";

/** @param {string} path */
export function resultView(path) {
  const heading = element("h1", { tabindex: -1 }, path);
  const standing = element("div", {});
  const body = element("div", {}, element("p", { class: "working" }, "Reading it …"));
  const notice = noticePlace();
  let shown = "";
  const load = async () => {
    try {
      const document = await ask("/api/document", { path });
      const text = JSON.stringify(document);
      if (text === shown) return;
      shown = text;
      heading.textContent = capital(`${kindOf(document)}: ${path.replace(/\/(result|[a-z]+)\.json$/, "")}`);
      fill(body, resultBody(document));
    } catch (why) {
      fill(body, refusal(why));
    }
  };
  whenLeft(
    record.follow(() => {
      fill(standing, standingParts(path, notice));
      load();
    }),
  );
  return element("div", {}, heading, standing, notice, element("h2", {}, "What came out"), body);
}

/** @param {string} path @param {Element} notice */
function standingParts(path, notice) {
  const result = record.status.results.find((/** @type {any} */ one) => one.path === path);
  if (!result) return [element("p", {}, element("code", {}, path))];
  const told = element(
    "p",
    { class: "soft" },
    [result.unit, result.stage].filter(Boolean).join(", "),
    " ",
    stateTag(result),
    result.because?.length ? ` ${result.because.join("; ")}` : "",
  );
  if (!result.command) return [told];
  const wav =
    result.kind === "response" && result.command[1]?.endsWith(".wav") && result.run_in === "."
      ? result.command[1]
      : null;
  const again = element("button", { type: "button" }, "Do it again");
  again.addEventListener("click", () => runNear(result.command, notice, again));
  return [
    told,
    commandShown(result.command),
    element(
      "div",
      { class: "actions" },
      result.run_in === "." ? again : element("small", {}, `in ${result.run_in}`),
      wav ? element("a", { href: `#/gate/${encodeURIComponent(wav)}` }, "Set the gate by hand") : null,
    ),
  ];
}
