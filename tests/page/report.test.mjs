// The report in a real browser, with the network off: values under pointer and keys, curves on and off, nothing to complain of.
//
//   BOXWRIGHT_REPORT           the report of a demo
//   BOXWRIGHT_REPORT_PICTURES  a folder for screenshots; else none are taken
import { strict as assert } from "node:assert";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const file = process.env.BOXWRIGHT_REPORT;
const pictures = process.env.BOXWRIGHT_REPORT_PICTURES;
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

let browser;
before(async () => {
  assert.ok(file, "BOXWRIGHT_REPORT names the report");
  browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
});
after(() => browser?.close());

/** The report, opened without a network; whatever the browser complains of, or asks for, is kept. */
async function opened(options = {}) {
  const context = await browser.newContext({ offline: true, viewport: { width: 1100, height: 900 }, ...options });
  const page = await context.newPage();
  const trouble = [];
  page.on("console", (message) => ["error", "warning"].includes(message.type()) && trouble.push(message.text()));
  page.on("pageerror", (error) => trouble.push(String(error)));
  page.on("request", (request) => {
    if (!/^(file|data|blob):/.test(request.url())) trouble.push(`asked for ${request.url()}`);
  });
  await page.goto(pathToFileURL(resolve(file)).href);
  return { page, trouble, close: () => context.close() };
}

/** The first picture that is not folded away whose title has these words. */
const figure = (page, words) => page.locator("figure:visible").filter({ has: page.locator("svg title", { hasText: words }) }).first();

test("the pointer shows the values of all curves at its place", async () => {
  const { page, trouble, close } = await opened();
  const picture = figure(page, "frequency response");
  const reader = picture.locator(".reader");
  await reader.scrollIntoViewIfNeeded();
  await reader.hover({ position: { x: 500, y: 40 } });
  const values = picture.locator(".values");
  await values.waitFor({ state: "visible" });
  const head = await values.locator("thead").innerText();
  assert.match(head, /\d+(\.\d+)? k?Hz\s+level\s+phase/);
  const row = await values.locator("tbody tr").first().innerText();
  assert.match(row, /−?\d+\.\d+ ± \d+\.\d+ dB\s+−?\d+(\.\d+)? degrees/);
  // The level that is told is the one that is drawn: read it off the middle of the picture by the axis.
  const told = Number(row.match(/−?\d+\.\d+/)[0].replace("−", "-"));
  const drawn = await picture.evaluate((root) => {
    const svg = root.querySelector("svg");
    const about = JSON.parse(svg.querySelector("metadata").textContent);
    const hair = root.querySelector(".hair").getBoundingClientRect();
    const [left, top, right, bottom] = about.panels[0].frame;
    const at = svg.createSVGPoint();
    at.x = hair.left;
    at.y = 0;
    const x = at.matrixTransform(svg.getScreenCTM().inverse()).x;
    const path = svg.querySelector('g[data-panel="0"] g[data-curve="0"] path[stroke]');
    let nearest = { away: Infinity };
    for (let length = 0; length < path.getTotalLength(); length += 1) {
      const place = path.getPointAtLength(length);
      const away = Math.abs(place.x - x);
      if (away < nearest.away) nearest = { away, y: place.y };
    }
    const { from, to } = about.panels[0].y;
    return from + ((bottom - nearest.y) / (bottom - top)) * (to - from);
  });
  // Half a pixel of the screen on a curve that is not steep.
  assert.ok(Math.abs(told - drawn) < 0.2, `${told} against ${drawn}`);
  await page.mouse.move(5, 5);
  await values.waitFor({ state: "hidden" });
  assert.deepEqual(trouble, []);
  await close();
});

test("the arrow keys read values, and what is read is told to a screen reader", async () => {
  const { page, trouble, close } = await opened();
  const reader = figure(page, "impedance").locator(".reader");
  await reader.focus();
  const told = () => reader.getAttribute("aria-valuetext");
  const first = await told();
  assert.match(first, /Hz; .*Ω/);
  await page.keyboard.press("ArrowRight");
  const second = await told();
  assert.notEqual(first, second);
  await page.keyboard.press("ArrowLeft");
  assert.equal(await told(), first);
  const hertz = (text) => Number(text.match(/^[\d.]+/)[0]) * (text.includes("kHz") ? 1000 : 1);
  await page.keyboard.press("End");
  const last = hertz(await told());
  await page.keyboard.press("Home");
  assert.ok(hertz(await told()) < last / 100, "from one end to the other");
  const values = figure(page, "impedance").locator(".values");
  assert.ok(await values.isVisible());
  await page.keyboard.press("Escape");
  assert.ok(await values.isHidden());
  assert.deepEqual(trouble, []);
  await close();
});

