// What a browser makes of the page: every state of it at three widths, light and dark, against gates that count; and stories, as
// people go through them. Each gate is tried on a page with a fault of its kind first, so that none of them passes by not looking.
import { mkdirSync, rmSync } from "node:fs";
import path from "node:path";

import { EMBEDDED } from "./embedded.mjs";
import { STORIES as ENTERING } from "./entry.mjs";
import { GATES, MOST_BYTES, base, chromium, failing, opened, shots } from "./gates.mjs";
import { STORIES as OFFLINE } from "./offline.mjs";
import { states } from "./states.mjs";

const WIDTHS = [320, 360, 1280];
/// Each: a name, and what is done with a browser; it throws where something is not as it should be.
const STORIES = [...EMBEDDED, ...ENTERING, ...OFFLINE];

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
        const context = await browser.newContext({ viewport: { width: 360, height: 740 }, serviceWorkers: "block" });
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
            const context = await browser.newContext({ viewport: { width, height: 740 }, colorScheme: scheme, serviceWorkers: "block" });
            for (const [name, where, sheet, prepare] of all) {
                const opening = await opened(context, base + where);
                await prepare?.(opening.page);
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
    for (const [name, told] of STORIES) {
        try {
            await told(browser);
            console.log(`told: ${name}`);
        } catch (error) {
            wrong += 1;
            console.log(`WRONG: ${name}: ${error.stack}`);
        }
    }
    await browser.close();
    console.log(`${looked} states looked at, ${wrong} faults; the heaviest takes ${heaviest} bytes; ${Math.round((Date.now() - begun) / 1000)} s`);
    process.exitCode = wrong === 0 ? 0 : 1;
}

await main();
