// What is asked of curves: the driver, the box, measured and expected with why, units alike.

import assert from "node:assert/strict";
import { goTo, openTask, picture, reach, tested, type, unfold, walkTo } from "./browser.mjs";

const curve = (name) => `captures/${name}/${name.endsWith("impedance") ? "impedance" : "response"}.csv`;

/** Runs a task by its button and waits for its outcome. */
async function done(part, button, says) {
  await part.getByRole("button", { name: button, exact: true }).click();
  await part.locator(".outcome").getByText(says).first().waitFor({ timeout: 60_000 });
}

/** The same with Enter. */
async function enter(page, part, button, says) {
  await reach(page, part.getByRole("button", { name: button, exact: true }));
  await page.keyboard.press("Enter");
  await part.locator(".outcome").getByText(says).first().waitFor({ timeout: 60_000 });
}

tested("the driver by clicking: with a mass on the cone its moving mass is told", async (page) => {
  await goTo(page, "#/stage/on-the-bench");
  const part = await openTask(page, "What the driver really is");
  await part.getByLabel("Impedance in free air").selectOption(curve("mid-impedance"));
  await part.getByLabel("Diameter that moves the air, mm").fill("79.8");
  await part.getByLabel("Impedance with a mass on the cone").selectOption(curve("mid-heavier-impedance"));
  await part.locator("code", { hasText: "Say how heavy the added mass is." }).waitFor();
  await part.getByLabel("That mass, g").fill("3");
  await done(part, "Find its numbers", /g$/);
  assert.match(await part.locator(".outcome tr", { hasText: "Mms" }).first().innerText(), /3\.\d+\s±\s.*\sg/);
  await picture(page, "driver");
});

tested("the driver by the keyboard alone", async (page) => {
  await walkTo(page, "On the bench");
  const part = await unfold(page, "What the driver really is");
  await type(page, part.getByLabel("Impedance in free air"), curve("mid-impedance"));
  await enter(page, part, "Find its numbers", /Hz$/);
});

tested("the box by clicking and by the keyboard alone: it leaks", async (page) => {
  await goTo(page, "#/stage/in-its-box");
  const part = await openTask(page, "What the box really is");
  await part.getByLabel("Impedance of the driver in the box").selectOption(curve("first-box-impedance"));
  await part.getByLabel("The driver", { exact: true }).selectOption("driver/driver.json");
  await part.getByLabel("Which of the job's boxes").selectOption("rear");
  await done(part, "Examine the box", "The box leaks.");
  await picture(page, "box");
  await walkTo(page, "In its box");
  const again = await unfold(page, "What the box really is");
  await type(page, again.getByLabel("Impedance of the driver in the box"), curve("first-box-impedance"));
  await type(page, again.getByLabel("The driver", { exact: true }), "driver");
  await type(page, again.getByLabel("Which of the job's boxes"), "rear");
  await enter(page, again, "Examine the box", "The box leaks.");
});

tested("measured and expected by clicking, with why they differ", async (page) => {
  await goTo(page, "#/stage/on-the-stand");
  const part = await openTask(page, "Measured and expected");
  await part.getByLabel("Measured", { exact: true }).selectOption(curve("prototype-response"));
  await part.getByLabel("Expected", { exact: true }).selectOption("simulation/rear-response.csv");
  await part.getByLabel("Say why, by the job's design").check();
  await part.getByLabel("The other measurement of the same loudspeaker").selectOption(curve("prototype-impedance"));
  await done(part, "Compare", /C2 acts like/);
  await part.getByText("the answer is: not within the limits").waitFor();
  await picture(page, "compare");
});

tested("measured and expected by the keyboard alone", async (page) => {
  await walkTo(page, "On the stand");
  const part = await unfold(page, "Measured and expected");
  await type(page, part.getByLabel("Measured", { exact: true }), curve("prototype-response"));
  await type(page, part.getByLabel("Expected", { exact: true }), "simulation/rear-response");
  await reach(page, part.getByLabel("Say why, by the job's design"));
  await page.keyboard.press("Space");
  await enter(page, part, "Compare", /What explains the difference|left unexplained|nothing/i);
});

tested("units alike, by clicking and by the keyboard alone", async (page) => {
  await goTo(page, "#/stage/on-the-bench");
  const part = await openTask(page, "Are they alike?");
  await part.getByLabel(new RegExp(`^${curve("mid-impedance")}`)).check();
  await part.locator("code", { hasText: "Tick two curves or more." }).waitFor();
  await part.getByLabel(new RegExp(`^${curve("mid-spare-impedance")}`)).check();
  await done(part, "Match", /alike within the limits/);
  await picture(page, "match");
  await walkTo(page, "On the stand");
  const again = await unfold(page, "Are they alike?");
  for (const name of ["rear-dented-response", "rear-left-response"]) {
    await reach(page, again.getByLabel(new RegExp(`^${curve(name)}`)));
    await page.keyboard.press("Space");
  }
  await enter(page, again, "Match", /alike within the limits/);
});

tested("what the design promises, by clicking", async (page) => {
  await goTo(page, "#/stage/on-the-stand");
  const part = await openTask(page, "What the design promises");
  await done(part, "Simulate", "all ways");
});
