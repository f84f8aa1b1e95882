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
    const text = await page.locator("#trace-values data").first().textContent();
    return parseFloat(text);
  };
  return [await at(box.x + 2), await at(box.x + box.width - 2)];
}

/** The values of the cursor's row under a name. */
const outputs = (page, name) => page.locator("#trace-values div").filter({ has: page.locator("b", { hasText: new RegExp(`^${name}$`) }) }).locator("data").allTextContents();

/** Moves the mouse to a share of the trace's width, and waits for the cursor's row. */
async function pointAt(page, share) {
  await page.locator("#trace-charts .u-over").first().scrollIntoViewIfNeeded();
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  await page.mouse.move(box.x + 1 + (box.width - 2) * share, box.y + box.height / 2);
  await drawn(page);
}

const review = JSON.parse(readFileSync(join(report, "review.json"), "utf8"));

/** The first heads of the tables of which something lies right of the fold, every fold of the page opened. */
const headsOfCutTables = (page) => page.evaluate(() => {
  for (const fold of document.querySelectorAll("details")) fold.open = true;
  return [...document.querySelectorAll(".scroll")].filter((box) => box.scrollWidth > box.clientWidth).map((box) => box.innerText.slice(0, 60));
});

for (const file of [...pages, seasonPage]) {
  test(`${file}: loads nothing, says nothing, fits a phone`, async () => {
    for (const width of [1280, 390, 360]) {
      const { page, wrong, close } = await open(file, { viewport: { width, height: 800 } });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(over <= 0, `${width} px: ${over} px too wide`);
      if (width !== 360) assert.deepEqual(await headsOfCutTables(page), []);
      assert.deepEqual(wrong, []);
      await close();
    }
  });
}

test("on a phone each run of the weekend is a card that lies within the page, its lap times in it", async () => {
  const { page, close } = await open("index.html", { viewport: { width: 390, height: 844 } });
  const cards = page.locator(".runs tbody tr");
  assert.equal(await cards.count(), review.runs.length);
  for (const card of await cards.all()) {
    const outside = await card.evaluate((row) => [...row.cells].filter((c) => { const box = c.getBoundingClientRect(); return box.left < 0 || box.right > innerWidth || box.width === 0; }).length);
    assert.equal(outside, 0);
  }
  const first = await cards.first().innerText();
  assert.match(first, /ratio on track[^]*median lap, s[^]*best lap, s[^]*wheelspin, s/);
  await close();
});

test("a season's weekends lead to their pages", async () => {
  const { page, close } = await open(seasonPage);
  const links = page.locator("a[href$='report/index.html']");
  // Weekends that were never reviewed have no page to lead to.
  assert.equal(await links.count(), 0);
  await close();
  const first = readdirSync(join(season, "weekends"))[0];
  execFileSync(program, ["-q", "review", join(season, "weekends", first)]);
  execFileSync(program, ["-q", "season", join(season, "weekends"), "--out", season]);
  const again = await open(seasonPage);
  const link = again.page.locator("a[href$='report/index.html']");
  assert.equal(await link.count(), 1);
  await link.click();
  await again.page.waitForFunction(() => document.querySelector("nav")?.textContent === "weekend");
  await again.close();
});

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
  const values = await page.locator("#trace-values data").allTextContents();
  assert.ok(values.length >= 7 && values.every((v) => v !== "–"), values.join(", "));
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
  await drawn(page);
  assert.deepEqual((await outputs(page, "revs")).length, 2);
  assert.ok((await outputs(page, "revs")).every((v) => parseFloat(v) > 5000), String(await outputs(page, "revs")));
  // Back to the whole run the other lap goes, and the charts stay.
  await page.locator("#trace-lap").selectOption({ index: 0 });
  await drawn(page);
  assert.ok((await page.locator("#trace-charts .uplot canvas").count()) >= 4);
  assert.equal((await outputs(page, "revs")).length, 1);
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
  assert.equal(await page.locator("#trace-what").textContent(), "lap 1 with lap 2");
  const shown = await span(page);
  assert.ok(shown[0] < 2 && shown[1] > 98, String(shown));
  assert.deepEqual(wrong, []);
  await close();
});

