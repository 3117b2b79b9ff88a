// How it looks and reads: every view in light and dark, at twice the size, on a phone; no fault that axe-core knows.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { goTo, path, picture, playIt, task, tested } from "./browser.mjs";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** Opens all that is folded, so that everything is looked at. */
async function unfoldAll(page) {
  await page.evaluate(() => {
    for (const part of document.querySelectorAll("main details")) part.open = true;
  });
  await page.waitForTimeout(250);
}

const VIEWS = {
  job: ["#/job"],
  sound: ["#/sound"],
  bench: ["#/stage/on-the-bench"],
  "in-box": ["#/stage/in-its-box"],
  stand: ["#/stage/on-the-stand"],
  subwoofer: ["#/stage/with-the-subwoofer"],
  gate: [`#/gate/${path("captures/rear-left-response.wav")}`],
  analyse: [`#/analyse/impedance/${path("captures/mid-impedance.wav")}`],
  response: [`#/result/${path("captures/rear-left-response/result.json")}`],
  "driver-found": [`#/result/${path("driver/driver.json")}`],
  "box-found": [`#/result/${path("first-box/box.json")}`],
  compared: [`#/result/${path("prototype/compare.json")}`],
  blended: [`#/result/${path("blend/blend.json")}`],
  simulated: [`#/result/${path("simulation/simulation.json")}`],
  curves: [
    "#/curves",
    async (page) => {
      for (const name of [/^captures\/rear-left-response\/response/, /^captures\/mid-impedance\/impedance\.csv/])
        await page.getByLabel(name).check();
      await page.getByLabel("Show the phases as well").check();
    },
  ],
};

/** Each view, when it has come to rest. */
async function tour(page, look) {
  for (const [name, [way, prepare]] of Object.entries(VIEWS)) {
    await goTo(page, way);
    await prepare?.(page);
    await page.waitForFunction(() => !document.querySelector("main .working"));
    await unfoldAll(page);
    await look(name);
  }
}

/** What axe-core finds, as short lines. */
async function faults(page) {
  if (!(await page.evaluate(() => "axe" in globalThis))) await page.evaluate(AXE);
  const found = await page.evaluate(async () =>
    (await globalThis.axe.run(document, { resultTypes: ["violations"] })).violations.map(
      ({ id, impact, nodes }) =>
        `${impact} ${id}: ${nodes
          .slice(0, 3)
          .map(({ html }) => html.slice(0, 160))
          .join(" | ")}`,
    ),
  );
  return found;
}

for (const colorScheme of ["light", "dark"]) {
  tested(
    `axe-core finds no fault in any view, ${colorScheme}`,
    async (page) => {
      const all = [];
      await tour(page, async (name) => {
        all.push(...(await faults(page)).map((fault) => `${name}: ${fault}`));
        await picture(page, `${colorScheme}-${name}`);
      });
      assert.deepEqual(all, []);
    },
    { colorScheme },
  );
}

tested("axe-core finds no fault before a sound nor while it plays", async (page) => {
  await goTo(page, "#/sound");
  await task(page, "Set the level").getByLabel("Seconds").fill("4");
  await page.getByRole("button", { name: "Play a quiet tone" }).click();
  await page.getByRole("dialog").waitFor();
  assert.deepEqual(await faults(page), []);
  await playIt(page);
  await page.getByRole("meter", { name: /input 1/ }).waitFor();
  assert.deepEqual(await faults(page), []);
  await page.keyboard.press("Escape");
  await page
    .getByRole("region", { name: "What is playing" })
    .getByText(/^Ended/)
    .waitFor();
});

/** Views that a narrow window cuts off. */
async function tooWide(page, looks) {
  const wide = [];
  await tour(page, async (name) => {
    const [needs, has] = await page.evaluate(() => [
      document.documentElement.scrollWidth,
      document.documentElement.clientWidth,
    ]);
    if (needs > has) wide.push(`${name}: ${needs} of ${has}`);
    await picture(page, `${looks}-${name}`);
  });
  return wide;
}

tested(
  "at 200 % no view has to be scrolled sideways",
  async (page) => {
    assert.deepEqual(await tooWide(page, "twice"), []);
  },
  { viewport: { width: 640, height: 450 }, deviceScaleFactor: 2 },
);

tested(
  "on a phone's width no view has to be scrolled sideways",
  async (page) => {
    assert.deepEqual(await tooWide(page, "phone"), []);
  },
  { viewport: { width: 360, height: 740 }, hasTouch: true },
);

tested("the keyboard's place is always to be seen, and the first tab skips to the work", async (page) => {
  await page.reload();
  await page.locator("h1").waitFor();
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement?.textContent), "Skip to the work");
  await page.keyboard.press("Enter");
  assert.equal(await page.evaluate(() => document.activeElement?.id), "main");
  await goTo(page, "#/stage/on-the-stand");
  for (let n = 0; n < 60; n += 1) {
    await page.keyboard.press("Tab");
    const seen = await page.evaluate(() => {
      const one = document.activeElement;
      if (!one || one === document.body) return "left";
      const { width, height } = one.getBoundingClientRect();
      return width > 0 && height > 0 && getComputedStyle(one).outlineStyle !== "none"
        ? "seen"
        : one.outerHTML.slice(0, 120);
    });
    if (seen === "left") return;
    assert.equal(seen, "seen");
  }
});
