// The local page in a real browser, and the same server over the wire: from nothing to answers, logs of different manners, the sheet, a folder
// that changes, hostile names; who may ask and what may be sent. Needs the built program and Debian's chromium.
import assert from "node:assert/strict";
import { spawn, spawnSync } from "node:child_process";
import { appendFileSync, cpSync, existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import http from "node:http";
import { createRequire } from "node:module";
import net from "node:net";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const program = process.env.RUNTRUE ?? join(here, "../../target/release/runtrue");
const sample = join(here, "../../sample-logs/alder-quay");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const left = [];
let browser;

before(async () => {
  browser = await chromium.launch({
    executablePath: "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
});
after(async () => {
  await browser.close();
  for (const undo of left) undo();
});

const folder = () => {
  const made = mkdtempSync(join(tmpdir(), "runtrue-"));
  left.push(() => rmSync(made, { recursive: true, force: true }));
  return made;
};

/** A folder with the sample weekend in it. */
const weekend = () => {
  const made = folder();
  for (const part of ["logs", "laps", "weekend.toml"]) cpSync(join(sample, part), join(made, part), { recursive: true });
  return made;
};

/** Serves a folder; gives the address with its token, which is good once. What is behind it is known once it is used. */
const serve = (of, ...options) => new Promise((done, fail) => {
  const child = spawn(program, ["serve", of, "--no-open", ...options]);
  left.push(() => child.kill());
  let said = "";
  child.stdout.on("data", (text) => {
    said += text;
    const url = /http:\S+/.exec(said);
    if (url && said.includes("Ctrl-C")) done({ url: url[0], port: new URL(url[0]).port, said, child });
  });
  child.stderr.on("data", (text) => { said += text; });
  child.on("exit", () => fail(new Error(said)));
});

/** Opens the local page; nothing may be asked of another address, and the console stays silent. */
async function open(server, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const wrong = [];
  page.on("request", (r) => { if (!r.url().startsWith(new URL("/", server.url).href)) wrong.push(`asked for ${r.url()}`); });
  page.on("console", (m) => { if (["error", "warning"].includes(m.type())) wrong.push(m.text()); });
  page.on("pageerror", (e) => wrong.push(String(e)));
  page.on("dialog", (d) => { wrong.push(`dialog: ${d.message()}`); d.dismiss(); });
  if (server.cookies) {
    await context.addCookies(server.cookies);
    await page.goto(server.base);
  } else {
    await page.goto(server.url);
    await page.waitForURL(/\/[0-9a-f]{64}\/$/);
    server.base = page.url();
    server.cookies = await context.cookies(server.base);
  }
  return { page, wrong, close: () => context.close() };
}

/** Waits until something outside the page holds. */
const until = async (holds) => {
  for (let n = 0; n < 100 && !holds(); n++) await new Promise((go) => setTimeout(go, 100));
  assert.ok(holds(), String(holds));
};

/** Presses a button and waits for the page that follows. */
const follow = async (page, button) => {
  await page.evaluate(() => { globalThis.before = true; });
  await button.click();
  await page.waitForFunction(() => !globalThis.before && document.readyState === "complete");
};

/** Waits for the weekend's page, whatever it says of the form before. */
const atWeekend = (page, server) => page.waitForURL((url) => url.pathname === new URL(server.base).pathname);

const choose = (page, ...files) => page.locator("#choose").setInputFiles(files);
const rows = (page) => page.locator("main table").first().locator("tbody tr");
const row = (page, run) => rows(page).filter({ has: page.getByRole("link", { name: run, exact: true }) });
const logOf = (run) => join(sample, "logs", `${run}.csv`);

test("from nothing: start, drop a log, read its answers; three lines more and the gearing is answered", async () => {
  const made = join(folder(), "new");
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  assert.match(await page.locator("h1").textContent(), /No logs here yet/);
  await choose(page, logOf("t4"));
  await page.locator("main table a", { hasText: "t4" }).click();
  assert.match(await page.locator(".answer", { hasText: "How hot" }).first().textContent(), /\(\d+ to \d+\)/);
  assert.deepEqual(readdirSync(join(made, "logs")), ["t4.csv"]);
  // Asked for just what this log could use: it has no ground speed, but revs, volts, amperes and temperatures.
  await page.goto(server.base);
  const fill = (label, value) => page.locator(".asked").getByLabel(label).fill(value);
  for (const [label, value] of [["lap length", "214"], ["spur", "116"], ["pinion", "31"], ["internal ratio", "1,85"], ["tyre diameter", "63"]]) await fill(label, value);
  await page.getByRole("button", { name: "Save and review" }).click();
  await atWeekend(page, server);
  assert.match(await rows(page).first().textContent(), /7\.\d\d\s*●\s*as on the sheet/);
  const sheet = readFileSync(join(made, "weekend.toml"), "utf8");
  assert.match(sheet, /^internal_ratio = 1\.85 +# the final drive ratio; write 1 for direct drive$/m);
  assert.match(sheet, /^# mass_kg = 1\.35 +# kg: /m);
  assert.deepEqual(wrong, []);
  await close();
});

test("five logs of different manners and a lap list at once, each with its fate; a picture is refused", async () => {
  const made = folder();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const picture = join(made, "not-a-log.csv");
  writeFileSync(picture, Buffer.from([0x89, 0x50, 0x4e, 0x47, 13, 10, 26, 10, 0, 0, 0, 13]));
  const mine = join(folder(), "t1.csv");
  cpSync(join(sample, "laps/t1.csv"), mine);
  await choose(page, ...["t1", "t2", "t4", "p1", "p3"].map(logOf), picture);
  await page.waitForFunction(() => document.querySelectorAll("[data-fate]").length === 6);
  assert.equal(await page.locator("[data-fate=saved]").count(), 5);
  const refused = await page.locator("[data-fate=refused]").textContent();
  assert.match(refused, /not a log but an image/);
  assert.match(refused, /hint:/);
  await page.getByRole("link", { name: "See the review" }).click();
  assert.equal(await rows(page).count(), 6 - 1 + 1, "the picture lies in the folder itself, as a run with its error");
  rmSync(picture);
  await page.waitForFunction(() => document.querySelectorAll("main table tbody tr").length === 5);
  await choose(page, mine);
  await until(() => existsSync(join(made, "laps/t1.csv")));
  // Which run the list was laid on stays to be read.
  await page.waitForFunction(() => document.querySelectorAll("[data-fate=saved]").length === 1);
  assert.match(await page.locator("#arrivals").textContent(), /lap list with \d+ laps.*laid on run t1/s);
  // The same log once more is kept once; another of its name gets one of its own.
  const other = join(folder(), "t2.csv");
  cpSync(logOf("t3"), other);
  await page.goto(server.base);
  await choose(page, logOf("t2"), other);
  await page.waitForFunction(() => document.querySelectorAll("[data-fate]").length === 2);
  assert.match(await page.locator("#arrivals").textContent(), /already here as logs\/t2\.csv.*nothing was added.*saved as logs\/t2-2\.csv.*a different t2\.csv is already here/s);
  assert.deepEqual(readFileSync(join(made, "logs/t2.csv")), readFileSync(logOf("t2")));
  assert.deepEqual(wrong.filter((w) => !w.includes("422")), []);
  await close();
});

test("files dropped anywhere on the page are taken", async () => {
  const server = await serve(folder());
  const { page, wrong, close } = await open(server);
  const text = readFileSync(logOf("t4"), "latin1");
  const carried = await page.evaluateHandle((log) => {
    const all = new DataTransfer();
    all.items.add(new File([Uint8Array.from(log, (c) => c.charCodeAt(0))], "t4.csv"));
    return all;
  }, text);
  await page.dispatchEvent("h1", "dragover", { dataTransfer: carried });
  assert.ok(await page.locator("#drop.over").isVisible());
  await page.dispatchEvent("h1", "drop", { dataTransfer: carried });
  await page.locator("main table a", { hasText: "t4" }).waitFor();
  assert.deepEqual(wrong, []);
  await close();
});

test("the sheet as a form: the verdict turns, comments stay, the version before can be put back", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const before = readFileSync(join(made, "weekend.toml"), "utf8");
  const t3 = row(page, "t3");
  assert.match(await t3.textContent(), /▲\s*not as on the sheet/);
  await page.getByRole("link", { name: "Setup sheet" }).click();
  await page.locator("summary", { hasText: "t3 · tourer" }).click();
  const run = page.locator("#run-3");
  await run.getByLabel("another setting").fill("pinion");
  await run.getByLabel("value in this run").fill("32");
  await page.getByRole("button", { name: "Save and review" }).click();
  await atWeekend(page, server);
  assert.match(await t3.textContent(), /●\s*as on the sheet/);
  assert.equal(readFileSync(join(made, "weekend.toml"), "utf8"), before.replace(/(log = "logs\/t3.csv"[^[]*?)\n\n/, "$1\npinion = 32\n\n"));
  // What the reader would refuse is not written, and what was typed stays.
  await page.goto(`${server.base}sheet`);
  await page.locator("input[name='/cars/tourer/pinion']").fill("310");
  await page.getByRole("button", { name: "Save and stay here" }).click();
  assert.match(await page.getByRole("alert").first().textContent(), /pinion is 310, which is not possible/);
  assert.match(await page.locator("[id='why/cars/tourer/pinion']").textContent(), /Make it 31 teeth/);
  assert.equal(await page.locator("input[name='/cars/tourer/pinion']").inputValue(), "310");
  await page.locator("input[name='/cars/tourer/pinion']").fill("31");
  await page.getByRole("button", { name: "Save and stay here" }).click();
  await page.getByText("Saved. The review is up to date").waitFor();
  await page.getByRole("button", { name: "Restore" }).first().click();
  await until(() => readFileSync(join(made, "weekend.toml"), "utf8") === before);
  assert.deepEqual(wrong.filter((w) => !w.includes("409")), []);
  await close();
});

test("two change the sheet at once: both are kept, unless they change one thing", async () => {
  const made = weekend();
  const sheet = () => readFileSync(join(made, "weekend.toml"), "utf8");
  const server = await serve(made);
  const one = await open(server), two = await open(server);
  for (const { page } of [one, two]) await page.goto(`${server.base}sheet`);
  const save = async ({ page }, name, value) => {
    await page.locator(`input[name='${name}']`).fill(value);
    await page.getByRole("button", { name: "Save and stay here" }).click();
  };
  await save(one, "/cars/pan/mass_kg", "0.9");
  await one.page.getByText("Saved. The review is up to date").waitFor();
  appendFileSync(join(made, "weekend.toml"), "# theirs\n");
  await two.page.getByText("The folder has changed").waitFor();
  await save(two, "/weekend/name", "Mine");
  await two.page.getByText("Saved. The review is up to date").waitFor();
  assert.ok(sheet().includes("mass_kg = 0.9") && sheet().includes('name = "Mine"') && sheet().endsWith("# theirs\n"));
  // The first page still shows the old name: what it changes there would undo the other.
  await save(one, "/weekend/name", "Yours");
  assert.match(await one.page.getByRole("alert").first().textContent(), /changed somewhere else/);
  assert.deepEqual(await one.page.locator("main details[open] li").allTextContents(), ["Weekend: name: Yours"]);
  assert.ok(sheet().includes('name = "Mine"'));
  assert.deepEqual([...one.wrong, ...two.wrong].filter((w) => !w.includes("409")), []);
  await one.close();
  await two.close();
});

test("a refused form keeps what was typed, marked, and nothing says that the folder has changed", async () => {
  const server = await serve(weekend());
  const { page, close } = await open(server);
  await page.goto(`${server.base}sheet`);
  await page.locator("input[name='/cars/pan/mass_kg']").fill("999");
  await page.locator("input[name='/cars/tourer#key']").fill("pinion");
  await page.locator("input[name='/cars/tourer#value']").fill("29");
  await page.locator("input[name='+car']").fill("tourer");
  await page.getByRole("button", { name: "Save and review" }).click();
  assert.match(await page.getByRole("alert").textContent(), /2 values are wrong; nothing was saved/);
  const alerts = await page.locator("#wrong").textContent();
  for (const said of [/already has its own field/, /already a car called tourer/]) assert.match(alerts, said);
  await page.locator("input[name='/cars/tourer#key']").fill("");
  await page.locator("input[name='/cars/tourer#value']").fill("");
  await page.locator("input[name='+car']").fill("");
  await page.getByRole("button", { name: "Save and review" }).click();
  assert.match(await page.getByRole("alert").first().textContent(), /pan: mass: mass_kg is 999/);
  assert.equal(await page.locator("[aria-invalid=true]").inputValue(), "999");
  await page.waitForTimeout(800);
  assert.equal(await page.locator("#news").textContent(), "");
  await close();
});

test("a server that stops loses nothing that is typed", async () => {
  const server = await serve(weekend());
  const { page, close } = await open(server);
  await page.goto(`${server.base}sheet`);
  await page.locator("input[name='/weekend/name']").fill("Typed");
  server.child.removeAllListeners("exit");
  server.child.kill("SIGKILL");
  await page.getByText("runtrue has stopped").waitFor();
  await page.getByRole("button", { name: "Save and review" }).click();
  assert.match(await page.locator("#news").textContent(), /still here/);
  assert.equal(await page.locator("input[name='/weekend/name']").inputValue(), "Typed");
  await close();
});

test("a sheet that is not TOML is shown with its line, and mended as text", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, close } = await open(server);
  const before = readFileSync(join(made, "weekend.toml"), "utf8");
  writeFileSync(join(made, "weekend.toml"), before.replace("spur = 116", "spur = = 116"));
  await page.locator("h1", { hasText: "cannot be reviewed" }).waitFor();
  assert.match(await page.getByRole("alert").textContent(), /line \d+ of the setup sheet cannot be read: .*spur = = 116/s);
  await page.getByRole("link", { name: "Open the setup sheet" }).click();
  assert.match(await page.locator("pre.wrong").textContent(), /^spur = = 116/);
  await page.getByRole("link", { name: /^Line \d+$/ }).click();
  const selected = await page.locator("#text").evaluate((text) => text.value.slice(text.selectionStart, text.selectionEnd));
  assert.match(selected, /^spur = = 116/);
  await page.locator("#text").fill(before);
  await page.getByRole("button", { name: "Save and review" }).click();
  await atWeekend(page, server);
  assert.equal(await rows(page).count(), 10);
  assert.equal(readFileSync(join(made, "weekend.toml"), "utf8"), before);
  await close();
});

test("a log that grows is read again, alone, and the page follows by itself", async () => {
  const made = weekend();
  const whole = readFileSync(logOf("t6"));
  writeFileSync(join(made, "logs/t6.csv"), whole.subarray(0, whole.length >> 1));
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const laps = async (run) => (await row(page, run).innerText()).match(/(\d+) of \d+/)[1];
  await page.waitForFunction(() => document.querySelectorAll("main table tbody tr").length >= 10);
  const half = Number(await laps("t6"));
  assert.ok(half < 12, String(half));
  appendFileSync(join(made, "logs/t6.csv"), whole.subarray(whole.length >> 1));
  await page.waitForFunction((n) => Number(/(\d+) of/.exec([...document.querySelectorAll("main table tbody tr")].find((r) => r.textContent.includes("t6")).innerText)[1]) > n, half);
  assert.ok(Number(await laps("t6")) >= 17);
  // A page that the change does not touch stays as it is.
  await page.goto(`${server.base}run-07-p1.html`);
  await page.evaluate(() => { globalThis.untouched = true; });
  writeFileSync(join(made, "logs/t6.csv"), whole.subarray(0, whole.length >> 1));
  await page.waitForTimeout(1500);
  assert.ok(await page.evaluate(() => globalThis.untouched));
  assert.deepEqual(wrong, []);
  await close();
});

test("a log that is not on the sheet is added to it", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const extra = join(folder(), "t7.csv");
  writeFileSync(extra, Buffer.concat([readFileSync(logOf("t6")), Buffer.from("\n")]));
  await choose(page, extra);
  const form = page.locator("form", { hasText: "logs/t7.csv" });
  await form.locator('select[name="+run/car"]').selectOption("tourer");
  await form.getByLabel("air").fill("28");
  await form.getByRole("button", { name: "Add this run" }).click();
  await row(page, "t7").waitFor();
  assert.ok(readFileSync(join(made, "weekend.toml"), "utf8").endsWith('\n[[runs]]\nid = "t7"\ncar = "tourer"\nlog = "logs/t7.csv"\nambient_c = 28\n'));
  assert.deepEqual(wrong, []);
  await close();
});

test("several logs are added to the sheet at once; one without a car waits", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const extras = ["t7", "t8", "p5"].map((name, n) => {
    const extra = join(folder(), `${name}.csv`);
    writeFileSync(extra, Buffer.concat([readFileSync(logOf(["t6", "t5", "p4"][n])), Buffer.from("\n")]));
    return extra;
  });
  await choose(page, ...extras);
  await page.waitForFunction(() => document.querySelectorAll("form fieldset legend").length >= 3 || document.querySelector("#see:not([hidden])"));
  await page.goto(server.base);
  const of = (name) => page.locator("fieldset", { hasText: `logs/${name}.csv` });
  await of("t7").locator('select[name="+run/car"]').selectOption("tourer");
  await of("t7").getByLabel("pinion").fill("32");
  await of("p5").locator('select[name="+run/car"]').selectOption("pan");
  await page.getByRole("button", { name: "Add these runs" }).click();
  await row(page, "t7").waitFor();
  const sheet = readFileSync(join(made, "weekend.toml"), "utf8");
  assert.match(sheet, /id = "t7"\ncar = "tourer"\nlog = "logs\/t7.csv"\npinion = 32\n/);
  assert.match(sheet, /id = "p5"\ncar = "pan"/);
  assert.ok(!sheet.includes("t8.csv"), sheet);
  await of("t8").waitFor();
  assert.deepEqual(wrong, []);
  await close();
});

test("what was opened stays open when the page makes itself new", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const fold = page.locator("details", { hasText: "tourer: pinion" });
  await fold.locator("summary").click();
  await page.locator("main > details").first().locator("summary").click();
  await page.evaluate(() => { globalThis.old = true; });
  const log = join(made, "logs/t6.csv");
  writeFileSync(log, readFileSync(log).subarray(0, 60_000));
  await page.waitForFunction(() => !globalThis.old);
  await fold.waitFor();
  assert.ok(await fold.evaluate((d) => d.open), "the opened one is open");
  assert.ok(!(await page.locator("main > details").first().evaluate((d) => d.open)), "the shut one is shut");
  assert.deepEqual(wrong, []);
  await close();
});

