// What a browser makes of the page: every state of it at three widths, light and dark, against gates that count. Each gate is
// tried on a page with a fault of its kind first, so that none of them passes by not looking.
import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { fileURLToPath } from "node:url";

const here = path.dirname(fileURLToPath(import.meta.url));
const modules = process.env.SLOWPOINT_BROWSER_MODULES;
const require = createRequire(path.join(modules, "package.json"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const base = process.argv[2];
const css = process.argv[3] === "--css" ? readFileSync(process.argv[4], "utf8") : null;
const shots = path.join(modules, "shots");
const examples = path.join(here, "../../server/examples");

const WIDTHS = [320, 360, 1280];
const MOST_BYTES = 120_000;

function example(name) {
    return JSON.parse(readFileSync(path.join(examples, name), "utf8"));
}

/// Posts to the API; the path of the answer below the page.
async function posted(where, body) {
    const reply = await fetch(base + where, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(body),
    });
    if (reply.status !== 200) throw new Error(`${where} was answered ${reply.status}: ${await reply.text()}`);
    return reply.headers.get("location").replace("/v1/", "/").replace("/assessments/", "/flights/");
}

/// A card in weather that is decoded throughout and of a known age: "under limit" has its colour. The bulletin is a published one
/// (its source stands with its decoder).
function dated() {
    const card = example("weather-report.json");
    delete card.weather.layers;
    card.weather.winds_aloft = [
        "DATA BASED ON 091200Z",
        "VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000",
        "",
        "FT  3000    6000    9000   12000   18000   24000  30000  34000  39000",
        "",
        "ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456",
        "",
    ].join("\n");
    return card;
}

/// A card as full as cards get: many delays, an altimeter, long names, old weather, drivers.
function fullest() {
    const card = example("weather-report.json");
    card.card.name = "A rocket whose name is as long as names of rockets get when nobody says stop (invented)";
    card.launch_at = "2026-11-10T09:30:00-07:00";
    card.delays = Array.from({ length: 26 }, (_, k) => 2 + k / 2);
    card.limits.deploy_speed = ["25 mph", "35 mph", "45 mph", "60 mph"];
    card.flights = 512;
    card.drivers = 256;
    return card;
}

/// A day longer than a sheet of paper, with an entry that cannot be flown.
function longest() {
    const day = example("days/meadow.json");
    const first = day.entries[0].name;
    day.flights = 256;
    for (let k = 0; k < 24; k += 1) {
        const changes = { card: { airframe: { mass: `${640 + 10 * k} g` } } };
        day.entries.push({ name: `flight ${k + 1} of somebody with a long name`, copy_of: first, changes });
    }
    day.entries.push({ name: "too heavy", copy_of: first, changes: { card: { airframe: { mass: "620 kg" } } } });
    return day;
}

/// Every state: a name, an address, whether it is a sheet of one page.
async function states() {
    const mapped = await posted("/v1/assessments", example("mapped-field.json"));
    const coloured = await posted("/v1/assessments", dated());
    const assumed = await posted("/v1/assessments", example("weather-report.json"));
    const full = await posted("/v1/assessments", fullest());
    const day = await posted("/v1/days", example("days/meadow.json"));
    const long = await posted("/v1/days", longest());
    const windier = example("days/meadow.json");
    windier.wind.surface.speed = "7 mph";
    const later = await posted("/v1/days", windier);
    const sweep = await posted("/v1/sweeps", example("sweeps/meadow.json"));
    const nowhere = "0".repeat(32);
    return [
        ["front", "/"],
        ["flight", mapped],
        ["flight-dated", `${coloured}?units=us`],
        ["flight-dated-sun", `${coloured}?theme=sun`],
        ["flight-assumed", assumed],
        ["flight-full", full],
        ["flight-sun", `${mapped}?theme=sun`],
        ["flight-embed", `${mapped}/embed`],
        ["day", day],
        ["day-long", `${long}?sort=chance`],
        ["day-empty", `${day}?only=failed`],
        ["day-since", `${later}?since=${day.split("/").pop()}`],
        ["day-sun", `${day}?theme=sun&units=us`],
        ["sweep", sweep],
        ["refusal", `/flights/${nowhere}`],
        ["sheet-flight", `${coloured}/sheet`, true],
        ["sheet-full", `${full}/sheet?units=us`, true],
        ["sheet-day", `${day}/sheet`, true],
        ["sheet-long", `${long}/sheet`, true],
    ];
}

/// Opens an address and watches what it asks for and says.
async function opened(context, address, respond) {
    const page = await context.newPage();
    const seen = { said: [], away: [], bytes: 0 };
    page.on("console", (message) => {
        // That a page of a refusal has its status is no fault of the page.
        const refused = message.text().startsWith("Failed to load resource") && message.location().url === address;
        if (["error", "warning"].includes(message.type()) && !refused) seen.said.push(message.text());
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
const GATES = {
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

async function failing(opening, names = Object.keys(GATES)) {
    const failed = {};
    for (const name of names) {
        const gate = GATES[name];
        const found = await gate(opening);
        if (found.length > 0) failed[name] = found;
    }
    return failed;
}

const html = (body, head = "") =>
    `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Planted</title>${head}</head><body><main><h1>Planted</h1>${body}</main></body></html>`;
/// Faults, one for each gate, and a page without any.
const PLANTED = {
    none: { body: html("<p>Nothing is wrong here.</p>") },
    axe: { body: html(`<p style="color:#999">faint</p>`) },
    scroll: { body: html(`<div style="width:2000px">wide</div>`) },
    console: {
        body: html(`<p style="color:#000">a style that the policy forbids</p>`),
        headers: { "content-security-policy": "default-src 'none'" },
    },
    away: { body: html(`<img src="http://elsewhere.example/x.png" alt="from elsewhere">`) },
    bytes: { body: html(`<!-- ${"x".repeat(MOST_BYTES + 1)} -->`) },
    keyboard: { body: html(`<a href="/" tabindex="-1">out of reach</a>`) },
    paper: { body: html(`<p>one</p><p style="break-before:page">two</p>`), sheet: true },
};

async function controls(browser) {
    let wrong = 0;
    for (const [fault, { body, headers, sheet }] of Object.entries(PLANTED)) {
        const context = await browser.newContext({ viewport: { width: 360, height: 740 } });
        const served = { status: 200, contentType: "text/html", headers, body };
        // Bytes are counted on the wire, so that page comes from there.
        const opening = fault === "bytes" ? await counted(context, body) : await opened(context, `${base}/planted`, served);
        const failed = Object.keys(await failing({ ...opening, sheet }));
        const noticed = fault === "none" ? failed.length === 0 : failed.includes(fault);
        if (!noticed) wrong += 1;
        console.log(`${noticed ? "noticed" : "NOT NOTICED"}: ${fault}${failed.length ? ` (${failed.join(", ")})` : ""}`);
        await context.close();
    }
    return wrong;
}

/// The same as `opened` for a page that a server of its own sends.
async function counted(context, body) {
    const { createServer } = await import("node:http");
    const server = createServer((_, response) => {
        response.setHeader("content-type", "text/html");
        response.end(body);
    });
    await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
    const opening = await opened(context, `${base}/livez`);
    await opening.page.unrouteAll();
    await opening.page.goto(`http://127.0.0.1:${server.address().port}/`, { waitUntil: "load" });
    server.close();
    return opening;
}

async function main() {
    rmSync(shots, { recursive: true, force: true });
    mkdirSync(shots, { recursive: true });
    const begun = Date.now();
    const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox"] });
    let [wrong, looked, heaviest] = [await controls(browser), 0, 0];
    const all = await states();
    for (const scheme of ["light", "dark"]) {
        for (const width of WIDTHS) {
            const context = await browser.newContext({ viewport: { width, height: 740 }, colorScheme: scheme });
            for (const [name, where, sheet] of all) {
                const opening = await opened(context, base + where);
                heaviest = Math.max(heaviest, opening.seen.bytes);
                // Paper has neither width nor darkness: it is printed once.
                const prints = sheet && scheme === "light" && width === 1280 ? name : null;
                // Nor is anything reached otherwise in the dark.
                const names = Object.keys(GATES).filter((gate) => gate !== "keyboard" || scheme === "light");
                const failed = await failing({ ...opening, sheet: prints }, names);
                // A screenshot shows what a reader scrolls to as well.
                await opening.page.evaluate(async () => {
                    document.activeElement?.blur();
                    for (const image of document.images) image.loading = "eager";
                    await Promise.all([...document.images].map((image) => image.decode().catch(() => null)));
                });
                await opening.page.screenshot({ path: path.join(shots, `${name}-${width}-${scheme}.png`), fullPage: true });
                for (const [gate, found] of Object.entries(failed)) {
                    wrong += 1;
                    console.log(`WRONG: ${name} at ${width} px, ${scheme}: ${gate}\n    ${found.join("\n    ")}`);
                }
                looked += 1;
                await opening.page.close();
            }
            await context.close();
        }
    }
    await browser.close();
    console.log(`${looked} states looked at, ${wrong} faults; the heaviest takes ${heaviest} bytes; ${Math.round((Date.now() - begun) / 1000)} s`);
    process.exitCode = wrong === 0 ? 0 : 1;
}

await main();
