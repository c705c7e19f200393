// Looks at pages in a real Chromium and tells what it finds, as JSON: each line of stdin is a list of visits, each line of
// stdout what was found of one such list, or how it failed. ``node look.mjs CHROMIUM NODE_MODULES``
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { createInterface } from "node:readline";

const [chromium, modules] = process.argv.slice(2);
const load = createRequire(path.join(modules, "look.cjs"));
const { default: puppeteer } = await import(load.resolve("puppeteer-core"));
const axe = readFileSync(load.resolve("axe-core/axe.min.js"), "utf8");

/* Runs in the page: facts about how it lies there. */
function layout() {
  const box = (element) => {
    const { left, top, width, height } = element.getBoundingClientRect();
    return [left + scrollX, top + scrollY, width, height].map((length) => Math.round(length * 10) / 10);
  };
  const disc = document.querySelector(".leading .plate-square");
  const words = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    if (!node.data.trim() || !node.parentElement.checkVisibility({ visibilityProperty: true })) continue;
    if (node.parentElement.closest("svg, .skip, select, video")) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const { left, top, right, bottom } of range.getClientRects()) {
      words.push({ left, top, right, bottom, text: node.data.trim().slice(0, 40) });
    }
  }
  words.sort((one, other) => one.top - other.top);
  const overlaps = [];
  words.forEach((one, at) => {
    for (let next = at + 1; next < words.length && words[next].top < one.bottom - 4; next += 1) {
      const other = words[next];
      const wide = Math.min(one.right, other.right) - Math.max(one.left, other.left);
      const high = Math.min(one.bottom, other.bottom) - other.top;
      // Lines of text touch by their leading; more than a third of a line is not that.
      if (wide > 2 && high > 0.34 * Math.min(one.bottom - one.top, other.bottom - other.top)) {
        overlaps.push(`${one.text} | ${other.text}`);
      }
    }
  });
  return {
    lang: document.documentElement.lang,
    disc: disc && box(disc),
    beyond: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    wide: [...document.body.querySelectorAll("*")].filter((one) => !one.closest(".scroll, svg, .skip")
      && one.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5).map((one) => one.outerHTML.slice(0, 90)),
    broken: [...document.images].filter((one) => one.complete && !one.naturalWidth).map((one) => one.src),
    overlaps,
    paper: getComputedStyle(document.body).backgroundColor,
    fonts: [...document.fonts].filter((font) => font.status === "loaded").length,
  };
}

/* Runs in the page: everything that a keyboard should reach, and a mark on each. */
function reachable() {
  const all = [...document.querySelectorAll("a[href], button, input, select, summary, video[controls], [tabindex='0']")];
  const shown = all.filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.closest("[hidden]"));
  shown.forEach((one, number) => one.setAttribute("data-reach", number));
  return shown.length;
}

async function tabThrough(page) {
  const count = await page.evaluate(reachable);
  const reached = new Set();
  for (let press = 0; press < 2 * count + 10 && reached.size < count; press += 1) {
    await page.keyboard.press("Tab");
    const mark = await page.evaluate(() => {
      const one = document.activeElement;
      return one?.hasAttribute("data-reach") ? [one.dataset.reach, getComputedStyle(one).outlineStyle] : null;
    });
    if (mark) reached.add(mark[0]);
    if (mark && mark[1] === "none") reached.add(`without outline ${mark[0]}`);
  }
  return { count, reached: reached.size };
}

/* One tab for a list of visits, for each tab is a process; what it says and asks for goes to the lists in `heard`. */
async function openTab(context) {
  const page = await context.newPage();
  await page.setCacheEnabled(false);
  const heard = { said: [], requests: [] };
  const saidOf = new WeakMap();  // where it belongs what becomes of a request: to the visit that made it
  page.on("console", (message) => heard.said.push([`${message.type()}: ${message.text()}`, message.location()?.url].filter(Boolean).join(" ")));
  page.on("pageerror", (error) => heard.said.push(`error: ${error.message}`));
  page.on("request", (request) => {
    saidOf.set(request, heard.said);
    heard.requests.push(request.url());
  });
  page.on("requestfailed", (request) => saidOf.get(request)?.push(`failed: ${request.url()} ${request.failure()?.errorText}`));
  page.on("response", (response) => {
    if (response.status() >= 400) saidOf.get(response.request())?.push(`${response.status()}: ${response.url()}`);
  });
  return { page, heard };
}

async function setMedia(page, { width = 1280, height = 900, scheme = "light" }) {
  await page.setViewport({ width, height });
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
}

/* Runs in the page, which holds axe-core: what is not open to everyone. */
async function violations(rules) {
  const { violations: found } = await window.axe.run(document, { preload: false, resultTypes: ["violations"], runOnly: rules });
  return found.map((one) => `${one.id}: ${one.nodes.map((node) => node.html.slice(0, 120)).join(" | ")}`);
}

async function visit({ page, heard }, wanted) {
  await page.evaluate(() => window.stop());  // what the last page still asks for is not this one's
  const [said, requests] = [[], []];
  Object.assign(heard, { said, requests });
  await setMedia(page, wanted);
  await page.setJavaScriptEnabled(wanted.script !== false);
  await page.goto(wanted.url, { waitUntil: "load" });
  if (wanted.script !== false) await page.evaluate(async () => { await document.fonts.ready; });
  const found = { url: wanted.url };
  if (wanted.type) {
    await page.type(wanted.type[0], wanted.type[1]);
    await page.keyboard.press("Tab");
  }
  if (wanted.then) found.then = await page.evaluate(wanted.then);
  Object.assign(found, await page.evaluate(layout));
  found.at = [];
  for (const width of wanted.widths ?? []) {
    await page.setViewport({ width, height: wanted.height ?? 900 });
    found.at.push(await page.evaluate(layout));
  }
  const [saidOfPage, requestsOfPage] = [[...said], requests.filter((one) => !one.startsWith("data:"))];
  if (wanted.axe) {
    await page.evaluate(axe);
    found.axe = await page.evaluate(violations, wanted.axe);
    if (wanted.contrast) {  // the rule that depends on colours and widths; what the page holds is the same
      await setMedia(page, wanted.contrast);
      found.axe.push(...await page.evaluate(violations, { type: "rule", values: ["color-contrast"] }));
    }
  }
  if (wanted.keyboard) found.keyboard = await tabThrough(page);
  if (wanted.print) {
    const sheet = Buffer.from(await page.pdf({ format: "A4", preferCSSPageSize: true })).toString("latin1");
    found.sheets = sheet.match(/\/Type\s*\/Page\b(?!s)/g).length;
  }
  return { ...found, said: saidOfPage, requests: requestsOfPage };
}

const browser = await puppeteer.launch({
  executablePath: chromium,
  headless: true,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--disable-breakpad", "--process-per-site",
    "--disable-site-isolation-trials", "--disable-features=BackForwardCache"],  // no page is kept or prepared aside
});
/* Visits with no cache and no memory of those before. */
async function visitAll(visits) {
  const context = await browser.createBrowserContext();
  try {
    const found = [];
    const tab = await openTab(context);
    for (const wanted of visits) found.push(await visit(tab, wanted));
    return { found };
  } catch (error) {
    return { failed: `${error.stack}` };
  } finally {
    await context.close();
  }
}

try {
  for await (const line of createInterface({ input: process.stdin })) {
    process.stdout.write(`${JSON.stringify(await visitAll(JSON.parse(line)))}\n`);
  }
} finally {
  await browser.close();
}