test("a folder that is taken away and comes back is followed again", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, close } = await open(server);
  await rows(page).first().waitFor();
  const away = `${made}-away`;
  left.push(() => rmSync(away, { recursive: true, force: true }));
  renameSync(made, away);
  await page.getByText("No such file").waitFor();
  cpSync(away, made, { recursive: true });
  await page.waitForFunction(() => document.querySelectorAll("main table tbody tr").length >= 10);
  // And its changes are seen.
  await page.evaluate(() => { globalThis.old = true; });
  writeFileSync(join(made, "logs/t6.csv"), readFileSync(logOf("t6")).subarray(0, 60_000));
  await page.waitForFunction(() => !globalThis.old);
  await close();
});

test("a page that is open goes on when the server is started anew on its port, with what was typed", async () => {
  const made = weekend();
  const first = await serve(made);
  const { page, close } = await open(first);
  await rows(page).first().waitFor();
  await page.goto(`${first.base}sheet`);
  await page.locator("input[name='/cars/tourer/pinion']").fill("33");
  first.child.removeAllListeners("exit");
  first.child.kill();
  await page.getByText(`Start it again with --port ${first.port}`).waitFor();
  await serve(made, "--port", first.port);
  await page.getByText(`Start it again with --port ${first.port}`).waitFor({ state: "hidden" });
  await page.getByRole("button", { name: "Save and review" }).click();
  await atWeekend(page, first);
  assert.match(readFileSync(join(made, "weekend.toml"), "utf8"), /^pinion = 33$/m);
  await close();
});

