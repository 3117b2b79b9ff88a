// What sounds: the level, captures, the stop, several tabs. On the simulated bench, which plays as long as a real one.

import assert from "node:assert/strict";
import { existsSync } from "node:fs";
import { join } from "node:path";
import {
  JOB,
  goTo,
  openTab,
  openTask,
  picture,
  playIt,
  reach,
  task,
  tested,
  type,
  unfold,
  walkTo,
} from "./browser.mjs";

/** The simulated bench still writes down its truth after a stop, which takes a slow program a while. */
const ENDED_MS = 30_000;

const stopButton = (page) =>
  page.getByRole("region", { name: "What is playing" }).getByRole("button", { name: /^Stop/ });

const ended = (page) => page.getByRole("region", { name: "What is playing" }).getByText(/Ended: stopped/);

/** A capture that takes its time, started by mouse. */
async function startCapture(page, unit, seconds = "0.3") {
  await goTo(page, "#/stage/on-the-stand");
  const part = await openTask(page, "Measure a response");
  await part.getByLabel("Which loudspeaker or driver").fill(unit);
  await part.getByLabel("Seconds for one sweep").fill(seconds);
  await part.getByRole("button", { name: "Measure", exact: true }).click();
  await playIt(page);
  await stopButton(page).waitFor();
  await page.getByRole("meter").first().waitFor({ timeout: 60_000 });
  return part;
}

tested("devices and level by clicking: the meters live, the proposal is kept for the captures", async (page) => {
  await goTo(page, "#/sound");
  await page.getByLabel("Device that plays").selectOption("simulated");
  await page.getByLabel("Device that records").selectOption("simulated");
  const level = task(page, "Set the level");
  await level.getByLabel("Never louder than, dBFS").fill("-24");
  await level.getByLabel("Seconds").fill("1");
  await level.getByRole("button", { name: "Play a quiet tone" }).click();
  await page.getByRole("dialog").getByText("Your ears").waitFor();
  await picture(page, "before-sound", false);
  await playIt(page);
  await page.getByRole("meter", { name: /input 1/ }).waitFor();
  await page.waitForFunction(
    () => Number(document.querySelector('[role="meter"]')?.getAttribute("aria-valuenow")) > -85,
  );
  await picture(page, "playing", false);
  await level.getByText(/Proposed level/).waitFor();
  await level.getByRole("button", { name: /Use -\d+ dBFS for the captures/ }).click();
  await picture(page, "level");
  await goTo(page, "#/stage/on-the-stand");
  const capture = await openTask(page, "Measure a response");
  assert.match(await capture.getByLabel("Level, dBFS").inputValue(), /^-\d+/);
  assert.match(
    await capture.locator("code").first().innerText(),
    /--output simulated --input simulated .*--level-dbfs -\d+/,
  );
});

tested("the level by the keyboard alone; Escape in the dialog plays nothing", async (page) => {
  await walkTo(page, "Sound card and level");
  const level = task(page, "Set the level");
  await type(page, level.getByLabel("Seconds"), "0.5");
  await reach(page, level.getByRole("button", { name: "Play a quiet tone" }));
  await page.keyboard.press("Enter");
  await page.getByRole("dialog").waitFor();
  assert.equal(await page.evaluate(() => document.activeElement?.textContent), "Not now");
  await page.keyboard.press("Escape");
  await page.getByRole("dialog").waitFor({ state: "detached" });
  assert.equal(
    await page.evaluate(() => document.activeElement?.textContent),
    "Play a quiet tone",
    "the keyboard is back where it was",
  );
  await page.keyboard.press("Enter");
  await reach(page, page.getByRole("dialog").getByRole("button", { name: "Play it" }), { most: 5 });
  await page.keyboard.press("Enter");
  await level.getByText(/Proposed level/).waitFor();
});

tested("a response is captured and analysed by clicking", async (page) => {
  const part = await startCapture(page, "clicked");
  await part.getByText("captures/clicked-response.wav").first().waitFor({ timeout: 60_000 });
  await part.getByRole("link", { name: "Analyse it" }).click();
  const analysis = task(page, "Impulse and frequency response");
  await analysis.getByRole("button", { name: "Analyse" }).click();
  await analysis.getByRole("link", { name: "This result on its own" }).waitFor({ timeout: 60_000 });
  await picture(page, "response");
  await goTo(page, "#/stage/on-the-stand");
  await page.getByText("clicked-response.wav").waitFor();
});

