// Has the pages that `voicelog report`, `history`, `overview` and `shop order` write judged in Chromium.
//
//     npm install --no-save axe-core puppeteer-core
//     node tests/benchmarks/page_judges.mjs FILE.html ...
//
// axe-core looks for what WCAG 2.2 (A, AA) and good practice forbid, by day and by night. Besides: nothing is
// fetched, all sound plays and all pictures show without a network, nothing is cut off on a narrow screen.
// CHROMIUM names the browser; /usr/bin/chromium if it is not set. Exit code 1 where something was found.
import fs from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";

// Found where they were installed, not where this file lies.
const require = createRequire(path.join(process.cwd(), "here.js"));
const puppeteer = require("puppeteer-core");
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
const WIDTHS = [320, 375, 768, 1280];

async function judgedByAxe(page) {
  const found = await page.evaluate((tags) => axe.run(document, { runOnly: tags }), TAGS);
  return found.violations.map((v) => `${v.id} (${v.impact}), ${v.nodes.length}: ${v.nodes[0].html.slice(0, 120)}`);
}

async function media(page) {
  return page.evaluate(async () => {
    const silent = [];
    for (const sound of document.querySelectorAll("audio")) {
      sound.muted = true;
      await sound.play().catch(() => {});
      if (sound.error || !(sound.duration > 0)) silent.push(`no sound: ${sound.getAttribute("aria-label")}`);
      sound.pause();
    }
    const blank = [...document.images].filter((image) => !image.naturalWidth).map((image) => `no picture: ${image.alt}`);
    return [...silent, ...blank];
  });
}

async function cutOff(page) {
  const found = [];
  for (const width of WIDTHS) {
    await page.setViewport({ width, height: 900 });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (wide > 0) found.push(`${wide} px wider than a screen of ${width} px`);
  }
  return found;
}

const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
});
let bad = 0;
for (const file of process.argv.slice(2)) {
  const address = pathToFileURL(path.resolve(file)).href;
  const found = [];
  for (const scheme of ["light", "dark"]) {
    const page = await browser.newPage();
    page.on("request", (asked) => {
      const url = asked.url();
      if (url !== address && !url.startsWith("data:")) found.push(`asked for ${url}`);
    });
    await page.setOfflineMode(true);
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
    await page.setBypassCSP(true); // or axe-core could not be put in
    await page.setViewport({ width: 1280, height: 900 });
    await page.goto(address);
    await page.evaluate(axe);
    found.push(...(await judgedByAxe(page)).map((what) => `${scheme}: ${what}`));
    if (scheme === "light") found.push(...(await media(page)), ...(await cutOff(page)));
    await page.close();
  }
  console.log(`${file}: ${found.length ? "" : "nothing found"}`);
  for (const what of found) console.log(`    ${what}`);
  bad += found.length;
}
await browser.close();
process.exit(bad ? 1 : 0);
