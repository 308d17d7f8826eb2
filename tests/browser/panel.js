// Panels in a real Jupyter: keys and mouse move their controls, the pictures follow; see panel.py.
//
//     node panel.js ADDRESS BROWSER FOLDER notebook|lab < panels
//
// Panels come as JSON: [{ name, keys: [control, times], mouse: control }], each in NAME.ipynb.
const { chromium } = require("playwright-core");
const fs = require("fs");

const [, , address, browserPath, folder, kind] = process.argv;
const SECONDS = 4;
// Back and forth at this speed over this way to both sides: each frame of the screen has another value.
const SPEED = 250, WAY = 50;

const HOSTS = {
  notebook: {
    page: name => `${address}/notebooks/${name}.ipynb`,
    ready: () => window.Jupyter?.notebook?._fully_loaded && Jupyter.notebook.kernel?.is_connected(),
    run: () => Jupyter.notebook.execute_all_cells(),
    handle: ".ui-slider-handle",
  },
  lab: {
    page: name => `${address}/lab/workspaces/${name}/tree/${name}.ipynb`,
    ready: () => window.application?.shell.currentWidget?.sessionContext?.session?.kernel?.connectionStatus === "connected",
    run: () => window.application.commands.execute("notebook:run-all-cells"),
    handle: ".noUi-handle",
  },
};

async function watch(browser, panel) {
  const host = HOSTS[kind];
  const page = await browser.newPage({ viewport: { width: 1300, height: 1000 } });
  const errors = [];
  page.on("pageerror", error => errors.push(String(error)));
  // A style sheet that comes with Notebook 6 holds a broken GIF; no picture of ours is one.
  page.on("console", message => message.type() === "error" && !message.location().url.startsWith("data:image/gif") && errors.push(`${message.text()} (${message.location().url.slice(0, 80)})`));
  await page.goto(host.page(panel.name));
  await page.waitForFunction(host.ready, null, { timeout: 90000 });
  // The widgets' own script comes a moment after the kernel.
  await page.waitForTimeout(3000);
  await page.evaluate(host.run);
  await page.waitForSelector(".sa-sheet svg", { timeout: 120000 });
  await page.waitForTimeout(1500);

  const numbers = () => page.textContent(".sa-numbers");
  const shot = name => page.locator(".sa-sheet svg").first().screenshot({ path: `${folder}/${panel.name}-${name}.png` });
  const seen = { name: panel.name, before: await numbers() };
  await shot("before");
  await shot("still");

  const controls = await page.$$(`.widget-vbox .widget-vbox :is(${host.handle}, select)`);
  seen.controls = controls.length;
  const [which, times] = panel.keys;
  await controls[which].focus();
  for (let k = 0; k < times; k++) {
    await page.keyboard.press("ArrowRight");
    await page.waitForTimeout(30);
  }
  await page.waitForTimeout(1500);
  seen.afterKeys = await numbers();
  await shot("keys");

  // Sheets that reach the browser while the mouse drags, and after it has let go. A hand does not wait for the browser.
  await page.evaluate(() => {
    window.sheets = 0;
    new MutationObserver(() => { window.sheets++; }).observe(document.querySelector(".sa-sheet").parentElement, { childList: true });
  });
  await controls[panel.mouse].scrollIntoViewIfNeeded();
  const box = await controls[panel.mouse].boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  const begin = Date.now();
  const hand = setInterval(() => {
    const way = (SPEED / WAY / 2 * (Date.now() - begin) / 1000 + 0.5) % 2;
    page.mouse.move(x + WAY * (1 - 2 * Math.abs(way - 1)), y).catch(() => {});
  }, 16);
  await page.waitForTimeout(1000 * SECONDS);
  clearInterval(hand);
  await page.mouse.move(x + 20, y);
  const dragged = await page.evaluate(() => window.sheets);
  await page.mouse.up();
  await page.waitForTimeout(2000);
  seen.perSecond = dragged / SECONDS;
  seen.late = (await page.evaluate(() => window.sheets)) - dragged;
  seen.afterMouse = await numbers();
  seen.values = await page.$$eval(".widget-vbox .widget-vbox :is(.widget-readout, select)", all => all.map(one => one.value ?? one.textContent));
  await shot("mouse");
  seen.errors = errors;
  await page.screenshot({ path: `${folder}/${panel.name}.png` });
  await page.close();
  return seen;
}

(async () => {
  const browser = await chromium.launch({ executablePath: browserPath, args: ["--no-sandbox", "--disable-gpu"] });
  const all = [];
  for (const panel of JSON.parse(fs.readFileSync(0, "utf8"))) {
    all.push(await watch(browser, panel));
  }
  await browser.close();
  console.log(JSON.stringify(all));
})();