test("other gears are tried as they are typed, and without script", async () => {
  const server = await serve(weekend());
  const { page, wrong, close } = await open(server);
  await page.goto(`${server.base}run-04-t4.html`);
  await page.getByLabel("spurs").fill("110,112");
  await page.getByLabel("pinions").fill("30-31");
  await page.waitForFunction(() => document.querySelectorAll("#tried tbody tr").length === 4);
  const cells = await page.locator("#tried tbody tr").first().locator("td").allTextContents();
  assert.equal(cells[2], (110 / 30 * 1.85).toFixed(3));
  // What comes later is in the units that the page shows.
  await page.click("#units");
  await page.getByLabel("pinions").fill("30-32");
  await page.waitForFunction(() => document.querySelectorAll("#tried tbody tr").length === 6);
  assert.match(await page.locator("#tried thead").textContent(), /rollout, in.*mph.*°F/);
  await page.getByLabel("pinions").fill("x");
  await page.locator("#tried [role=alert]").waitFor();
  await page.goto(`${server.base}run-04-t4.html?spur=112&pinion=29`);
  assert.equal(await page.locator("#tried tbody tr").count(), 1);
  assert.deepEqual(wrong, []);
  await close();
});

test("another race is worked out on a run’s page, with errors at their fields", async () => {
  const server = await serve(weekend());
  const { page, wrong, close } = await open(server, { javaScriptEnabled: false });
  await page.goto(`${server.base}run-04-t4.html`);
  const form = page.locator("#ahead form");
  assert.equal(await page.locator("#ahead table").count(), 0);
  await form.getByLabel("air, °C").fill("35,5");
  await form.getByLabel("race, s").fill("480");
  await form.getByLabel("pinion").fill("30");
  await form.getByRole("button").click();
  await page.locator("#ahead table").waitFor();
  const cells = await page.locator("#ahead tbody tr").allTextContents();
  assert.equal(cells.length, 7);
  assert.match(cells.join(" "), /motor at the end\s*\d+ °C \(\d+ to \d+\)/);
  assert.match(await page.locator("#ahead").textContent(), /A race of 480 s like run t4, in air of 35.5 °C, with a 30-tooth pinion.*This assumes/s);
  // The same that the command answers.
  const said = JSON.parse(spawnSync(program, ["ahead", sample, "--run", "t4", "--air", "35.5", "--race", "480", "--pinion", "30", "--format", "json"], { encoding: "utf8" }).stdout);
  assert.match(cells.join(" "), new RegExp(`motor at the end\\s*${said.motor_race_end_c.value.toFixed(0)} °C`));
  await form.getByLabel("air, °C").fill("95.9 °F");
  await form.getByRole("button").click();
  assert.match(await page.locator("#ahead").textContent(), /in air of 35.5 °C/);
  assert.equal(await form.getByLabel("air, °C").inputValue(), "95.9 °F");
  await form.getByLabel("air, °C").fill("warm");
  await form.getByLabel("race, s").fill("300");
  await form.getByLabel("or laps").fill("20");
  await form.getByRole("button").click();
  await page.locator("#ahead [role=alert]").first().waitFor();
  assert.equal(await page.locator("#ahead table").count(), 0);
  const alerts = await page.locator("#ahead label:has([aria-invalid]) [role=alert]").allTextContents();
  assert.equal(alerts.length, 2, alerts.join(", "));
  assert.equal(await form.getByLabel("air, °C").inputValue(), "warm");
  assert.deepEqual(wrong, []);
  await close();
});