test("time lost is the review’s own, ends at the difference of the lap times, and is hidden in its interval", async () => {
  const { page, wrong, close } = await open(run);
  const { worst_lap: worst, places } = review.runs.find((r) => r.id === "t4").time_lost;
  await page.locator("#trace-lap").selectOption(`lap-${worst.lap}`);
  await page.locator("#trace-over").selectOption(`lap-${worst.on}`);
  const times = await page.locator("#trace-lap option").allTextContents();
  const seconds = (lap) => parseFloat(times.find((t) => t.startsWith(`lap ${lap},`)).split(", ")[1]);
  for (const share of [0.25, 0.5, 0.75, 0.9, 1]) {
    await pointAt(page, share);
    const [value, band] = await outputs(page, "time lost");
    const place = parseFloat((await outputs(page, "round the lap"))[0]) / 100;
    const n = Math.min(places.findLastIndex((p) => p <= place + 1e-9), places.length - 2);
    const at = (of) => of[n] + (of[n + 1] - of[n]) * (place - places[n]) / (places[n + 1] - places[n]);
    assert.ok(Math.abs(parseFloat(band.slice(2)) - at(worst.band_s)) < 0.04, `${share}: ${band}, ${at(worst.band_s)}`);
    if (value.startsWith("about 0")) assert.ok(Math.abs(at(worst.seconds)) < at(worst.band_s) + 0.04, value);
    else assert.ok(Math.abs(parseFloat(value.replace("−", "-")) - at(worst.seconds)) < 0.04, `${share}: ${value}, ${at(worst.seconds)}`);
  }
  const [end] = await outputs(page, "time lost");
  assert.ok(Math.abs(parseFloat(end) - (seconds(worst.lap) - seconds(worst.on))) < 0.011, end);
  assert.deepEqual(wrong, []);
  await close();
});

test("the median lap and other runs’ laps are compared by the place; a lap that was set aside says why not", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-lap").selectOption({ index: 3 });
  for (const over of ["median", "run-0", "run-1"]) {
    await page.locator("#trace-over").selectOption(over);
    await pointAt(page, 0.5);
    assert.equal((await outputs(page, "time lost")).length, 2, over);
    assert.match(await page.locator("#trace-most").textContent(), /lost most on|more than its doubt/);
  }
  const aside = JSON.parse(await page.locator("#trace-data").textContent()).laps.find((l) => l.aside);
  if (aside) {
    await page.locator("#trace-lap").selectOption(`lap-${aside.lap}`);
    assert.match(await page.locator("#trace-most").textContent(), /was set aside/);
  }
  assert.deepEqual(wrong, []);
  await close();
});

test("links lead into the trace: from findings, from the weekend, to where a lap lost most", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator(".to-trace a").first().click();
  await page.waitForFunction(() => document.getElementById("trace-lap").value && document.getElementById("trace-over").value);
  assert.ok(await page.locator("#trace-now").isVisible());
  const whole = await span(page);
  assert.ok(whole[0] < 2 && whole[1] > 98, String(whole));
  const data = JSON.parse(await page.locator("#trace-data").textContent());
  const [lap, on] = Object.entries(data.lost_most)[0];
  await page.locator("#trace-lap").selectOption(`lap-${lap}`);
  await page.locator("#trace-over").selectOption(Object.keys(on)[0]);
  const place = page.locator("#trace-most a").first();
  const [from, to] = (await place.textContent()).match(/\d+/g).map(Number);
  await place.click();
  await drawn(page);
  const zoomed = await span(page);
  assert.ok(Math.abs(zoomed[0] - from) < 1 && Math.abs(zoomed[1] - to) < 1, String(zoomed));
  assert.deepEqual(wrong, []);
  await close();
  const weekend = await open("index.html");
  const leads = await weekend.page.locator(".findings a").evaluateAll((all) => all.map((a) => a.getAttribute("href")));
  const far = leads.find((l) => l.includes("#trace="));
  assert.ok(far, leads.join(" "));
  await weekend.close();
  const [file, hash] = far.split("#");
  const at = await browser.newPage({ viewport: { width: 390, height: 800 } });
  await at.goto(`${pathToFileURL(resolve(report, file)).href}#${hash}`);
  await at.waitForFunction(() => document.getElementById("trace-lap")?.value);
  await drawn(at);
  assert.ok(await at.locator("#trace-charts").evaluate((e) => e.getBoundingClientRect().top < innerHeight));
  await at.close();
});

test("a band of wheelspin and a dotted line can be clicked, and keys go from spin to spin", async () => {
  const { page, wrong, close } = await open(run);
  await page.locator("#trace-charts").scrollIntoViewIfNeeded();
  const spin = JSON.parse(await page.locator("#trace-data").textContent()).spins[3];
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  const [low, high] = await span(page);
  await page.mouse.click(box.x + box.width * ((spin[0] + spin[1]) / 2 - low) / (high - low), box.y + 50);
  await drawn(page);
  await drawn(page);
  const words = await page.locator("#trace-what").textContent();
  assert.match(words, /^wheels spun \d\.\d\d s, lap \d+, \d+ % round$/);
  const near = await span(page);
  assert.ok(near[0] < spin[0] && near[1] > spin[1] && near[1] - near[0] < 10, String(near));
  await page.locator("#trace-charts").focus();
  await page.keyboard.press("n");
  await drawn(page);
  await drawn(page);
  const next = await page.locator("#trace-what").textContent();
  assert.match(next, /^wheels spun/);
  assert.notEqual(next, words);
  await page.keyboard.press("0");
  const start = JSON.parse(await page.locator("#trace-data").textContent()).laps[4].start;
  await page.mouse.click(box.x + box.width * (start - low) / (high - low), box.y + 50);
  await drawn(page);
  assert.match(await page.locator("#trace-lap").inputValue(), /^lap-[45]$/);
  assert.deepEqual(wrong, []);
  await close();
});

