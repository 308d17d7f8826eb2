// Pictures of a page at given widths, at full height; says what does not fit, how small letters get, and what has no text:
//
//     npm install --prefix build/browser playwright-core
//     NODE_PATH=build/browser/node_modules node tests/browser/shots.js file://PAGE $(which chromium) OUT 1200 400
const { chromium } = require("playwright-core");

const [, , address, browserPath, out, ...widths] = process.argv;

(async () => {
  const browser = await chromium.launch({ executablePath: browserPath, args: ["--no-sandbox", "--disable-gpu"] });
  const seen = [];
  for (const width of widths.map(Number)) {
    const page = await browser.newPage({ viewport: { width, height: 900 } });
    const errors = [], asked = [];
    page.on("pageerror", error => errors.push(String(error)));
    page.on("request", request => asked.push(request.url()));
    await page.goto(address);
    await page.waitForTimeout(300);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    const small = await page.evaluate(() => Math.min(...[...document.querySelectorAll("svg text")]
      .filter(text => text.getBoundingClientRect().width > 0)
      .map(text => parseFloat(getComputedStyle(text).fontSize) * text.ownerSVGElement.getBoundingClientRect().width / text.ownerSVGElement.viewBox.baseVal.width)));
    const bare = await page.evaluate(() => [...document.querySelectorAll("svg, img")].filter(p => !p.getAttribute("aria-label") && !p.getAttribute("alt")).length);
    const foreign = asked.filter(url => !url.startsWith("data:") && url !== address).length;
    await page.screenshot({ path: `${out}-${width}.png`, fullPage: true });
    seen.push({ width, overflow: wide - width, smallestLetters: small, picturesWithoutText: bare, foreign, errors });
    await page.close();
  }
  await browser.close();
  console.log(JSON.stringify(seen));
})();