test("pages, JSON and Parquet are taken away, the same that a review writes", async () => {
  const made = weekend();
  const server = await serve(made);
  const { page, close } = await open(server);
  // The page makes itself new when the first review is there.
  await rows(page).first().waitFor();
  spawnSync(program, ["review", made, "--out", join(made, "report")]);
  await page.goto(`${server.base}files`);
  const links = await page.locator("main .files a").evaluateAll((all) => all.map((a) => a.getAttribute("href")));
  assert.ok(links.length > 20);
  for (const link of links.filter((l) => !l.endsWith(".toml"))) {
    const got = await page.context().request.get(new URL(link, server.base).href);
    assert.equal(got.status(), 200);
    assert.match(got.headers()["content-disposition"], /^attachment/);
    assert.deepEqual(await got.body(), readFileSync(join(made, "report", decodeURIComponent(link.replace("file?name=", "")))), link);
  }
  await close();
});

test("script in every name of a sheet, a log and a column stays text", async () => {
  const made = folder();
  const evil = "<img src=x onerror=alert(1)><script>alert(2)</script>\"'`{{7*7}}";
  const toml = JSON.stringify(evil);
  mkdirSync(join(made, "logs"));
  const log = readFileSync(logOf("t4"), "utf8").split("\n");
  const name = "<img src=x onerror=alert(3)>.csv";
  const extra = log.map((line, n) => line.trim() ? `${line.replace(/\r$/, "")},${n === 0 ? evil.replaceAll(",", "") : 1}` : line);
  writeFileSync(join(made, "logs", name), extra.join("\n"));
  writeFileSync(join(made, "weekend.toml"), `[weekend]\nname = ${toml}\ndate = ${toml}\n[track]\nsurface = ${toml}\n[cars.${toml}]\npinion = 31\nspur = 116\n${toml} = ${toml}\n[[runs]]\nid = ${toml}\nlog = ${JSON.stringify(`logs/${name}`)}\nnote = ${toml}\n[[runs]]\nid = "second"\nlog = ${JSON.stringify(`logs/${name}`)}\n${toml} = "x"\n`);
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  await rows(page).nth(1).waitFor();
  const pages = await page.locator("main table a").evaluateAll((all) => all.map((a) => a.href));
  for (const at of [server.base, ...pages, `${server.base}sheet`, `${server.base}sheet-text`, `${server.base}files`, `${pages[0]}?spur=${encodeURIComponent(evil)}&pinion=${encodeURIComponent(evil)}`, `${server.base}${encodeURIComponent(evil)}`]) {
    await page.goto(at);
    await page.waitForTimeout(100);
    assert.equal(await page.locator("img, main script").count(), 0, at);
  }
  await page.goto(`${server.base}sheet`);
  assert.equal(await page.locator("input[name='/weekend/name']").inputValue(), evil);
  await page.getByRole("button", { name: "Save and review" }).click();
  await choose(page, join(made, "logs", name));
  await page.waitForTimeout(300);
  assert.deepEqual(wrong.filter((w) => !w.includes("404")), []);
  await close();
});

