// A browser, tabs that are watched, and hands: by mouse and by keyboard alone.
//
// Every tab is watched from its first byte to its last: no error or warning on its console, no error of the page itself,
// no request to anywhere but the program under test.

import assert from "node:assert/strict";
import { after, test } from "node:test";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";

/** What `boxwright page` printed. */
export const ADDRESS = needed("BOXWRIGHT_PAGE_ADDRESS");
/** The job's folder, and the program. */
export const JOB = needed("BOXWRIGHT_PAGE_JOB");
export const PROGRAM = needed("BOXWRIGHT_PROGRAM");
export const ORIGIN = new URL(ADDRESS).origin;
/** Where pictures of the page go, if anybody wants them. */
const PICTURES = process.env.BOXWRIGHT_PAGE_PICTURES;

function needed(name) {
  const value = process.env[name];
  if (!value) throw new Error(`${name} is not set; tests/page/run sets it`);
  return value;
}

let launched;

async function browser() {
  const asRoot = process.getuid?.() === 0 ? ["--no-sandbox"] : [];
  launched ??= chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: asRoot });
  return launched;
}

after(async () => (await launched)?.close());

/** A tab of its own context, watched; `complaints` holds what was wrong. */
export async function openTab({ address = ADDRESS, context, prepare, ...looks } = {}) {
  const own = context ?? (await (await browser()).newContext({ viewport: { width: 1280, height: 900 }, ...looks }));
  const page = await own.newPage();
  const complaints = [];
  const origin = new URL(address).origin;
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type()))
      complaints.push(`console: ${message.text()} (${message.location().url})`);
  });
  page.on("pageerror", (error) => complaints.push(`page: ${error.stack}`));
  page.on("request", (request) => {
    if (new URL(request.url()).origin !== origin) complaints.push(`request: ${request.url()}`);
  });
  await prepare?.(page);
  await page.goto(address);
  await page.locator("h1").waitFor();
  return { page, context: own, complaints };
}

/** A test with a tab that has to stay free of complaints. */
export function tested(name, work, looks = {}) {
  test(name, { timeout: 150_000 }, async () => {
    const tab = await openTab(looks);
    try {
      await work(tab.page, tab);
      assert.deepEqual(tab.complaints, []);
    } finally {
      await tab.context.close();
    }
  });
}

/** Goes to a view as a link would. */
export async function goTo(page, way) {
  await page.evaluate((to) => {
    location.hash = to;
  }, way);
  await page.waitForFunction((to) => location.hash === to && document.querySelector("main h1"), way);
}

/** The part of a view with this heading. */
export function task(page, title) {
  return page.locator("details.task", { has: page.getByRole("heading", { name: title, exact: true }) });
}

export async function openTask(page, title) {
  const part = task(page, title);
  if (!(await part.evaluate((details) => details.open))) await part.locator("summary").first().click();
  return part;
}

/** Tabs until this has the keyboard; a person would give up after so many. */
export async function reach(page, target, { most = 150, back = false } = {}) {
  for (let pressed = 0; pressed <= most; pressed += 1) {
    if (await target.evaluate((wanted) => wanted === document.activeElement)) return pressed;
    await page.keyboard.press(back ? "Shift+Tab" : "Tab");
  }
  throw new Error(`not reached by ${most} tabs: ${target}`);
}

/** By the keyboard alone: to a view by its way in the list of views. */
export async function walkTo(page, way) {
  await reach(page, page.getByRole("navigation").getByRole("link", { name: way, exact: true }), {
    back: await isInMain(page),
  });
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => document.activeElement?.tagName === "H1");
}

const isInMain = (page) => page.evaluate(() => Boolean(document.activeElement?.closest("main")));

/** By the keyboard alone: opens a task. */
export async function unfold(page, title) {
  const part = task(page, title);
  await reach(page, part.locator("summary").first());
  if (!(await part.evaluate((details) => details.open))) await page.keyboard.press("Enter");
  return part;
}

/** By the keyboard alone: fills a field, or picks from a list by typing its beginning. */
export async function type(page, field, text) {
  await reach(page, field);
  await page.keyboard.type(text);
}

/** Confirms the sound that a button asked for. */
export async function playIt(page) {
  await page.getByRole("dialog").getByRole("button", { name: "Play it" }).click();
}

/** Takes a picture of the page, if anybody wants pictures. */
export async function picture(page, name, whole = true) {
  if (!PICTURES) return;
  mkdirSync(PICTURES, { recursive: true });
  await page.screenshot({ path: join(PICTURES, `${name}.png`), fullPage: whole });
}

export const path = (file) => encodeURIComponent(file);
