// Satellite and subwoofer: the live sum under the sliders, the search, the setting that is kept.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { JOB, goTo, openTask, picture, reach, tested, walkTo } from "./browser.mjs";

const byHand = (page) => page.getByRole("region", { name: "The setting by hand" });
const ripple = async (page) => Number(/([\d.]+) dB/.exec(await byHand(page).locator(".ripple").innerText())[1]);

/** Fills in the seats of the demo, as a person would, and narrows the search. */
async function fillIn(page) {
  await goTo(page, "#/stage/with-the-subwoofer");
  const part = await openTask(page, "Satellite and subwoofer together");
  const seats = ["sofa", "armchair"];
  while ((await part.locator(".seat").count()) < seats.length)
    await part.getByRole("button", { name: "One seat more" }).click();
  for (const [i, seat] of seats.entries()) {
    const row = part.locator(".seat").nth(i);
    await row.getByLabel(/^Seat/).fill(seat);
    await row
      .getByLabel("Satellite alone there")
      .selectOption(`captures/satellite-at-the-${seat}-response/response.csv`);
    await row
      .getByLabel("Subwoofer alone there")
      .selectOption(`captures/subwoofer-at-the-${seat}-response/response.csv`);
  }
  const more = part.locator("details.more", { hasText: "What the receiver can do" }).first();
  if (!(await more.evaluate((details) => details.open))) await more.locator("summary").click();
  await part.getByLabel("Crossovers that the receiver has").fill("140:150");
  await part.getByLabel("The satellite's filters").fill("BW2");
  await part.getByLabel("Folder for the results").fill("blend-by-hand");
  return part;
}

tested("by clicking: sliders with the sum at each seat, the search, and the setting kept", async (page) => {
  const part = await fillIn(page);
  await part.getByRole("button", { name: "Set it by hand" }).click();
  await byHand(page)
    .getByText(/Ripple of the worst seat/)
    .waitFor();
  const before = await ripple(page);
  await byHand(page).getByLabel("Delay of the satellite, ms").last().fill("6");
  await byHand(page).getByLabel("Delay of the satellite, ms").last().press("Enter");
  await page.waitForFunction(
    (was) => !document.querySelector(".desk .ripple").textContent.includes(`: ${was.toFixed(1)} dB`),
    before,
  );
  await picture(page, "blend-by-hand");
  await part.getByRole("button", { name: "Search the best setting" }).click();
  await part
    .locator(".outcome")
    .getByText(/To enter/)
    .waitFor({ timeout: 80_000 });
  await page.waitForTimeout(500);
  assert.ok((await ripple(page)) <= before + 0.05, `${await ripple(page)} after the search, ${before} before`);
  await picture(page, "blend-searched");
  await byHand(page).getByRole("button", { name: "Keep this setting" }).click();
  await byHand(page)
    .locator(".outcome")
    .getByText(/To enter/)
    .waitFor({ timeout: 60_000 });
  const kept = JSON.parse(readFileSync(join(JOB, "blend-by-hand/blend.json"), "utf8"));
  assert.ok(
    Math.abs(kept.ripple_db - (await ripple(page))) < 0.06,
    `${kept.ripple_db} kept, ${await ripple(page)} seen`,
  );
});

tested("by the keyboard alone: a slider moved by arrows, the sum follows, the setting kept", async (page) => {
  await fillIn(page);
  await walkTo(page, "With the subwoofer");
  const part = page.locator("details.task", {
    has: page.getByRole("heading", { name: "Satellite and subwoofer together" }),
  });
  await reach(page, part.getByRole("button", { name: "Set it by hand" }));
  await page.keyboard.press("Enter");
  await byHand(page)
    .getByText(/Ripple of the worst seat/)
    .waitFor({ timeout: 60_000 });
  const before = await ripple(page);
  await reach(page, byHand(page).getByRole("slider", { name: "Level of the subwoofer, dB" }));
  for (let n = 0; n < 20; n += 1) await page.keyboard.press("ArrowRight");
  await page.waitForFunction(
    (was) => !document.querySelector(".desk .ripple").textContent.includes(`: ${was.toFixed(1)} dB`),
    before,
  );
  await reach(page, byHand(page).getByRole("button", { name: "Keep this setting" }));
  await page.keyboard.press("Enter");
  await byHand(page)
    .locator(".outcome")
    .getByText(/To enter/)
    .waitFor({ timeout: 60_000 });
});
