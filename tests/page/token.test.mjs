// The address with its secret, and what becomes of the page without it, or without its program.

import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { test } from "node:test";
import { ADDRESS, openTab, ORIGIN, picture, PROGRAM, tested } from "./browser.mjs";

tested("the token leaves the address at once, and a reload keeps working", async (page) => {
  assert.match(ADDRESS, /#token=[\w-]{32,}$/);
  assert.equal(await page.evaluate(() => location.href), `${ORIGIN}/`);
  assert.equal(await page.evaluate(() => history.length), 2, "about:blank and the page");
  await page.reload();
  await page.getByRole("heading", { name: "What stands where" }).waitFor();
  assert.ok(!(await page.content()).includes(new URL(ADDRESS).hash.slice(7)));
});

tested(
  "a page without the token says what to do",
  async (page) => {
    await page.getByRole("heading", { name: "This page needs its address" }).waitFor();
    assert.match(await page.locator("main").innerText(), /Open the address that boxwright page printed/);
    await picture(page, "without-token");
  },
  { address: `${ORIGIN}/` },
);

tested("a second address in the same tab is taken as well", async (page) => {
  await page.goto(ADDRESS);
  await page.getByRole("heading", { name: "What stands where" }).waitFor();
  assert.ok(!page.url().includes("token"));
});

test("a program that ends is told, and the page asks ever more seldom", { timeout: 60_000 }, async () => {
  const folder = mkdtempSync(join(tmpdir(), "boxwright-empty-"));
  const program = spawn(PROGRAM, ["page", folder], { stdio: ["ignore", "pipe", "ignore"] });
  try {
    const [printed] = await once(program.stdout, "data");
    const { page, context, complaints } = await openTab({ address: String(printed).trim() });
    await page.getByText("Nothing was captured in this folder yet").waitFor();
    assert.deepEqual(complaints, []);
    program.kill("SIGINT");
    await page.getByText("The program behind this page does not answer").waitFor();
    await page.waitForTimeout(4000);
    assert.ok(complaints.length <= 4, `${complaints.length} complaints in four seconds`);
    await picture(page, "program-gone");
    await context.close();
  } finally {
    program.kill("SIGKILL");
    rmSync(folder, { recursive: true, force: true });
  }
});
