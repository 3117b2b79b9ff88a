// Curves laid over each other: on and off, values at a frequency, phases, other frequencies, numbers instead of pictures.

import assert from "node:assert/strict";
import { goTo, picture, reach, tested, walkTo } from "./browser.mjs";

const RESPONSE = /^captures\/rear-left-response\/response\.csv/;
const IMPEDANCE = /^captures\/mid-impedance\/impedance\.csv/;
const AGAIN = /^captures\/rear-left-response-2\/response\.csv/;

tested("by clicking: levels and impedances each on their own sheet, with values and phases", async (page) => {
  await goTo(page, "#/curves");
  for (const name of [RESPONSE, AGAIN, IMPEDANCE]) await page.getByLabel(name).check();
  await page.getByRole("heading", { name: "Levels" }).waitFor();
  await page.getByRole("heading", { name: "Impedances" }).waitFor();
  const levels = page.locator("section", { has: page.getByRole("heading", { name: "Levels" }) });
  assert.equal(await levels.locator(".legend tbody tr").count(), 2);
  assert.match(await levels.locator(".legend td").first().innerText(), /dB/);
  await levels.locator(".u-over").hover({ position: { x: 300, y: 100 } });
  const there = await levels.locator(".legend th").nth(1).innerText();
  assert.notEqual(there, "at 1 kHz");
  await levels.getByLabel("rear-left-response-2").uncheck();
  assert.equal(await levels.locator(".legend td").nth(1).innerText(), "off");
  await page.getByLabel("Show the phases as well").check();
  await page.getByRole("heading", { name: "Phases" }).waitFor();
  await levels.getByText("The same as numbers").click();
  await levels.getByRole("table").nth(1).getByRole("row").nth(5).waitFor();
  await picture(page, "curves");
});

tested("by the keyboard alone", async (page) => {
  await walkTo(page, "Curves over each other");
  for (const name of [IMPEDANCE, RESPONSE]) {
    await reach(page, page.getByLabel(name));
    await page.keyboard.press("Space");
  }
  const levels = page.locator("section", { has: page.getByRole("heading", { name: "Levels" }) });
  const reading = levels.getByLabel("Read at");
  await reading.waitFor();
  await reach(page, reading);
  const before = await levels.locator(".legend td").first().innerText();
  for (let n = 0; n < 12; n += 1) await page.keyboard.press("ArrowRight");
  assert.notEqual(await levels.locator(".legend td").first().innerText(), before);
  assert.equal(await reading.getAttribute("aria-valuetext"), "1.4 kHz");
  await page.waitForFunction(() => /At 1.4 kHz: rear-left-response/.test(document.getElementById("said").textContent));
  await reach(page, levels.getByText("Other frequencies"));
  await page.keyboard.press("Enter");
  await reach(page, levels.getByLabel("Show from, Hz"));
  await page.keyboard.press("Control+A");
  await page.keyboard.type("500");
  await page.keyboard.press("Enter");
  await reach(page, reading, { back: true });
  await page.keyboard.press("Home");
  assert.equal(await reading.getAttribute("aria-valuetext"), "500 Hz");
});
