// The gate: dragged by mouse, moved by keys, kept; and how often the curve is drawn anew while it is dragged.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { JOB, goTo, openTab, path, picture, reach, tested } from "./browser.mjs";

/** Captured at 96 kHz by `run`, so that its impulse response has more than 65,536 samples. */
const LONG = "captures/long-response.wav";
const LEAST_A_SECOND = 30;

const handle = (page) => page.getByRole("slider", { name: "Length of the gate after the arrival" });
const keep = (page) => page.getByRole("button", { name: "Keep this gate" });
const kept = (wav) => JSON.parse(readFileSync(join(JOB, wav.replace(/\.wav$/, ""), "result.json"), "utf8"));

/** Counts each frame of the browser in which the curve was drawn anew, by the page's own clock. */
async function countDrawings(page) {
  await page.evaluate(() => {
    const plot = document.querySelector("main .sheet .plot[aria-label^='Level over frequency']");
    let frame = 0;
    const tick = () => {
      frame += 1;
      requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
    const drawn = [];
    globalThis.drawings = drawn;
    plot.addEventListener("drawn", () => {
      if (drawn.at(-1)?.frame !== frame) drawn.push({ frame, at_ms: performance.now() });
    });
  });
}

tested(
  "dragged over an impulse response of more than 65,536 samples the curve follows thirty times a second",
  async (page) => {
    const told = kept(LONG);
    assert.ok(told.impulse.frames >= 65_536, `${told.impulse.frames} samples`);
    await goTo(page, `#/gate/${path(LONG)}`);
    await handle(page).waitFor();
    await countDrawings(page);
    const box = await handle(page).boundingBox();
    const layer = await page.locator(".gate-layer").boundingBox();
    await page.mouse.move(box.x, box.y + 20);
    await page.mouse.down();
    const begun = Date.now();
    for (let step = 0; Date.now() - begun < 2500; step += 1) {
      const share = 0.45 + 0.35 * Math.sin(step / 25);
      await page.mouse.move(layer.x + share * layer.width, box.y + 20);
    }
    await page.mouse.up();
    const drawings = await page.evaluate(() => globalThis.drawings.map(({ at_ms }) => at_ms));
    const rate = (drawings.length - 1) / ((drawings.at(-1) - drawings[0]) / 1000);
    console.log(
      `# gate dragged over ${told.impulse.frames} samples: ${rate.toFixed(1)} curves a second, ${drawings.length} in ${((drawings.at(-1) - drawings[0]) / 1000).toFixed(2)} s`,
    );
    assert.ok(rate >= LEAST_A_SECOND, `${rate.toFixed(1)} a second`);
  },
);

tested("dragged by mouse and kept: the result has just this gate", async (page) => {
  await goTo(page, `#/gate/${path(LONG)}`);
  const box = await handle(page).boundingBox();
  await page.mouse.move(box.x, box.y + 20);
  await page.mouse.down();
  await page.mouse.move(box.x - 60, box.y + 20, { steps: 12 });
  await page.mouse.up();
  const length_ms = Number(await handle(page).getAttribute("aria-valuenow"));
  await page.locator("main code", { hasText: `--gate "${length_ms} ms"` }).waitFor();
  await picture(page, "gate");
  await keep(page).click();
  await page.getByRole("link", { name: "This result on its own" }).waitFor({ timeout: 60_000 });
  // Half a sample at 96 kHz.
  assert.ok(Math.abs(kept(LONG).gate.length_ms - length_ms) <= 0.0053, `${kept(LONG).gate.length_ms} for ${length_ms}`);
});

tested("moved by the arrow keys and kept by the keyboard alone, with the values that were seen", async (page) => {
  await goTo(page, `#/gate/${path(LONG)}`);
  await handle(page).waitFor();
  await reach(page, handle(page));
  const before = Number(await handle(page).getAttribute("aria-valuenow"));
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("Shift+ArrowRight");
  const after = Number(await handle(page).getAttribute("aria-valuenow"));
  assert.ok(Math.abs(after - before - 0.8) < 0.011, `${before} to ${after}`);
  await page.getByText(`Through ${after.toFixed(2)} ms it holds`).waitFor();
  const seen = await page.locator(".legend td").first().innerText();
  await reach(page, keep(page));
  await page.keyboard.press("Enter");
  await page.getByRole("link", { name: "This result on its own" }).waitFor({ timeout: 60_000 });
  const result = page.locator(".outcome .legend td").first();
  assert.equal((await result.innerText()).split(" ±")[0], seen.split(" ±")[0]);
});

tested(
  "dragged by a finger",
  async (page) => {
    await goTo(page, `#/gate/${path(LONG)}`);
    const before = Number(await handle(page).getAttribute("aria-valuenow"));
    const box = await handle(page).boundingBox();
    const fingers = await page.context().newCDPSession(page);
    const touch = (type, x) =>
      fingers.send("Input.dispatchTouchEvent", {
        type,
        touchPoints: type === "touchEnd" ? [] : [{ x, y: box.y + 20 }],
      });
    await touch("touchStart", box.x);
    for (let step = 1; step <= 8; step += 1) await touch("touchMove", box.x - 4 * step);
    await touch("touchEnd", 0);
    await page.waitForFunction(
      (was) => Number(document.querySelector(".gate-handle").getAttribute("aria-valuenow")) < was,
      before,
    );
  },
  { hasTouch: true },
);

tested("a gate typed out of its limits is brought back to them", async (page) => {
  await goTo(page, `#/gate/${path(LONG)}`);
  const field = page.getByLabel("Gate after the arrival, ms");
  await field.fill("0.0001");
  await field.press("Enter");
  const { value, least } = await handle(page).evaluate((slider) => ({
    value: Number(slider.getAttribute("aria-valuenow")),
    least: Number(slider.getAttribute("aria-valuemin")),
  }));
  assert.ok(value >= least - 0.005 && value < 5, `${value}`);
});

tested("a gate that the program has let go for others is opened anew", async (page, { context, complaints }) => {
  await goTo(page, `#/gate/${path(LONG)}`);
  await handle(page).waitFor();
  const other = await openTab({ context });
  for (let n = 0; n < 4; n += 1) {
    await goTo(other.page, `#/gate/${path("captures/rear-left-response.wav")}`);
    await handle(other.page).waitFor();
    await goTo(other.page, "#/job");
  }
  await handle(page).press("ArrowLeft");
  const after = Number(await handle(page).getAttribute("aria-valuenow"));
  await page.getByText(`Through ${after.toFixed(2)} ms it holds`).waitFor();
  assert.equal(await page.locator(".refused").count(), 0);
  // A browser itself puts the question that had no answer on its console.
  assert.match(complaints.splice(0).join(), /^console: [^,]* 404 [^,]*$/);
});
