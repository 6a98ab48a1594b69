// Opens a page in a browser, and counts what should not be there.
import { readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";

const modules = process.env.SLOWPOINT_BROWSER_MODULES;
const require = createRequire(path.join(modules, "package.json"));
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const css = process.argv[3] === "--css" ? readFileSync(process.argv[4], "utf8") : null;

export const { chromium } = require("playwright-core");
/// Where the service is.
export const base = process.argv[2];
/// Screenshots and sheets.
export const shots = path.join(modules, "shots");
export const MOST_BYTES = 120_000;

/// Opens an address and watches what it asks for and says.
export async function opened(context, address, respond) {
    const page = await context.newPage();
    const seen = { said: [], away: [], bytes: 0 };
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
    network.on("Network.loadingFinished", ({ encodedDataLength }) => {
        seen.bytes += encodedDataLength;
    });
    // What is elsewhere is counted, not fetched.
    await page.route((url) => !url.href.startsWith(`${base}/`), (route) => route.abort());
    if (css) await page.route("**/assets/*.css", (route) => route.fulfill({ body: css, contentType: "text/css" }));
    if (respond) await page.route(address, (route) => route.fulfill(respond));
    await page.goto(address, { waitUntil: "load" });
    return { page, seen };
}

/// Counts that have to be 0, each with what it found.
export const GATES = {
    async axe({ page }) {
        // In a world of its own: the page's policy holds for the page.
        await page.evaluate(axe);
        const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
        const nodes = (violation) => violation.nodes.slice(0, 3).map((node) => node.target.join(" ") + ": " + node.failureSummary);
        return found.violations.map((violation) => `${violation.id}: ${nodes(violation).join("; ")}`);
    },
    async scroll({ page }) {
        const over = await page.evaluate(() => {
            const { scrollWidth, clientWidth } = document.documentElement;
            const wider = [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > clientWidth + 1);
            return scrollWidth > clientWidth ? [`${scrollWidth} px in ${clientWidth}: ${wider.slice(0, 3).map((e) => e.outerHTML.slice(0, 80))}`] : [];
        });
        return over;
    },
    async console({ seen }) {
        return seen.said;
    },
    async away({ seen }) {
        return seen.away;
    },
    async bytes({ seen }) {
        return seen.bytes > MOST_BYTES ? [`${seen.bytes} bytes`] : [];
    },
    /// Tab reaches everything that can be pressed or scrolled, in what Enter unfolds as well, and shows where it is.
    async keyboard({ page }) {
        const wanted = await page.evaluate(() => {
            const reach = "a[href], summary, button, input, select, textarea, [role=region], [tabindex='0']";
            const shown = (e) => e.getClientRects().length > 0;
            const all = [...document.querySelectorAll(reach)].filter(shown);
            all.forEach((e, k) => e.setAttribute("data-reach", String(k)));
            return all.map((e) => e.outerHTML.slice(0, 80));
        });
        await page.evaluate(() => {
            document.activeElement?.blur();
            window.scrollTo(0, 0);
        });
        const reached = new Set();
        const unseen = [];
        for (let press = 0; press < wanted.length + 5; press += 1) {
            await page.keyboard.press("Tab");
            const at = await page.evaluate(() => {
                const e = document.activeElement;
                const style = getComputedStyle(e);
                const visible = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
                const folded = e.tagName === "SUMMARY" && !e.parentElement.open;
                return { reach: e.getAttribute("data-reach"), visible, folded };
            });
            if (at.reach === null) continue;
            if (at.folded) await page.keyboard.press("Enter");
            reached.add(at.reach);
            if (!at.visible) unseen.push(at.reach);
        }
        const told = wanted.filter((_, k) => !reached.has(String(k))).map((e) => `not reached: ${e}`);
        return told.concat(unseen.map((k) => `no focus to be seen: ${wanted[k]}`));
    },
    /// A sheet is one page of either paper.
    async paper({ page, sheet }) {
        if (!sheet) return [];
        const found = [];
        for (const format of ["A4", "Letter"]) {
            const pdf = (await page.pdf({ format, preferCSSPageSize: false })).toString("latin1");
            const pages = pdf.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
            if (pages !== 1) found.push(`${pages} pages of ${format}`);
            if (sheet !== true) writeFileSync(path.join(shots, `${sheet}-${format}.pdf`), pdf, "latin1");
        }
        return found;
    },
};

export async function failing(opening, names = Object.keys(GATES)) {
    const failed = {};
    for (const name of names) {
        const gate = GATES[name];
        const found = await gate(opening);
        if (found.length > 0) failed[name] = found;
    }
    return failed;
}
