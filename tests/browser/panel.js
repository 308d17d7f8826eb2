// A panel in a real notebook: keys and mouse move its sliders, the pictures follow; see panel.py.
const { chromium } = require("playwright-core");

const [, , address, browserPath, picture] = process.argv;
const SECONDS = 4;

(async () => {
  const browser = await chromium.launch({ executablePath: browserPath, args: ["--no-sandbox", "--disable-gpu"] });
  const page = await browser.newPage({ viewport: { width: 1300, height: 1000 } });
  const errors = [];
  page.on("pageerror", error => errors.push(String(error)));
  await page.goto(address);
  await page.waitForFunction(() => window.Jupyter?.notebook?._fully_loaded && Jupyter.notebook.kernel?.is_connected(), null, { timeout: 90000 });
  // The widgets' own script comes a moment after the kernel.
  await page.waitForTimeout(3000);
  await page.evaluate(() => Jupyter.notebook.execute_all_cells());
  await page.waitForSelector(".sa-sheet svg", { timeout: 120000 });
  await page.waitForTimeout(1500);

  const numbers = () => page.textContent(".sa-numbers");
  const stars = () => page.evaluate(() => [...document.querySelectorAll(".sa-sheet image")].map(image => image.getAttribute("href")));
  const seen = { sliders: 0, before: await numbers() };
  const first = await stars();
  const handles = await page.$$(".ui-slider-handle");
  seen.sliders = handles.length;
  await handles[2].focus();
  for (let k = 0; k < 8; k++) {
    await page.keyboard.press("ArrowRight");
  }
  await page.waitForTimeout(1500);
  seen.afterKeys = await numbers();
  seen.picturesChanged = (await stars()).filter((href, k) => href !== first[k]).length;

  // Sheets that reach the browser while the mouse drags, and after it has let go.
  await page.evaluate(() => {
    window.sheets = 0;
    new MutationObserver(() => { window.sheets++; }).observe(document.querySelector(".sa-sheet").parentElement, { childList: true });
  });
  const box = await handles[4].boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  const begin = Date.now();
  for (let k = 0; Date.now() - begin < 1000 * SECONDS; k++) {
    await page.mouse.move(x + 40 * Math.sin(k / 12), y);
    await page.waitForTimeout(15);
  }
  await page.mouse.up();
  const dragged = await page.evaluate(() => window.sheets);
  await page.waitForTimeout(1500);
  seen.perSecond = dragged / SECONDS;
  seen.late = (await page.evaluate(() => window.sheets)) - dragged;
  seen.afterMouse = await numbers();
  seen.errors = errors;
  await page.screenshot({ path: picture });
  await browser.close();
  console.log(JSON.stringify(seen));
})();
