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
// Two laps, the slowest that counts and the best, with the cursor in the middle of the lap.
const page = await browser.newPage({ viewport: { width: 820, height: 960 } });
await page.goto(`${pathToFileURL(join(report, "run-04-t4.html")).href}#trace=lap-13,with-lap-15`);
await page.locator("#trace-charts canvas").first().waitFor();
const box = await page.locator("#trace-charts .u-over").first().boundingBox();
await page.mouse.move(box.x + 0.56 * box.width, box.y + 40);
await page.waitForTimeout(200);
await page.screenshot({ path: join(here, "pictures", "trace.png") });
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