test("curves are switched off and on, by pointer and by key, and drop out of the values", async () => {
  const { page, trouble, close } = await opened();
  const picture = figure(page, "responses");
  const buttons = picture.locator("[data-entry][role=button]");
  assert.ok((await buttons.count()) > 1);
  const button = buttons.first();
  const name = (await button.getAttribute("aria-label")).replace(/^show /, "");
  const curve = await button.getAttribute("data-entry");
  const drawn = picture.locator(`[data-curve="${curve}"]`).first();
  const rows = async () => {
    await picture.locator(".reader").hover({ position: { x: 600, y: 60 } });
    return picture.locator(".values tbody th").allInnerTexts();
  };
  assert.ok((await rows()).includes(name));
  await button.click();
  assert.equal(await button.getAttribute("aria-pressed"), "false");
  assert.ok(await drawn.isHidden());
  assert.ok(!(await rows()).includes(name));
  await button.focus();
  await page.keyboard.press("Space");
  assert.equal(await button.getAttribute("aria-pressed"), "true");
  assert.ok(await drawn.isVisible());
  await page.keyboard.press("Enter");
  assert.ok(await drawn.isHidden());
  assert.deepEqual(trouble, []);
  await close();
});

test("pictures that are folded away answer once they are opened, maps by colour", async () => {
  const { page, trouble, close } = await opened();
  const folded = page.locator("details").filter({ has: page.locator("svg title", { hasText: "burst decay" }) }).first();
  await folded.locator("summary").click();
  const map = folded.locator("figure").filter({ has: page.locator("svg title", { hasText: "burst decay" }) });
  const reader = map.locator(".reader");
  await reader.scrollIntoViewIfNeeded();
  const box = await reader.boundingBox();
  const seen = new Set();
  for (let down = 0.97; down > 0.05; down -= 0.1) {
    await reader.hover({ position: { x: box.width * 0.8, y: box.height * down } });
    seen.add(await map.locator(".values tbody th").first().innerText());
  }
  assert.ok([...seen].some((text) => /dB/.test(text)) && seen.size > 1, [...seen].join(" | "));
  await page.keyboard.press("Escape");
  assert.deepEqual(trouble, []);
  await close();
});

test("all is there without scripts, and in print", async () => {
  const { page, close } = await opened({ javaScriptEnabled: false });
  assert.ok((await page.locator("figure svg").count()) > 10);
  assert.equal(await page.locator(".reader").count(), 0);
  await close();
  const scripted = await opened();
  const picture = figure(scripted.page, "responses");
  await picture.locator("[data-entry][role=button]").first().click();
  await scripted.page.emulateMedia({ media: "print" });
  assert.ok(await picture.locator("[data-curve]").first().isVisible(), "a curve that was switched off is printed");
  assert.ok(await picture.locator(".reader").isHidden());
  await scripted.close();
});

test("what was smuggled into the page can't run", async () => {
  const { page, close } = await opened();
  const refused = [];
  page.on("console", (message) => refused.push(message.text()));
  const ran = await page.evaluate(() => {
    const script = document.createElement("script");
    script.textContent = "window.smuggled = true";
    document.body.append(script);
    document.body.insertAdjacentHTML("beforeend", '<img src="x" onerror="window.smuggled = true">');
    return new Promise((done) => setTimeout(() => done(window.smuggled === true), 300));
  });
  assert.equal(ran, false);
  assert.ok(refused.some((text) => /Content Security Policy/.test(text)), refused.join("\n"));
  await close();
});

for (const [looks, options] of [
  ["light", { colorScheme: "light" }],
  ["dark", { colorScheme: "dark" }],
  ["phone", { viewport: { width: 390, height: 844 }, isMobile: true, hasTouch: true }],
]) {
  test(`no serious fault of accessibility, ${looks}`, async () => {
    const { page, trouble, close } = await opened({ ...options, bypassCSP: true });
    await page.addScriptTag({ content: axe });
    const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    const serious = violations.filter(({ impact }) => ["serious", "critical"].includes(impact));
    assert.deepEqual(serious.map(({ id, nodes }) => `${id}: ${nodes[0].html.slice(0, 200)}`), []);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(wide <= 1, `the page is ${wide} px wider than the screen`);
    assert.deepEqual(trouble, []);
    await close();
  });
}

const screenshots = async () => {
  for (const [name, options] of [
    ["light", { colorScheme: "light" }],
    ["dark", { colorScheme: "dark" }],
    ["phone", { viewport: { width: 390, height: 844 }, isMobile: true, hasTouch: true }],
  ]) {
    const { page, close } = await opened(options);
    await page.screenshot({ path: join(pictures, `report-${name}-top.png`) });
    const picture = figure(page, "responses");
    const reader = picture.locator(".reader");
    await reader.scrollIntoViewIfNeeded();
    if (options.hasTouch) await reader.tap({ position: { x: 150, y: 60 } });
    else await reader.hover({ position: { x: 500, y: 60 } });
    await page.screenshot({ path: join(pictures, `report-${name}-values.png`) });
    await close();
  }
  const { page, close } = await opened({ viewport: { width: 794, height: 1123 } });
  await page.pdf({ path: join(pictures, "report-print.pdf"), format: "A4" });
  await page.emulateMedia({ media: "print" });
  await figure(page, "frequency response").scrollIntoViewIfNeeded();
  await page.screenshot({ path: join(pictures, "report-print.png") });
  await close();
};
if (pictures) test("screenshots", screenshots);
