// The job as it stands: what is out of date and why, and the commands that mend it; any other command.

import assert from "node:assert/strict";
import { appendFileSync } from "node:fs";
import { join } from "node:path";
import { JOB, picture, reach, task, tested, type, unfold } from "./browser.mjs";

/** Another remark in the netlist: what leans on it is out of date. */
function touchTheNetwork(remark) {
  appendFileSync(join(JOB, "rear.cir"), `* ${remark}\n`);
}

const staleList = (page) => page.locator("section", { has: page.getByRole("heading", { name: "Out of date" }) });

tested("what is out of date is told with its reason and brought up to date by a click", async (page) => {
  touchTheNetwork("looked at again");
  await page.reload();
  const stale = staleList(page);
  await stale
    .getByText(/rear\.cir changed/)
    .first()
    .waitFor();
  await stale.getByText("boxwright status --do").waitFor();
  await picture(page, "job-out-of-date");
  await stale.getByRole("button", { name: "Do them" }).click();
  await stale.getByText("Everything is as its inputs are.").waitFor({ timeout: 60_000 });
  assert.equal(await page.locator(".tag.stale").count(), 0);
  await picture(page, "job-done");
});

tested("and by the keyboard alone", async (page) => {
  touchTheNetwork("and once more");
  await page.reload();
  const stale = staleList(page);
  await stale
    .getByText(/rear\.cir changed/)
    .first()
    .waitFor();
  await reach(page, stale.getByRole("button", { name: "Do them" }));
  await page.keyboard.press("Enter");
  await stale.getByText("Everything is as its inputs are.").waitFor({ timeout: 60_000 });
});

tested(
  "any other command is done as on a terminal, and refused where it leads out of the folder",
  async (page, { complaints }) => {
    const part = await unfold(page, "Any other command");
    await type(
      page,
      part.getByLabel("Command", { exact: true }),
      "boxwright average 'captures/rear-left-response/response.csv' captures/rear-left-response-2/response.csv --out averaged",
    );
    await page.keyboard.press("Enter");
    await part.getByText("Done.").waitFor({ timeout: 60_000 });
    await part.getByLabel("Command", { exact: true }).fill("response ../elsewhere.wav");
    await page.keyboard.press("Enter");
    await part.getByText("Not done:").waitFor();
    await part.getByLabel("Command", { exact: true }).fill("response 'x.wav");
    await page.keyboard.press("Enter");
    await part.getByText("A quote is opened and not closed.").first().waitFor();
    assert.equal(await task(page, "Any other command").locator(".refused").count(), 1);
    // A browser itself puts every refused request on its console.
    assert.match(complaints.splice(0).join(), /^console: [^,]* 403 [^,]*$/);
  },
);

tested("a command is copied from where it stands", async (page) => {
  await page.context().grantPermissions(["clipboard-read", "clipboard-write"]);
  const part = await unfold(page, "Any other command");
  await part.getByLabel("Command", { exact: true }).fill(`response "a b.wav" --gate '5 ms'`);
  await part.getByRole("button", { name: "Copy the command" }).click();
  await part.getByText("Copied").waitFor();
  assert.equal(await page.evaluate(() => navigator.clipboard.readText()), 'boxwright response "a b.wav" --gate "5 ms"');
});