test("by keyboard alone, on a phone, and to a screen reader", async () => {
  const made = weekend();
  const server = await serve(made);
  for (const [colorScheme, width] of [["light", 1280], ["dark", 360]]) {
    const { page, close } = await open(server, { colorScheme, viewport: { width, height: 800 }, hasTouch: width < 500, bypassCSP: true });
    for (const at of ["", "run-04-t4.html", "sheet", "sheet-text", "files", "phone", "nowhere"]) {
      await page.goto(server.base + at);
      const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(over <= 0, `${at}, ${width} px: ${over} px too wide`);
      await page.evaluate(axe);
      const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
      assert.deepEqual(found.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target).join(" ")}`), [], at);
    }
    await close();
  }
  const { page, wrong, close } = await open(server);
  await page.goto(`${server.base}sheet`);
  const focused = () => page.evaluate(() => document.activeElement.name ?? document.activeElement.textContent);
  for (let n = 0; n < 60 && (await focused()) !== "/cars/tourer/pinion"; n++) await page.keyboard.press("Tab");
  await page.keyboard.press("Control+A");
  await page.keyboard.type("32");
  await page.keyboard.press("Enter");
  await atWeekend(page, server);
  assert.match(readFileSync(join(made, "weekend.toml"), "utf8"), /^pinion = 32$/m);
  assert.deepEqual(wrong, []);
  await close();
});

/** A request as no browser sends it. */
const ask = (server, method, path, headers = {}, body = null) => new Promise((done, fail) => {
  const url = new URL(server.url);
  const request = http.request({ host: url.hostname, port: url.port, method, path: (server.room ?? "") + path, headers: { Host: url.host, ...headers }, agent: false }, (answer) => {
    let text = "";
    answer.on("data", (t) => { text += t; });
    answer.on("end", () => done({ status: answer.statusCode, headers: answer.headers, text }));
  });
  request.on("error", fail);
  request.end(body);
});

const cookieOf = async (server) => {
  const { pathname, search } = new URL(server.url);
  const answer = await ask(server, "GET", pathname + search);
  // Other ports of the machine do not get it: they do not know the path.
  const given = /^runtrue-\d+=[0-9a-f]{64}; Path=(\/[0-9a-f]{64})\/; HttpOnly; SameSite=Strict$/.exec(answer.headers["set-cookie"][0]);
  assert.ok(given, answer.headers["set-cookie"][0]);
  assert.equal((await ask(server, "GET", pathname + search)).status, 403, "a token is good once");
  assert.equal((await ask(server, "GET", "/", { cookie: answer.headers["set-cookie"][0].split(";")[0] })).status, 403);
  server.room = given[1];
  return answer.headers["set-cookie"][0].split(";")[0];
};

test("over the wire: foreign hosts and origins, no token, path tricks", async () => {
  const made = weekend();
  const server = await serve(made);
  const cookie = await cookieOf(server);
  const own = { cookie, origin: new URL(server.url).origin };
  const refused = [
    ["GET", "/", {}],
    ["GET", "/?token=0", {}],
    ["GET", "/file?name=review.json", {}],
    ["GET", "/", { cookie: `${cookie.split("=")[0]}=0` }],
    ["GET", "/", { cookie, Host: "rebound.example" }],
    ["GET", "/", { cookie, origin: "http://other.example" }],
    ["GET", "/", { cookie, "sec-fetch-site": "cross-site" }],
    ["POST", "/sheet", { cookie }],
    ["POST", "/sheet", { cookie, origin: "null" }],
    ["POST", "/sheet", { cookie, origin: "http://other.example" }],
    ["PUT", "/drop?name=x.csv", { cookie, origin: own.origin, "sec-fetch-site": "same-site" }],
    ["PUT", "/drop?name=x.csv", { origin: own.origin }],
  ];
  for (const [method, path, headers] of refused) assert.equal((await ask(server, method, path, headers)).status, 403, `${method} ${path} ${JSON.stringify(headers)}`);
  for (const path of ["/file?name=../weekend.toml", "/file?name=%2e%2e/%2e%2e/etc/passwd", "/file?name=/etc/passwd", "/file?name=logs/../../weekend.toml", "/..%2fweekend.toml", "/.runtrue/serving", "/logs/t1.csv", "/file?name=.runtrue/address", "/file?name=.runtrue/secret"]) {
    const answer = await ask(server, "GET", path, { cookie });
    assert.equal(answer.status, 404, path);
    assert.ok(!answer.text.includes("root:") && !answer.text.includes("[cars"), path);
  }
  const fine = await ask(server, "GET", "/", { cookie });
  assert.equal(fine.status, 200);
  for (const [name, value] of [["x-content-type-options", "nosniff"], ["cache-control", "no-store"], ["referrer-policy", "same-origin"]]) assert.equal(fine.headers[name], value);
  assert.match(fine.headers["content-security-policy"], /default-src 'none'.*frame-ancestors 'none'/);
  assert.equal(fine.headers["access-control-allow-origin"], undefined);
  // Names come from outside: none leaves the folder.
  for (const name of ["..%2f..%2fevil.csv", "%2e%2e%5cevil.csv", "%00evil.csv", "C%3A%5Cevil.csv", "..."]) {
    const answer = await ask(server, "PUT", `/drop?name=${name}`, own, readFileSync(logOf("t4")));
    assert.equal(answer.status, 200, answer.text);
    assert.match(JSON.parse(answer.text).saved, /^logs\/[A-Za-z0-9 ._()-]+\.csv$/);
  }
  assert.deepEqual(readdirSync(made).sort(), [".runtrue", "laps", "logs", "weekend.toml"]);
  const version = await ask(server, "POST", "/sheet-back", { ...own, "content-type": "application/x-www-form-urlencoded" }, "version=..%2F..%2Fweekend.toml");
  assert.equal(version.status, 404);
});

test("a page of another origin learns nothing and changes nothing, though the browser is signed in and the address is known", async () => {
  const made = weekend();
  const server = await serve(made);
  const own = await open(server);
  const before = readFileSync(join(made, "weekend.toml"), "utf8"), names = readdirSync(join(made, "logs")).sort();
  const cookies = new Map();
  const evil = http.createServer((request, answer) => { cookies.set(request.url, request.headers.cookie); answer.setHeader("content-type", "text/html"); answer.end("<!doctype html><title>evil</title><p>hello"); });
  await new Promise((ready) => evil.listen(0, "127.0.0.1", ready));
  left.push(() => evil.close());
  const page = await own.page.context().newPage();
  await page.goto(`http://127.0.0.1:${evil.address().port}/look`);
  // Its port is another origin, its host is the same: cookies of the host would go there too.
  assert.equal(cookies.get("/look"), undefined);
  const found = await page.evaluate(async (base) => {
    const read = async (path, options) => { try { return (await (await fetch(base + path, options)).text()).length; } catch { return "refused"; } };
    const framed = (path) => new Promise((done) => {
      const frame = document.createElement("iframe");
      frame.onload = () => { try { done(frame.contentDocument?.body?.innerText ?? "closed"); } catch { done("closed"); } };
      frame.src = base + path;
      document.body.append(frame);
      setTimeout(() => done("closed"), 2000);
    });
    const drawn = (path) => new Promise((done) => { const image = new Image(); image.onload = () => done("read"); image.onerror = () => done("refused"); image.src = base + path; });
    const ran = (path) => new Promise((done) => { const script = document.createElement("script"); script.onload = () => done("ran"); script.onerror = () => done("refused"); script.src = base + path; document.head.append(script); });
    const send = async (path, method, body) => { try { await fetch(base + path, { method, body, mode: "no-cors", credentials: "include" }); } catch { /* refused before it was sent */ } };
    await send("sheet", "POST", new URLSearchParams({ seen: "0", "weekend.name": "taken" }));
    await send("sheet-text", "POST", new URLSearchParams({ text: "" }));
    await send("drop?name=evil.csv", "POST", "time,rpm\n0,1\n");
    const form = document.createElement("form"), target = document.createElement("iframe");
    target.name = "there";
    document.body.append(target);
    Object.assign(form, { action: `${base}sheet-text`, method: "post", target: "there" });
    form.innerHTML = "<input name=text value=''>";
    document.body.append(form);
    form.submit();
    await new Promise((go) => setTimeout(go, 1000));
    return {
      read: [await read("", { credentials: "include" }), await read("file?name=review.json", { credentials: "include" }), await read("sheet")],
      framed: await framed(""), drawn: await drawn("file?name=review.json"), ran: await ran("file?name=review.json"),
    };
  }, server.base);
  assert.deepEqual(found, { read: ["refused", "refused", "refused"], framed: "closed", drawn: "refused", ran: "refused" });
  assert.equal(readFileSync(join(made, "weekend.toml"), "utf8"), before);
  assert.deepEqual(readdirSync(join(made, "logs")).sort(), names);
  await own.close();
});

test("over the wire: oversized and cut uploads, odd forms, 200 requests at once", async () => {
  const made = weekend();
  const server = await serve(made);
  const cookie = await cookieOf(server);
  const own = { cookie, origin: new URL(server.url).origin };
  const before = readdirSync(join(made, "logs")).length;
  const large = await ask(server, "PUT", "/drop?name=large.csv", { ...own, "content-length": 1 << 30 }, "time").catch((e) => ({ status: e.code }));
  assert.equal(large.status, 413);
  assert.match(large.text, /larger than 128 MB/);
  // A length that is promised and not kept.
  await new Promise((done) => {
    const { hostname, port, host } = new URL(server.url);
    const socket = net.connect(Number(port), hostname, () => {
      socket.write(`PUT ${server.room}/drop?name=cut.csv HTTP/1.1\r\nHost: ${host}\r\nCookie: ${cookie}\r\nOrigin: ${own.origin}\r\nContent-Length: 100000\r\n\r\ntime,rpm\n0,1\n`);
      setTimeout(() => { socket.destroy(); done(); }, 200);
    });
  });
  const form = { ...own, "content-type": "application/x-www-form-urlencoded" };
  // The refusal arrives though most of what it refuses was still on its way.
  const whole = await ask(server, "PUT", "/drop?name=whole.csv", own, Buffer.alloc(140 << 20));
  assert.deepEqual([whole.status, /larger than 128 MB/.test(whole.text)], [413, true]);
  for (let n = 0; n < 20; n++) assert.equal((await ask(server, "POST", "/sheet", form, "x".repeat(5 << 20))).status, 413);
  const odd = [["base=0&%ff=%fe", 303], ["=&&&=", 303], ["/runs/99/pinion=3", 303], ["a=1&".repeat(11_000), 413], ["x".repeat(5 << 20), 413]];
  for (const [body, status] of odd) assert.equal((await ask(server, "POST", "/sheet", form, body)).status, status, body.slice(0, 30));
  assert.equal((await ask(server, "POST", "/sheet", { ...own, "content-type": "text/plain" }, "x")).status, 415);
  assert.equal((await ask(server, "DELETE", "/sheet", own)).status, 405);
  await new Promise((go) => setTimeout(go, 300));
  assert.equal(readdirSync(join(made, "logs")).length, before);
  assert.deepEqual(readdirSync(join(made, ".runtrue")).filter((f) => f.startsWith("arriving")), []);
  const paths = ["/", "/run-04-t4.html", "/sheet", "/file?name=review.json", "/changes"];
  const answers = await Promise.all(Array.from({ length: 200 }, (_, n) => ask(server, "GET", paths[n % paths.length], { cookie })));
  assert.ok(answers.every((a) => a.status === 200));
  // And as many at once that write the same file.
  const log = Buffer.concat([readFileSync(logOf("p1")), Buffer.from("\n")]);
  const same = await Promise.all(Array.from({ length: 40 }, () => ask(server, "PUT", "/drop?name=same.csv", own, log)));
  assert.ok(same.every((a) => a.status === 200));
  assert.deepEqual(readdirSync(join(made, "logs")).filter((f) => f.startsWith("same")), ["same.csv"]);
});

test("a second server on the folder is told of the first; another address is warned of", async () => {
  const made = weekend();
  const server = await serve(made);
  const second = spawnSync(program, ["serve", made, "--no-open"], { encoding: "utf8" });
  assert.equal(second.status, 1);
  assert.match(second.stderr, new RegExp(`already open at\\s+${new URL("/", server.url).href}[0-9a-f]{64}/`));
  server.child.removeAllListeners("exit");
  server.child.kill("SIGKILL");
  await new Promise((go) => server.child.on("exit", go));
  const third = await serve(made);
  assert.ok(third.url);
  const { page, close } = await open(third);
  await rows(page).first().waitFor();
  assert.equal(await rows(page).count(), 10);
  await close();
  const wide = spawn(program, ["serve", folder(), "--no-open", "--address", "0.0.0.0"]);
  left.push(() => wide.kill());
  const warned = await new Promise((done) => wide.stderr.once("data", (t) => done(String(t))));
  assert.match(warned, /warning: others on the network/);
});

test("a lap list that comes later is laid by its name; of another name its run is asked for, the best fit first", async () => {
  const made = weekend();
  const file = join(made, "weekend.toml");
  writeFileSync(file, readFileSync(file, "utf8").replaceAll(/^laps = "laps\/t[34]\.csv"\n/gm, "# laps later\n"));
  for (const run of ["t3", "t4"]) rmSync(join(made, "laps", `${run}.csv`));
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const [named, unnamed] = ["Laps of t3.csv", "timing.csv"].map((name) => join(folder(), name));
  cpSync(join(sample, "laps/t3.csv"), named);
  cpSync(join(sample, "laps/t4.csv"), unnamed);
  await choose(page, named, unnamed);
  await page.waitForFunction(() => document.querySelectorAll("[data-fate=saved]").length === 2);
  assert.match(await page.locator("#arrivals").textContent(), /laid on run t3, because of its name, and written on the sheet.*choose its run/s);
  const asked = page.locator("#lists");
  assert.equal(await asked.getByLabel("run").inputValue(), "t4");
  assert.match(await asked.textContent(), /laps\/timing\.csv.*It fits the log of run t4, and no other/s);
  await asked.getByRole("button", { name: "Lay it on this run" }).click();
  await atWeekend(page, server);
  assert.equal(await page.locator("#lists").count(), 0);
  const text = readFileSync(file, "utf8");
  assert.match(text, /^laps = "laps\/Laps of t3\.csv"$/m);
  assert.match(text, /^laps = "laps\/timing\.csv"$/m);
  assert.equal(text.match(/^# laps later$/gm).length, 2);
  assert.deepEqual(wrong, []);
  await close();
});

test("lap times are pasted on a run’s page, shown as they were read, then kept beside the log; without script and on a phone", async () => {
  const made = weekend();
  const file = join(made, "weekend.toml");
  writeFileSync(file, readFileSync(file, "utf8").replace(/^laps = "laps\/t4\.csv"\n/m, ""));
  const times = readFileSync(join(sample, "laps/t4.csv"), "utf8");
  rmSync(join(made, "laps/t4.csv"));
  const server = await serve(made);
  await (await open(server)).close();
  const { page, wrong, close } = await open(server, { javaScriptEnabled: false, viewport: { width: 390, height: 800 }, hasTouch: true });
  await page.locator("main table a", { hasText: "t4" }).first().click();
  const box = page.locator("#typed");
  assert.ok((await box.boundingBox()).height >= 150);
  await box.fill("hello");
  await page.getByRole("button", { name: "Read these lap times" }).click();
  assert.match(await page.locator("[role=alert]").textContent(), /there are no lap times in this; line 1 reads hello.*one lap time a line/s);
  assert.equal(await box.inputValue(), "hello");
  await box.fill("1. 15,8 s\n2. 15,9 s\n3. 16,0 s");
  await page.getByRole("button", { name: "Read these lap times" }).click();
  assert.equal(await page.locator("#read").textContent(), "3 laps, best 15.800 s, median 15.900 s");
  assert.ok(!existsSync(join(made, "laps/t4.csv")));
  await box.fill(times);
  await page.getByRole("button", { name: "Read these lap times" }).click();
  assert.match(await page.locator("#read").textContent(), /^\d\d laps, best 1\d\.\d{3} s/);
  const keep = page.getByRole("button", { name: "Keep these laps" });
  assert.ok((await keep.boundingBox()).height >= 44);
  await keep.click();
  await page.waitForURL(/run-\d\d-t4\.html\?/);
  assert.match(await page.getByRole("status").filter({ hasText: "Kept as the lap list of run t4" }).textContent(), /Undo/);
  assert.equal(await page.locator("#typed").count(), 0);
  assert.match(readFileSync(join(made, "laps/t4.csv"), "utf8"), /^lap,lap time s\n1,\d\d\.\d{3}\n/);
  assert.match(readFileSync(file, "utf8"), /^laps = "laps\/t4\.csv"$/m);
  assert.deepEqual(wrong.filter((w) => !w.includes("422")), []);
  await close();
});

/** An archive with these files, not squeezed (PKWARE, APPNOTE.TXT). */
const archive = (files) => {
  const table = Array.from({ length: 256 }, (_, n) => { for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1; return n >>> 0; });
  const crc = (bytes) => { let c = ~0; for (const b of bytes) c = table[(c ^ b) & 255] ^ (c >>> 8); return ~c >>> 0; };
  const [locals, central] = [[], []];
  let at = 0;
  for (const [name, bytes] of files) {
    const head = Buffer.alloc(26), called = Buffer.from(name);
    head.writeUInt16LE(20, 0);
    head.writeUInt32LE(crc(bytes), 10);
    head.writeUInt32LE(bytes.length, 14);
    head.writeUInt32LE(bytes.length, 18);
    head.writeUInt16LE(called.length, 22);
    const place = Buffer.alloc(14);
    place.writeUInt32LE(at, 10);
    locals.push(Buffer.from("PK\x03\x04"), head, called, bytes);
    central.push(Buffer.from("PK\x01\x02\x14\x00"), head, place, called);
    at += 30 + called.length + bytes.length;
  }
  const [body, directory, end] = [Buffer.concat(locals), Buffer.concat(central), Buffer.alloc(22)];
  end.write("PK\x05\x06", "latin1");
  for (const place of [8, 10]) end.writeUInt16LE(files.length, place);
  end.writeUInt32LE(directory.length, 12);
  end.writeUInt32LE(body.length, 16);
  return Buffer.concat([body, directory, end]);
};

test("an archive is unpacked where it is dropped: its logs and lists, each with its fate, and nothing out of the folder", async () => {
  const made = folder();
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  const [packed, broken] = ["saturday.zip", "broken.zip"].map((name) => join(folder(), name));
  const lists = readFileSync(join(sample, "laps/t1.csv"));
  writeFileSync(packed, archive([["logs/t1.csv", readFileSync(logOf("t1"))], ["laps/t1.csv", lists], ["../../evil.csv", lists], ["photo.jpg", Buffer.from("x")], ["more.zip", archive([])], ["__MACOSX/._t1.csv", Buffer.from("x")]]));
  writeFileSync(broken, readFileSync(packed).subarray(0, 5000));
  await choose(page, packed, broken);
  await page.waitForFunction(() => document.querySelectorAll("[data-fate]").length === 6);
  const said = await page.locator("#arrivals").textContent();
  for (const part of [/saturday\.zip: logs\/t1\.csv.*saved as logs\/t1\.csv/s, /laid on run t1/, /photo\.jpg.*neither a log nor a lap list/s, /more\.zip.*packed in a packed file/s, /evil\.csv.*leads out of the packed file/s, /broken\.zip could not be read: the packed file is damaged/]) assert.match(said, part);
  assert.deepEqual(readdirSync(made).sort(), [".runtrue", "laps", "logs"]);
  assert.deepEqual([readdirSync(join(made, "logs")), readdirSync(join(made, "laps"))], [["t1.csv"], ["t1.csv"]]);
  await page.getByRole("link", { name: "See the review" }).click();
  assert.equal(await rows(page).count(), 1);
  assert.deepEqual(wrong.filter((w) => !w.includes("422")), []);
  await close();
});

test("on a phone and without script: runs are renamed, moved, given to another car, left out, put back and taken off, each with its way back", async () => {
  const made = weekend();
  const file = join(made, "weekend.toml");
  const before = readFileSync(file, "utf8");
  const server = await serve(made);
  await (await open(server)).close();
  const { page, wrong, close } = await open(server, { javaScriptEnabled: false, viewport: { width: 390, height: 844 }, hasTouch: true });
  const runs = page.locator("#runs");
  const entry = (id) => runs.locator("details").filter({ has: page.locator(`input[name=run][value='${id}']`) });
  const press = async (id, name) => {
    const found = entry(id);
    if (!(await found.evaluate((d) => d.open))) await found.locator("summary").click();
    const button = found.getByRole("button", { name, exact: true });
    assert.ok((await button.boundingBox()).height >= 44, name);
    await button.click();
    await atWeekend(page, server);
  };
  const undo = async () => {
    await page.locator("#said").getByRole("button", { name: "Undo" }).click();
    await atWeekend(page, server);
    assert.match(await page.locator("#said").textContent(), /The sheet is as it was before/);
    assert.equal(readFileSync(file, "utf8"), before);
  };
  const ids = () => [...readFileSync(file, "utf8").matchAll(/^id = "(.*)"$/gm)].map((m) => m[1]);
  await entry("t2").locator("summary").click();
  await entry("t2").getByLabel("name").fill("heat 2");
  await press("t2", "Save name and car");
  // Beside the button: in the run's own place, which is open.
  assert.match(await entry("heat 2").locator("#said").textContent(), /Run t2 is called heat 2 now/);
  assert.deepEqual(ids().slice(0, 3), ["t1", "heat 2", "t3"]);
  await undo();
  await press("t2", "Move before the run above");
  assert.deepEqual(ids().slice(0, 3), ["t2", "t1", "t3"]);
  await undo();
  await entry("t2").locator("summary").click();
  await entry("t2").getByLabel("car").selectOption("pan");
  await press("t2", "Save name and car");
  assert.match(readFileSync(file, "utf8"), /id = "t2"\ncar = "pan"/);
  await undo();
  await press("t2", "Leave its log out");
  assert.equal(await rows(page).count(), 9);
  assert.match(await runs.textContent(), /Left out.*logs\/t2\.csv/s);
  await page.reload();
  await page.getByRole("button", { name: "Put it back" }).click();
  await atWeekend(page, server);
  assert.equal(readFileSync(file, "utf8"), before);
  assert.equal(await rows(page).count(), 10);
  await press("t2", "Take it off the sheet");
  assert.ok(!readFileSync(file, "utf8").includes("t2"));
  assert.ok(existsSync(join(made, "logs/t2.csv")));
  // It waits to be added again, or is left out for good.
  const leave = page.getByRole("button", { name: "Leave this log out" });
  assert.ok((await leave.boundingBox()).height >= 44);
  await leave.click();
  await atWeekend(page, server);
  assert.equal(await page.getByRole("button", { name: "Leave this log out" }).count(), 0);
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(over <= 0, `${over} px too wide`);
  assert.deepEqual(wrong, []);
  await close();
});

test("the second log of one car is reviewed at once, with a way back; one of another pack is asked for", async () => {
  const made = folder();
  mkdirSync(join(made, "logs"));
  cpSync(logOf("t1"), join(made, "logs/t1.csv"));
  writeFileSync(join(made, "weekend.toml"), '[cars.tourer]\nbattery.cells = 2\n\n[[runs]]\nid = "t1"\nlog = "logs/t1.csv"\n');
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  await rows(page).first().waitFor();
  await choose(page, logOf("t2"));
  await page.locator("#said").waitFor();
  assert.match(await page.locator("#said").textContent(), /logs\/t2\.csv is run t2 of tourer now/);
  assert.equal(await rows(page).count(), 2);
  await follow(page, page.locator("#said").getByRole("button", { name: "Undo" }));
  assert.equal(await rows(page).count(), 1);
  assert.ok(existsSync(join(made, "logs/t2.csv")));
  await choose(page, logOf("p1"));
  await page.waitForFunction(() => document.querySelectorAll("[data-fate=saved]").length === 1);
  assert.match(await page.locator("#arrivals").textContent(), /it rested at 4\.\d V, as 1 cell does.*tourer has 2/s);
  await page.goto(server.base);
  await page.locator("fieldset", { has: page.locator("legend", { hasText: "logs/p1.csv" }) }).getByLabel("or a car that is new").fill("pan");
  await follow(page, page.getByRole("button", { name: "Add these runs" }));
  assert.match(readFileSync(join(made, "weekend.toml"), "utf8"), /\[cars\.pan\].*id = "p1"\ncar = "pan"/s);
  assert.deepEqual(wrong, []);
  await close();
});

test("logs of one cell and of two are offered as two cars", async () => {
  const made = folder();
  mkdirSync(join(made, "logs"));
  for (const run of ["t1", "p1", "p3"]) cpSync(logOf(run), join(made, `logs/${run}.csv`));
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  await rows(page).nth(2).waitFor();
  const offered = page.locator("form[action=two-cars]");
  assert.match(await offered.textContent(), /p1, p3: the pack rested at 4\.\d V, as 1 cell would.*t1: the pack rested at 8\.\d V, as 2 cells would/s);
  await offered.locator("input[name=first]").fill("pan");
  await offered.locator("input[name=second]").fill("tourer");
  await follow(page, offered.getByRole("button"));
  assert.match(await page.locator("#said").textContent(), /Pan and tourer are two cars now/);
  assert.equal(await offered.count(), 0);
  const text = readFileSync(join(made, "weekend.toml"), "utf8");
  assert.deepEqual([...text.matchAll(/^id = "(.*)"\ncar = "(.*)"$/gm)].map((m) => `${m[1]} ${m[2]}`), ["p1 pan", "p3 pan", "t1 tourer"]);
  assert.deepEqual(wrong, []);
  await close();
});

test("a log with two runs: each gets a lap list of its own", async () => {
  const made = folder();
  mkdirSync(join(made, "logs"));
  // The second run's clock begins anew.
  writeFileSync(join(made, "logs/both.csv"), Buffer.concat([readFileSync(logOf("t1")), readFileSync(logOf("t2"))]));
  writeFileSync(join(made, "weekend.toml"), '[cars.tourer]\nspur = 116\n\n# both heats\n[[runs]]\nid = "both"\nlog = "logs/both.csv"\n');
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  await rows(page).nth(1).waitFor();
  const [named, other] = ["both.2.csv", "timing.csv"].map((name) => join(folder(), name));
  cpSync(join(sample, "laps/t2.csv"), named);
  cpSync(join(sample, "laps/t1.csv"), other);
  await choose(page, named, other);
  await page.waitForFunction(() => document.querySelectorAll("[data-fate=saved]").length === 2);
  assert.match(await page.locator("#arrivals").textContent(), /laid on run both\.2, because of its name, and written on the sheet/);
  const asked = page.locator("#lists");
  assert.equal(await asked.getByLabel("run").inputValue(), "both.1");
  await follow(page, asked.getByRole("button", { name: "Lay it on this run" }));
  assert.match(await page.locator("#said").textContent(), /timing\.csv is the lap list of run both\.1 now/);
  const text = readFileSync(join(made, "weekend.toml"), "utf8");
  assert.deepEqual([...text.matchAll(/^(?:id|part|laps) = .*$/gm)].map((m) => m[0]), ['id = "both.1"', "part = 1", 'laps = "laps/timing.csv"', 'id = "both.2"', "part = 2", 'laps = "laps/both.2.csv"']);
  assert.equal(await rows(page).count(), 2);
  assert.deepEqual(wrong, []);
  await close();
});

test("mistakes of the sheet stand in their fields before anything is saved, and a click mends each", async () => {
  const made = weekend();
  const file = join(made, "weekend.toml");
  const before = readFileSync(file, "utf8");
  const spoilt = before.replace("spur = 116", "spurr = 116").replace("pinion = 31", "pinion = 310").replace(/^date = .*$/m, 'date = "16.5.2026"');
  writeFileSync(file, spoilt);
  const server = await serve(made);
  const { page, wrong, close } = await open(server);
  await page.goto(`${server.base}sheet`);
  const listed = page.locator(".error");
  for (const said of [/spurr is not a known key/, /pinion is 310, which is not possible/, /16\.5\.2026, which is not a date/]) assert.match(await listed.textContent(), said);
  await listed.getByRole("link", { name: /pinion is 310/ }).click();
  assert.ok(await page.locator("[id='at/cars/tourer/pinion']").evaluate((e) => { const r = e.getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight; }));
  for (const [button, line] of [["Make it 31 teeth", /^pinion = 31$/m], ["Call it spur", /^spur = 116$/m], ["Make it 2026-05-16", /^date = 2026-05-16$/m]]) {
    await follow(page, page.getByRole("button", { name: button }));
    await until(() => line.test(readFileSync(file, "utf8")));
    assert.equal(await page.locator("#said").textContent(), "● Saved");
  }
  assert.equal(await page.locator(".error").count(), 0);
  // Enter in a field saves the form, and mends nothing by itself.
  await page.locator("input[name='/cars/tourer/pinion']").fill("3100");
  await page.keyboard.press("Enter");
  await page.getByRole("alert").waitFor();
  assert.equal(await page.locator("input[name='/cars/tourer/pinion']").inputValue(), "3100");
  await page.goBack();
  assert.equal(await page.getByRole("alert").count(), 0);
  const parts = await page.locator("fieldset", { has: page.locator("legend", { hasText: /^tourer$/ }) }).locator("h3").allTextContents();
  for (const part of ["Gearing", "Motor", "Battery", "Limits", "Tyres", "Notes and settings of your own"]) assert.ok(parts.includes(part), `${part}: ${parts}`);
  assert.deepEqual(wrong, []);
  await close();
});