tested("an impedance is captured and analysed by the keyboard alone", async (page) => {
  await walkTo(page, "On the bench");
  const part = await unfold(page, "Measure an impedance");
  await type(page, part.getByLabel("Which loudspeaker or driver"), "typed");
  await type(page, part.getByLabel("Repeats"), "1");
  await type(page, part.getByLabel("Seconds for one sweep"), "0.3");
  await reach(page, part.getByRole("button", { name: "Measure", exact: true }));
  await page.keyboard.press("Enter");
  await reach(page, page.getByRole("dialog").getByRole("button", { name: "Play it" }), { most: 5 });
  await page.keyboard.press("Enter");
  await part.getByText("captures/typed-impedance.wav").first().waitFor({ timeout: 60_000 });
  await reach(page, part.getByRole("link", { name: "Analyse it" }));
  await page.keyboard.press("Enter");
  const analysis = task(page, "Impedance");
  await reach(page, analysis.getByRole("button", { name: "Analyse" }));
  await page.keyboard.press("Enter");
  await analysis.getByRole("link", { name: "This result on its own" }).waitFor({ timeout: 60_000 });
  await picture(page, "impedance");
});

tested("an impedance is captured by clicking, a response by the keyboard alone", async (page) => {
  await goTo(page, "#/stage/in-its-box");
  const jig = await openTask(page, "Measure an impedance");
  await jig.getByLabel("Which loudspeaker or driver").fill("pointed at");
  await jig.getByLabel("Repeats").fill("1");
  await jig.getByLabel("Seconds for one sweep").fill("0.3");
  await jig.getByRole("button", { name: "Measure", exact: true }).click();
  await playIt(page);
  await jig.getByText("captures/pointed-at-impedance.wav").first().waitFor({ timeout: 60_000 });
  await walkTo(page, "With the subwoofer");
  const part = await unfold(page, "Measure a response");
  await type(page, part.getByLabel("Which loudspeaker or driver"), "keyed");
  await type(page, part.getByLabel("Seconds for one sweep"), "0.3");
  await reach(page, part.getByRole("button", { name: "Measure", exact: true }));
  await page.keyboard.press("Enter");
  await reach(page, page.getByRole("dialog").getByRole("button", { name: "Play it" }), { most: 5 });
  await page.keyboard.press("Enter");
  await part.getByText("captures/keyed-response.wav").first().waitFor({ timeout: 60_000 });
});

tested("Escape stops from another view, and what was recorded is kept", async (page) => {
  await startCapture(page, "escaped", "1");
  await goTo(page, "#/curves");
  await page.keyboard.press("Escape");
  await page.getByText(/It fades out/).waitFor({ timeout: 1500 });
  const region = page.getByRole("region", { name: "What is playing" });
  await ended(page).waitFor({ timeout: ENDED_MS });
  await picture(page, "stopped", false);
  assert.ok(existsSync(join(JOB, "captures/escaped-response.wav")));
  await region.getByRole("button", { name: "Close" }).click();
  assert.ok(await region.isHidden());
});

tested("the stop button stops at once, and says so near where it was started", async (page) => {
  const part = await startCapture(page, "halted", "1");
  await stopButton(page).click();
  await part
    .getByText(/stopped/)
    .first()
    .waitFor({ timeout: ENDED_MS });
});

tested(
  "two tabs: one plays, the other sees it, can't begin another one, and can stop it",
  async (page, { context, complaints }) => {
    const other = await openTab({ context });
    await startCapture(page, "shared", "2");
    await stopButton(other.page).waitFor();
    await other.page.waitForFunction(() => document.title.startsWith("Playing"));
    await goTo(other.page, "#/sound");
    const level = task(other.page, "Set the level");
    await level.getByRole("button", { name: "Play a quiet tone" }).click();
    await level.getByText(/something is playing already/).waitFor();
    assert.equal(await other.page.getByRole("dialog").count(), 0);
    await picture(other.page, "refused");
    await stopButton(other.page).click();
    await ended(page).waitFor({ timeout: ENDED_MS });
    await ended(other.page).waitFor({ timeout: ENDED_MS });
    await goTo(other.page, "#/stage/on-the-stand");
    await other.page.getByText("shared-response.wav").waitFor();
    assert.deepEqual([...complaints, ...other.complaints], []);
  },
);
