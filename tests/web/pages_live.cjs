// The pages as a person meets them, in a real Chromium: on a phone and at a desk, by keyboard, with
// scripts switched off, while they refresh, and on paper. Contrast and landmarks are judged by
// axe-core (WCAG 2.1 A and AA, and its best practices).
//   node pages_live.cjs CHROMIUM ADDRESS REPORTS PICTURES JAR...
// REPORTS: a folder with JAR.html of every jar. PICTURES: a folder for pictures; empty: none.
const fs = require("fs");
const path = require("path");
const { chromium } = require("playwright-core");
const axe = require("axe-core");

const [program, address, reports, pictures, ...jars] = process.argv.slice(2);
const kPhone = { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true };
const kSmallPhone = { ...kPhone, viewport: { width: 320, height: 568 } };
const kDesk = { viewport: { width: 1280, height: 900 } };
const kPages = ["/", "/alerts", "/sensors", ...jars.map((jar) => `/jar/${jar}`)];
// Below this a phone's letters are not read at arm's length (common practice, no source).
const kSmallestLetter = 11;

let checks = 0;
const faults = [];
function check(holds, words) {
  checks += 1;
  if (!holds) faults.push(words);
}

// A page that reports what goes wrong in it: scripts, foreign requests, the content policy.
async function open(context, where) {
  const page = await context.newPage();
  page.on("console", (line) => line.type() === "error" && check(false, `${where}: ${line.text()}`));
  page.on("pageerror", (error) => check(false, `${where}: ${error}`));
  page.on("dialog", (dialog) => (check(false, `${where}: ${dialog.message()}`), dialog.dismiss()));
  page.on("request", (request) =>
    check(request.url().startsWith(where.startsWith("file:") ? where : address), `${where} asked for ${request.url()}`)
  );
  const answer = await page.goto(where);
  check(!answer || where.startsWith("file:") || answer.status() === 200, `${where}: status ${answer && answer.status()}`);
  return page;
}

async function picture(page, name) {
  if (pictures) await page.screenshot({ path: path.join(pictures, `${name}.png`), fullPage: true });
}

async function accessible(page, where) {
  await page.evaluate(axe.source);
  const found = await page.evaluate(() => window.axe.run());
  check(found.passes.length > 5, `${where}: axe-core judged next to nothing`);
  for (const fault of found.violations) {
    check(false, `${where}: ${fault.id}: ${fault.help}: ${fault.nodes.map((node) => node.html.slice(0, 120)).slice(0, 3).join(" | ")}`);
  }
}

// What a reader cannot read: words too small, cut off, or written over each other.
async function legible(page, where) {
  const seen = await page.evaluate(() => {
    const root = document.scrollingElement;
    const boxes = [...document.querySelectorAll(".life text")].map((text) => {
      const box = text.getBoundingClientRect();
      return { words: text.textContent, box, place: text.classList.contains("place"), left: box.left, right: box.right, top: box.top, bottom: box.bottom };
    });
    const over = [];
    for (let i = 0; i < boxes.length; ++i) {
      for (let j = i + 1; j < boxes.length; ++j) {
        const a = boxes[i], b = boxes[j];
        if (a.place || b.place) continue; // cut by its stay
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 1 && high > 4) over.push(`"${a.words}" and "${b.words}"`);
      }
    }
    const outside = boxes.filter((box) => !box.place && (box.left < -1 || box.right > root.clientWidth + 1)).map((box) => box.words);
    let smallest = 99;
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const words = walk.currentNode;
      if (!words.textContent.trim() || words.parentElement.closest("title, desc, script, style, noscript")) continue;
      smallest = Math.min(smallest, parseFloat(getComputedStyle(words.parentElement).fontSize));
    }
    return { over, outside, smallest, wide: root.scrollWidth, screen: root.clientWidth };
  });
  check(seen.wide <= seen.screen, `${where}: ${seen.wide} px wide on a screen of ${seen.screen}`);
  check(seen.over.length === 0, `${where}: words over words: ${seen.over.slice(0, 4).join("; ")}`);
  check(seen.outside.length === 0, `${where}: words off the screen: ${seen.outside.join("; ")}`);
  check(seen.smallest >= kSmallestLetter, `${where}: letters of ${seen.smallest} px`);
}

// Every page is looked at in every size; axe-core, which is slow, judges each kind of page.
async function looks(browser) {
  const judged = ["/", "/alerts", "/sensors", "/jar/F-08", "/jar/T-02", "/jar/T-03", "/jar/T-04"];
  for (const [size, name] of [[kPhone, "phone"], [kSmallPhone, "small"], [kDesk, "desk"]]) {
    const context = await browser.newContext(size);
    for (const target of kPages) {
      if (size === kSmallPhone && target.startsWith("/jar/")) continue; // as its report, below
      const page = await open(context, address + target);
      const where = `${target} (${name})`;
      await legible(page, where);
      if (size !== kSmallPhone && judged.includes(target)) await accessible(page, where);
      await picture(page, `${name}${target.replaceAll("/", "-")}`);
      await page.close();
    }
    await context.close();
  }
  const context = await browser.newContext(kSmallPhone);
  for (const jar of jars) {
    const page = await open(context, `file://${path.join(reports, jar)}.html`);
    await legible(page, `${jar}.html`);
    if (jar === "F-08") await accessible(page, `${jar}.html`);
    await page.close();
  }
  await context.close();
}

