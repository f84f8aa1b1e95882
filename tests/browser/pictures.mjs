// The README's pictures, of the sample weekend's pages: `node pictures.mjs` after `runtrue review sample-logs/alder-quay`.
import { spawn } from "node:child_process";
import { cpSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const report = join(here, "../../sample-logs/alder-quay/report");
const browser = await chromium.launch({
  executablePath: "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
for (const [name, file, height, options] of [
  ["weekend", "index.html", 700, {}],
  ["run", "run-05-t5.html", 760, {}],
]) {
  const page = await browser.newPage({ viewport: { width: 1000, height }, ...options });
  await page.goto(pathToFileURL(join(report, file)).href);
  await page.screenshot({ path: join(here, "pictures", `${name}.png`) });
}
const page = await browser.newPage({ viewport: { width: 720, height: 800 } });
await page.goto(pathToFileURL(join(report, "run-06-t6.html")).href);
await page.locator("#trace").scrollIntoViewIfNeeded();
await page.locator("#trace-charts").focus();
for (let n = 0; n < 7; n++) await page.keyboard.press("+");
const box = await page.locator("#trace-charts .u-over").first().boundingBox();
await page.mouse.move(box.x + box.width / 2, box.y + 40);
await page.locator("#trace").screenshot({ path: join(here, "pictures", "trace.png") });
await page.close();

// The local page of a folder with two logs and no sheet.
const folder = mkdtempSync(join(tmpdir(), "runtrue-"));
for (const run of ["t1", "t4"]) cpSync(join(here, "../../sample-logs/alder-quay/logs", `${run}.csv`), join(folder, "logs", `${run}.csv`), { recursive: true });
const server = spawn(join(here, "../../target/release/runtrue"), ["serve", folder, "--no-open"]);
const url = await new Promise((done) => server.stdout.on("data", (t) => { const found = /http:\S+/.exec(String(t)); if (found) done(found[0]); }));
const local = await browser.newPage({ viewport: { width: 1000, height: 700 } });
await local.goto(url);
await local.locator("main table").first().waitFor();
await local.screenshot({ path: join(here, "pictures", "local.png") });
server.kill();
rmSync(folder, { recursive: true });
await browser.close();