test("nothing moves under the finger, and one finger moves the cursor", async () => {
  const { page, wrong, close } = await open(run, { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
  await page.locator("#trace-lap").selectOption({ index: 2 });
  await page.locator("#trace-over").selectOption({ index: 5 });
  await page.locator("#trace-tools").scrollIntoViewIfNeeded();
  const box = await page.locator("#trace-charts .u-over").first().boundingBox();
  const client = await page.context().newCDPSession(page);
  const touch = (type, x) => client.send("Input.dispatchTouchEvent", { type, touchPoints: type === "touchEnd" ? [] : [{ x, y: box.y + 40 }] });
  const layout = () => page.locator("#trace-now, #trace-values div, #trace-charts .uplot").evaluateAll((all) => all.map((e) => { const r = e.getBoundingClientRect(); return [r.x, r.y + scrollY, r.width, r.height].map(Math.round).join(); }).join(" "));
  const before = await layout();
  await touch("touchStart", box.x + 20);
  const seen = new Set();
  for (const part of [0.2, 0.4, 0.6, 0.8]) {
    await touch("touchMove", box.x + box.width * part);
    await drawn(page);
    seen.add((await outputs(page, "round the lap"))[0]);
    assert.equal(await layout(), before);
  }
  await touch("touchEnd");
  assert.equal(seen.size, 4, [...seen].join(", "));
  assert.deepEqual(wrong, []);
  await close();
});

test("a chart and the trace are saved as pictures, without a request", async () => {
  const { page, wrong, close } = await open(run);
  for (const button of [page.locator("figure .picture").first(), page.locator("#trace-picture")]) {
    const saved = page.waitForEvent("download");
    await button.click();
    const download = await saved;
    assert.match(download.suggestedFilename(), /^run-t4-.*\.png$/);
    const picture = readFileSync(await download.path());
    assert.equal(picture.subarray(1, 4).toString(), "PNG");
    const [width, height] = [picture.readUInt32BE(16), picture.readUInt32BE(20)];
    assert.ok(picture.length > 10_000 && width > 600 && height > 300, `${width} × ${height}, ${picture.length} bytes`);
  }
  assert.deepEqual(wrong.filter((w) => !/^asked for (data|blob):/.test(w)), []);
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

test("a button shows the other units everywhere, and is remembered; without script the page is in the sheet's", async () => {
  const { page, wrong, close } = await open(run);
  const text = () => page.evaluate(() => document.querySelector("main").innerText);
  const unit = () => page.locator("#trace-values").innerText();
  assert.match(await text(), /\d °C/);
  assert.doesNotMatch(await text(), /°F|mph/);
  const peak = await page.locator("#heat .figure").innerText();
  await page.click("#units");
  await drawn(page);
  const us = await text();
  assert.match(us, /\d °F/);
  assert.match(us, /mph/);
  // What stands on the sheet and in the log stays as it is written there.
  const setup = await page.evaluate(() => [...document.querySelectorAll("section")].find((s) => s.querySelector("h2")?.textContent === "Setup")?.innerText ?? "");
  assert.doesNotMatch(us.split("How the log was read")[0].replace(setup, "").replace(/.*→.*/g, ""), /°C|km\/h|m\/s\b|\d mm\b/);
  const degrees = (words) => Number(/(-?\d+) °/.exec(words)[1]);
  const inF = degrees(await page.locator("#heat .figure").innerText());
  assert.ok(Math.abs(inF - (1.8 * degrees(peak) + 32)) <= 1.5, `${peak}, then ${inF} °F`);
  // The chart's axis and the trace's cursor follow.
  assert.match(await page.locator("#heat svg:visible").first().innerHTML(), /°F/);
  await page.locator("#trace-charts .u-over").last().scrollIntoViewIfNeeded();
  const box = await page.locator("#trace-charts .u-over").last().boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await drawn(page);
  assert.match(await unit(), /°F/);
  // Remembered: on this page made anew, and on the weekend's.
  await page.reload();
  assert.match(await text(), /°F/);
  await page.click("#units");
  assert.equal(await page.locator("#heat .figure").innerText(), peak);
  assert.doesNotMatch(await text(), /°F|mph/);
  assert.deepEqual(wrong.filter((w) => !w.startsWith("asked for")), []);
  await close();
  const plain = await open(run, { javaScriptEnabled: false });
  assert.equal(await plain.page.locator("#units").isVisible(), false);
  assert.match(await plain.page.locator("#heat .figure").innerText(), /°C/);
  await plain.close();
});
