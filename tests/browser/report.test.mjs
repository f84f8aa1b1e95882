// The report's pages in a real browser: nothing loaded, nothing wrong to a screen reader, the trace under mouse, touch and keys, paper.
// Needs the report of the sample weekend (`runtrue review sample-logs/alder-quay`) and Debian's chromium.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdtempSync, readdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const report = process.env.RUNTRUE_REPORT ?? join(here, "../../sample-logs/alder-quay/report");
const pages = readdirSync(report).filter((f) => f.endsWith(".html"));
const run = pages.find((f) => f.includes("t4"));
const program = process.env.RUNTRUE ?? join(here, "../../target/release/runtrue");
const season = mkdtempSync(join(tmpdir(), "season-"));
execFileSync(program, ["-q", "demo", join(season, "weekends"), "--season", "5"]);
execFileSync(program, ["-q", "season", join(season, "weekends"), "--out", season]);
const seasonPage = join(season, "index.html");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
let browser;

before(async () => {
  browser = await chromium.launch({
    executablePath: "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
});
after(() => browser.close());

/** Opens a page of the report; fails on any request but for the file itself, and on any message of the console. */
async function open(file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const wrong = [];
  page.on("request", (r) => { if (r.url() !== pathToFileURL(resolve(report, file)).href) wrong.push(`asked for ${r.url()}`); });
  page.on("console", (m) => { if (["error", "warning"].includes(m.type())) wrong.push(m.text()); });
  page.on("pageerror", (e) => wrong.push(String(e)));
  await page.goto(pathToFileURL(resolve(report, file)).href);
  if (options.javaScriptEnabled !== false) await page.waitForFunction(() => !document.getElementById("trace")?.hidden);
  return { page, wrong, close: () => context.close() };
}

/** Waits until what was asked for is drawn: a chart draws in the next frame. */
const drawn = (page) => page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

/** The span of the time axis that the trace shows, by the cursor at its two ends. */
async function span(page) {
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  const at = async (x) => {
    await page.mouse.move(x, box.y + box.height / 2);
    await drawn(page);
    const text = await page.locator("#trace-charts .u-legend .u-value").first().textContent();
    return parseFloat(text);
  };
  return [await at(box.x + 2), await at(box.x + box.width - 2)];
}

for (const file of [...pages, seasonPage]) {
  test(`${file}: loads nothing, says nothing, fits a phone`, async () => {
    for (const width of [1280, 390, 360]) {
      const { page, wrong, close } = await open(file, { viewport: { width, height: 800 } });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(over <= 0, `${width} px: ${over} px too wide`);
      assert.deepEqual(wrong, []);
      await close();
    }
  });
}

for (const colorScheme of ["light", "dark"]) {
  test(`axe finds nothing, ${colorScheme}`, async () => {
    for (const [file, width] of [["index.html", 1280], ["index.html", 360], [run, 1280], [run, 360], [seasonPage, 1280], [seasonPage, 360]]) {
      // The page's policy lets no other script in: the checker comes by the debugger.
      const { page, close } = await open(file, { colorScheme, bypassCSP: true, viewport: { width, height: 800 } });
      await page.evaluate(axe);
      const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
      assert.deepEqual(found.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target).join(" ")}`), [], file);
      await close();
    }
  });
}

test("the trace follows the cursor on all its charts", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-charts canvas").first().scrollIntoViewIfNeeded();
  const charts = page.locator("#trace-charts .uplot");
  assert.ok((await charts.count()) >= 4);
  const box = await charts.first().locator(".u-over").boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + 20);
  await drawn(page);
  const values = await page.locator("#trace-charts .u-legend .u-value").allTextContents();
  assert.ok(values.every((v) => v !== "–" && v !== "--"), values.join(", "));
  assert.deepEqual(wrong, []);
  await close();
});

test("the page is painted before its trace is made", async () => {
  const { page, close } = await open(run);
  await page.addInitScript(() => {
    new MutationObserver((_, watch) => {
      const trace = document.getElementById("trace");
      if (trace && !trace.hidden) { globalThis.traced = performance.now(); watch.disconnect(); }
    }).observe(document, { subtree: true, childList: true, attributes: true, attributeFilter: ["hidden"] });
  });
  await page.reload();
  await page.waitForFunction(() => globalThis.traced && performance.getEntriesByName("first-contentful-paint").length);
  const [painted, traced] = await page.evaluate(() => [performance.getEntriesByName("first-contentful-paint")[0].startTime, globalThis.traced]);
  assert.ok(painted <= traced, `painted at ${painted} ms, traced at ${traced} ms`);
  await close();
});

test("another run's best lap is laid over a lap", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-lap").selectOption({ index: 2 });
  const others = await page.locator("#trace-over option").allTextContents();
  const other = others.find((o) => o.startsWith("run t3, lap"));
  assert.ok(other && others.every((o) => !o.includes("run p")), others.join(", "));
  await page.locator("#trace-over").selectOption({ label: other });
  await page.locator("#trace-charts canvas").first().scrollIntoViewIfNeeded();
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + 40);
  const values = await page.locator("#trace-charts .uplot").first().locator(".u-value").allTextContents();
  assert.equal(values.length, 3);
  assert.ok(values.slice(1).every((v) => parseFloat(v) > 5000), values.join(", "));
  // Back to the whole run the other lap goes, and the charts stay.
  await page.locator("#trace-lap").selectOption({ index: 0 });
  await drawn(page);
  assert.ok((await page.locator("#trace-charts .uplot canvas").count()) >= 4);
  const whole = await page.locator("#trace-charts .uplot").first().locator(".u-series").count();
  assert.equal(whole, 2);
  assert.deepEqual(wrong, []);
  await close();
});

test("the trace zooms by drag, wheel, keys, and back", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-charts").scrollIntoViewIfNeeded();
  const whole = await span(page);
  assert.ok(whole[1] - whole[0] > 250, String(whole));
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  await page.mouse.move(box.x + box.width * 0.25, box.y + 30);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.5, box.y + 30, { steps: 5 });
  await page.mouse.up();
  const dragged = await span(page);
  const quarter = (whole[1] - whole[0]) / 4;
  assert.ok(Math.abs(dragged[1] - dragged[0] - quarter) < 0.05 * quarter, String(dragged));
  await page.locator("#trace-charts").focus();
  await page.mouse.move(box.x + box.width / 2, box.y + 30);
  await page.mouse.wheel(0, -300);
  const wheeled = await span(page);
  assert.ok(wheeled[1] - wheeled[0] < 0.8 * (dragged[1] - dragged[0]), String(wheeled));
  await page.keyboard.press("ArrowRight");
  const moved = await span(page);
  assert.ok(moved[0] > wheeled[0], String(moved));
  await page.keyboard.press("-");
  assert.ok((await span(page))[1] - (await span(page))[0] > wheeled[1] - wheeled[0]);
  await page.keyboard.press("0");
  const back = await span(page);
  assert.ok(Math.abs(back[0] - whole[0]) < 1 && Math.abs(back[1] - whole[1]) < 1, String(back));
  assert.deepEqual(wrong, []);
  await close();
});

test("a lap is shown over its share, with another laid over it, by keyboard alone", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-lap").focus();
  await page.keyboard.press("ArrowDown");
  await page.waitForFunction(() => !document.getElementById("trace-over").disabled);
  await page.keyboard.press("Tab");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("ArrowDown");
  const labels = await page.locator("#trace-charts .uplot").first().locator(".u-label").allTextContents();
  assert.ok(labels.some((l) => l.includes("lap 1")) && labels.some((l) => l.includes("lap 2")), labels.join(", "));
  const shown = await span(page);
  assert.ok(shown[0] < 2 && shown[1] > 98, String(shown));
  assert.deepEqual(wrong, []);
  await close();
});

test("two fingers zoom on a phone", async () => {
  const { page, wrong, close } = await open(run, { viewport: { width: 390, height: 800 }, hasTouch: true, isMobile: true });
  await page.locator("#trace-charts").scrollIntoViewIfNeeded();
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  const client = await page.context().newCDPSession(page);
  const touch = (type, apart) => client.send("Input.dispatchTouchEvent", {
    type,
    touchPoints: type === "touchEnd" ? [] : [-1, 1].map((side) => ({ x: box.x + box.width / 2 + side * apart, y: box.y + 40 })),
  });
  const before = await page.locator("#trace-charts canvas").first().screenshot();
  await touch("touchStart", 30);
  for (const apart of [45, 60, 80, 100]) await touch("touchMove", apart);
  await touch("touchEnd", 0);
  await page.waitForTimeout(200);
  const later = await page.locator("#trace-charts canvas").first().screenshot();
  assert.ok(!before.equals(later), "the chart did not change");
  assert.deepEqual(wrong, []);
  await close();
});

test("the pages print, and read without script", async () => {
  const { page, close } = await open(run, { javaScriptEnabled: false });
  assert.ok(await page.locator("h1").isVisible());
  assert.ok(!(await page.locator("#trace").isVisible()));
  const pdf = await page.pdf({ format: "A4" });
  assert.ok(pdf.subarray(0, 5).toString() === "%PDF-" && pdf.length > 20_000);
  await close();
});