// On one sheet of A4.
async function one_sheet(page, where) {
  const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
  const sheets = (pdf.match(/\/Type\s*\/Page\b(?!s)/g) || []).length;
  check(sheets === 1, `${where} prints on ${sheets} sheets`);
  const box = pdf.match(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/);
  const a4 = box && Math.abs(box[1] - 595.3) < 1.5 && Math.abs(box[2] - 841.9) < 1.5;
  check(a4, `${where} prints on ${box && box[0]}, not on A4`);
  return Buffer.from(pdf, "latin1");
}

async function printed(browser) {
  const context = await browser.newContext(kDesk);
  for (const jar of jars) {
    const page = await open(context, `file://${path.join(reports, jar)}.html`);
    // A demo's jar is to be on the sheet as a whole.
    await page.emulateMedia({ media: "print" });
    await page.setViewportSize({ width: 703, height: 1050 }); // what A4 leaves between the margins
    const cut = await page.evaluate(() => {
      const columns = document.querySelector(".columns");
      return columns.scrollWidth - columns.clientWidth;
    });
    check(cut <= 0 || jar.startsWith("T-"), `${jar}.html has more than one sheet holds`);
    const pdf = await one_sheet(page, `${jar}.html`);
    if (pictures) fs.writeFileSync(path.join(pictures, `paper-${jar}.pdf`), pdf);
    await page.close();
  }
  for (const jar of ["F-08", "T-03"]) {
    const page = await open(context, `${address}/jar/${jar}`);
    await one_sheet(page, `/jar/${jar}`);
    // The fullest life there may be: cut at the end of the sheet, not continued.
    await page.evaluate(() => {
      for (const body of document.querySelectorAll("tbody")) body.innerHTML += body.innerHTML + body.innerHTML;
    });
    await one_sheet(page, `/jar/${jar}, three times as full`);
    await page.close();
  }
  await context.close();
}

async function by_keyboard(browser) {
  const context = await browser.newContext(kDesk);
  const page = await open(context, `${address}/`);
  await page.keyboard.press("Tab");
  const first = await page.evaluate(() => {
    const box = document.activeElement.getBoundingClientRect();
    return { words: document.activeElement.textContent, seen: box.left >= 0 && box.width > 0 };
  });
  check(first.words === "To the content" && first.seen, `the first stop is "${first.words}", seen: ${first.seen}`);
  const links = await page.evaluate(() => document.querySelectorAll("a").length);
  const reached = new Set();
  for (let i = 0; i < links; ++i) {
    const stop = await page.evaluate(() => {
      const here = document.activeElement, style = getComputedStyle(here);
      return { href: here.getAttribute("href"), outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 };
    });
    check(stop.outline, `${stop.href} is reached by keyboard and not shown to be`);
    reached.add(stop.href);
    await page.keyboard.press("Tab");
  }
  for (const jar of jars) check(reached.has(`/jar/${jar}`), `no key leads to jar ${jar}`);
  await page.focus(`a[href="/jar/${jars[0]}"]`);
  await page.keyboard.press("Enter");
  await page.waitForURL(`**/jar/${jars[0]}`);
  check((await page.textContent("h1")) === `Jar ${jars[0]}`, "Enter does not open a jar");
  await context.close();
}

// Serves the page with its first heading changed, as a new reading would change it.
async function change(page, more = (body) => body) {
  let times = 0;
  await page.route(address + "/", async (route) => {
    const answer = await route.fetch();
    times += 1;
    const body = (await answer.text()).replace("The shelves", `The shelves, look ${times}`);
    await route.fulfill({ response: answer, body: more(body), headers: { ...answer.headers(), etag: `"${times}"` } });
  });
}

async function keeps_the_place(browser) {
  const context = await browser.newContext(kPhone);
  const page = await context.newPage();
  await page.clock.install();
  await change(page);
  await page.goto(`${address}/`);
  await page.focus('main a[href="/jar/F-08"]');
  await page.evaluate(() => window.scrollTo(0, 400));
  const before = await page.evaluate(() => window.scrollY);
  await page.clock.fastForward(61000);
  await page.waitForFunction(() => /look [2-9]/.test(document.querySelector("h1").textContent));
  const after = await page.evaluate(() => ({ y: window.scrollY, href: document.activeElement.getAttribute("href") }));
  check(before > 200 && after.y === before, `a refresh moves the reader from ${before} to ${after.y}`);
  check(after.href === "/jar/F-08", `a refresh moves the focus to ${after.href}`);
  await context.close();
}

async function without_scripts(browser) {
  const context = await browser.newContext({ ...kPhone, javaScriptEnabled: false });
  for (const target of kPages) {
    const page = await open(context, address + target);
    check((await page.textContent("main")).trim().length > 20, `${target} is empty without scripts`);
    await page.close();
  }
  const page = await context.newPage();
  await change(page, (body) => body.replace('content="60"', 'content="1"'));
  await page.goto(`${address}/`);
  await page.mouse.wheel(0, 400);
  const first = page.locator("h1");
  await first.filter({ hasText: /look ([3-9]|\d\d)/ }).waitFor({ state: "attached", timeout: 20000 });
  const y = await page.evaluate(() => window.scrollY);
  check(y > 200, `without scripts a refresh moves the reader to ${y}`);
  await context.close();
}

async function main() {
  const browser = await chromium.launch({ executablePath: program, args: ["--no-sandbox"] });
  try {
    for (const part of [looks, printed, by_keyboard, keeps_the_place, without_scripts]) {
      const from = faults.length;
      await part(browser);
      console.log(`${part.name}: ${faults.length - from} faults`);
    }
  } finally {
    await browser.close();
  }
  for (const fault of faults) console.log(fault);
  console.log(`${checks} checks of ${kPages.length} pages and ${jars.length} reports, ${faults.length} faults`);
  process.exit(faults.length === 0 && jars.length > 12 ? 0 : 1);
}
main();
