// Opens a page in a browser, and counts what should not be there.
import { readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { parseArgs } from "node:util";

import { walked } from "./keys.mjs";

const modules = process.env.SLOWPOINT_BROWSER_MODULES;
const require = createRequire(path.join(modules, "package.json"));
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const { values: given } = parseArgs({
    args: process.argv.slice(3),
    options: { css: { type: "string" }, only: { type: "string" }, shots: { type: "boolean" }, times: { type: "boolean" } },
});
const css = given.css === undefined ? null : readFileSync(given.css, "utf8");

const { chromium } = require("playwright-core");
/// What states and stories have in their names that are looked at alone.
export const only = given.only ?? null;
/// Where the service is.
export const base = process.argv[2];
/// Where screenshots and sheets are kept, if they are asked for.
export const shots = given.shots ? path.join(modules, "shots") : null;
/// Of a page with everything on it, whether it is scrolled to or not.
export const MOST_BYTES = 120_000;

/// Nothing takes as long, on the slowest machine: what does has no end.
const NO_END_MS = 300_000;

export class NoEnd extends Error {}

/// Waits for something, and throws where it does not end.
export async function ending(what, ms = NO_END_MS) {
    let timer;
    const over = new Promise((_, failed) => {
        timer = setTimeout(() => failed(new NoEnd(`there is no end to it after ${ms / 1000} s`)), ms);
    });
    return Promise.race([what, over]).finally(() => clearTimeout(timer));
}

export async function launched(args = []) {
    return chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox", ...args] });
}

/// Closes a browser, a context or a page. That one does not close is no fault of what was looked at: a browser never answers whoever
/// closes a page that another is about to take the place of. It is killed as the program ends.
export async function closed(what) {
    await ending(what.close(), 20_000).catch((error) => console.log(`what is closed does not end: ${error.message}`));
}

/// A screenshot of a whole page, if they are asked for.
export async function shot(page, name) {
    if (shots !== null) await page.screenshot({ path: path.join(shots, `${name}.png`), fullPage: true });
}

/// Opens an address and watches what it asks for and says.
export async function opened(context, address, respond) {
    const page = await context.newPage();
    const seen = { said: [], away: [], bytes: 0, awaited: new Set() };
    page.on("console", (message) => {
        // That a page of a refusal has its status is no fault of the page, nor that faults of what was asked are told.
        const [failed, { url }] = [message.text().startsWith("Failed to load resource"), message.location()];
        const refused = failed && (url === address || (url.startsWith(`${base}/v1/`) && message.text().includes("status of 422")));
        // States are looked at without a worker between them and the server: what keeps it away says so.
        const kept_away = message.text() === "Service Worker registration blocked by Playwright";
        if (["error", "warning"].includes(message.type()) && !refused && !kept_away) seen.said.push(message.text());
    });
    page.on("pageerror", (error) => seen.said.push(String(error)));
    page.on("request", (request) => {
        if (!request.url().startsWith(`${base}/`)) seen.away.push(request.url());
    });
    const network = await context.newCDPSession(page);
    await network.send("Network.enable");
    await network.send("Network.setCacheDisabled", { cacheDisabled: true });
    network.on("Network.requestWillBeSent", ({ requestId }) => seen.awaited.add(requestId));
    network.on("Network.loadingFailed", ({ requestId }) => seen.awaited.delete(requestId));
    network.on("Network.loadingFinished", ({ requestId, encodedDataLength }) => {
        seen.awaited.delete(requestId);
        seen.bytes += encodedDataLength;
    });
    // What is elsewhere is counted, not fetched.
    await page.route((url) => !url.href.startsWith(`${base}/`), (route) => route.abort());
    if (css) await page.route("**/assets/*.css", (route) => route.fulfill({ body: css, contentType: "text/css" }));
    if (respond) await page.route(address, (route) => route.fulfill(respond));
    await page.goto(address, { waitUntil: "load" });
    await whole({ page, seen });
    return { page, seen };
}

/// Brings what a reader scrolls to as well, and the icon, which a browser without a window does not show, until all that was asked
/// for is there.
export async function whole({ page, seen }) {
    await page.evaluate(async () => {
        for (const image of document.images) image.loading = "eager";
        const icons = [...document.querySelectorAll("link[rel~=icon]")].map(({ href }) => Object.assign(new Image(), { src: href }));
        await Promise.all([...document.images, ...icons].map((image) => image.decode().catch(() => null)));
    });
    for (let wait = 0; seen.awaited.size > 0 && wait < 500; wait += 1) await page.waitForTimeout(10);
}

/// What axe finds, by all of its rules or by some. A debugger brings it, whom the page's policy does not bind.
async function byAxe(page, rules) {
    if (!await page.evaluate(() => "axe" in globalThis)) await page.evaluate(axe);
    const found = await page.evaluate((rules) => globalThis.axe.run(document, { resultTypes: ["violations"], ...rules }), rules);
    const nodes = (violation) => violation.nodes.slice(0, 3).map((node) => node.target.join(" ") + ": " + node.failureSummary);
    return found.violations.map((violation) => `${violation.id}: ${nodes(violation).join("; ")}`);
}

/// Counts that have to be 0, each with what it found.
export const GATES = {
    async axe({ page }) {
        return byAxe(page, {});
    },
    /// What darkness changes of it.
    async colours({ page }) {
        return byAxe(page, { runOnly: ["color-contrast", "link-in-text-block"] });
    },
    async scroll({ page }) {
        const over = await page.evaluate(() => {
            const { scrollWidth, clientWidth } = document.documentElement;
            const wider = [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > clientWidth + 1);
            return scrollWidth > clientWidth ? [`${scrollWidth} px in ${clientWidth}: ${wider.slice(0, 3).map((e) => e.outerHTML.slice(0, 80))}`] : [];
        });
        return over;
    },
    /// Tab reaches everything that can be pressed or scrolled, in what a key unfolds as well, in order, and shows where it is; and
    /// goes back the same way.
    async keyboard({ page }) {
        return walked(page);
    },
    /// A sheet is one page of either paper.
    async paper({ page, sheet }) {
        if (!sheet) return [];
        const found = [];
        for (const format of ["A4", "Letter"]) {
            const pdf = (await page.pdf({ format, preferCSSPageSize: false })).toString("latin1");
            const pages = pdf.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
            if (pages !== 1) found.push(`${pages} pages of ${format}`);
            if (shots !== null && sheet !== true) writeFileSync(path.join(shots, `${sheet}-${format}.pdf`), pdf, "latin1");
        }
        return found;
    },
    // What comes of all that stands above is counted, too.
    async console({ seen }) {
        return seen.said;
    },
    async away({ seen }) {
        return seen.away;
    },
    async bytes({ seen }) {
        return seen.bytes > MOST_BYTES ? [`${seen.bytes} bytes`] : [];
    },
};

/// What light and dark are each looked at for: a page is reached in the dark as it is in the light.
export const SCHEMES = { light: ["axe", "scroll"], dark: ["colours", "scroll"] };
/// What else a page is looked at for, once at each width.
export const OTHERWISE = Object.keys(GATES).filter((gate) => !Object.values(SCHEMES).flat().includes(gate));

export async function failing(opening, names = Object.keys(GATES)) {
    const failed = {};
    for (const name of names) {
        const gate = GATES[name];
        const found = await gate(opening);
        if (found.length > 0) failed[name] = found;
    }
    return failed;
}
