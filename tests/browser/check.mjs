// What a browser makes of the page: every state of it at three widths, light and dark, against gates that count; and stories, as
// people go through them. Each gate is tried on a page with a fault of its kind first, so that none of them passes by not looking.
import { mkdirSync, rmSync } from "node:fs";
import { createServer } from "node:http";
import { availableParallelism } from "node:os";

import { EMBEDDED } from "./embedded.mjs";
import { STORIES as ENTERING } from "./entry.mjs";
import { MOST_BYTES, NoEnd, OTHERWISE, SCHEMES, base, closed, ending, failing, launched, only, opened, shot, shots, whole } from "./gates.mjs";
import { STORIES as BY_KEYBOARD, FAULTS, SHOWN } from "./keyboard.mjs";
import { STORIES as OFFLINE } from "./offline.mjs";
import { STORIES as OF_SWEEPS } from "./sweep.mjs";
import { states } from "./states.mjs";

/// How many pages are looked at side by side.
const SIDE_BY_SIDE = Math.min(availableParallelism(), 4);
const WIDTHS = [320, 360, 1280];
/// Each: a name, and what is done with a browser; it throws where something is not as it should be.
const STORIES = [...OFFLINE, ...BY_KEYBOARD, ...ENTERING, ...EMBEDDED, ...OF_SWEEPS];

const html = (body, head = "") =>
    `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Planted</title>${head}</head><body><main><h1>Planted</h1>${body}</main></body></html>`;
/// Faults of each gate, by its name and what it is where there are several, and a page without any.
const PLANTED = {
    "none: dim": { body: html(`<p style="color:#6a6a6a">dim, of 5 to 1</p>`), scheme: "dark" },
    none: { body: html(`<p>Nothing is wrong here, <a href="/">nor below</a>.</p><details><summary>more</summary><button>press</button></details>`, SHOWN) },
    axe: { body: html(`<p style="color:#999">faint</p>`) },
    colours: {
        body: html(`<p id="faint">faint in the dark</p>`, "<style>@media (prefers-color-scheme: dark) { #faint { color: #999 } }</style>"),
        scheme: "dark",
    },
    scroll: { body: html(`<div style="width:2000px">wide</div>`) },
    console: {
        body: html(`<p style="color:#000">a style that the policy forbids</p>`),
        headers: { "content-security-policy": "default-src 'none'" },
    },
    away: { body: html(`<img src="http://elsewhere.example/x.png" alt="from elsewhere">`) },
    bytes: { body: html(`<!-- ${"x".repeat(MOST_BYTES + 1)} -->`) },
    "bytes: far below": { body: html(`<p style="height:30000px">a picture far below</p><img src="/picture.svg" alt="heavy" loading="lazy">`) },
    ...Object.fromEntries(FAULTS.map(([name, body]) => [`keyboard: ${name}`, { body: html(body, SHOWN) }])),
    paper: { body: html(`<p>one</p><p style="break-before:page">two</p>`), sheet: true },
};

async function controls(browser) {
    let wrong = 0;
    const told = (noticed, fault) => {
        if (!noticed) wrong += 1;
        console.log(`${noticed ? "noticed" : "NOT NOTICED"}: ${fault}`);
    };
    told(await ending(new Promise(() => {}), 10).then(() => false, () => true), "what has no end");
    for (const [fault, planted] of Object.entries(PLANTED)) {
        const [gate] = fault.split(":");
        const failed = await ending(found(browser, gate, planted));
        const noticed = gate === "none" ? failed.length === 0 : failed.includes(gate);
        told(noticed, failed.length ? `${fault} (${failed.join(", ")})` : fault);
    }
    return wrong;
}

/// The gates that find something on a planted page.
async function found(browser, gate, { body, headers, scheme, sheet }) {
    const context = await browser.newContext({ viewport: { width: 360, height: 740 }, serviceWorkers: "block" });
    const served = { status: 200, contentType: "text/html", headers, body };
    // Bytes are counted on the wire, so that page comes from there.
    const opening = gate === "bytes" ? await counted(context, body) : await opened(context, `${base}/planted`, served);
    if (scheme) await opening.page.emulateMedia({ colorScheme: scheme });
    const failed = Object.keys(await failing({ ...opening, sheet }));
    await closed(context);
    return failed;
}

/// The same as `opened` for a page that a server of its own sends, with a picture.
async function counted(context, body) {
    const picture = `<svg xmlns="http://www.w3.org/2000/svg"><!-- ${"x".repeat(MOST_BYTES)} --></svg>`;
    const files = new Map([["/", ["text/html", body]], ["/picture.svg", ["image/svg+xml", picture]]]);
    const server = createServer(({ url }, response) => {
        const [type, text] = files.get(url) ?? ["text/plain", ""];
        response.setHeader("content-type", type);
        response.end(text);
    });
    await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
    const opening = await opened(context, `${base}/livez`);
    await opening.page.unrouteAll();
    await opening.page.goto(`http://127.0.0.1:${server.address().port}/`, { waitUntil: "load" });
    await whole(opening);
    server.close();
    return opening;
}

/// Looks at a state at a width: in the light, without opening it once more in the dark, and for all else. Its faults, and the bytes it
/// takes.
async function look(context, width, [name, where, sheet, prepare]) {
    const opening = await opened(context, base + where);
    const { page, seen } = opening;
    try {
        await prepare?.(page);
        const told = [];
        const hold = async (scheme, gates, sheet) => {
            const failed = await failing({ ...opening, sheet }, gates);
            told.push(...Object.entries(failed).map(([gate, found]) => `${name} at ${width} px, ${scheme}: ${gate}\n    ${found.join("\n    ")}`));
        };
        for (const [scheme, gates] of Object.entries(SCHEMES)) {
            await page.emulateMedia({ colorScheme: scheme });
            await hold(scheme, gates);
            await page.evaluate(() => document.activeElement?.blur());
            await shot(page, `${name}-${width}-${scheme}`);
        }
        await page.emulateMedia({ colorScheme: "light" });
        // Paper has no width: it is printed once.
        await hold("light", OTHERWISE, sheet && width === WIDTHS.at(-1) ? name : null);
        return { told, bytes: seen.bytes };
    } finally {
        await closed(page);
    }
}

/// A context for each width, made when it is needed.
function contextsOf(browser) {
    const made = new Map();
    return (width) => {
        if (!made.has(width)) made.set(width, browser.newContext({ viewport: { width, height: 740 }, serviceWorkers: "block" }));
        return made.get(width);
    };
}

async function main() {
    if (shots !== null) {
        rmSync(shots, { recursive: true, force: true });
        mkdirSync(shots, { recursive: true });
    }
    const begun = Date.now();
    const browser = await launched();
    let [wrong, looked, heaviest] = [only ? 0 : await controls(browser), 0, 0];
    const asked = ([name]) => only === null || name.includes(only);
    const all = (await ending(states())).filter(asked);
    const stories = STORIES.filter(asked);
    if (all.length + stories.length === 0) throw new Error(`no state and no story has "${only}" in its name`);
    // Stories wait for servers and are long: they come first, and looks fill what time there is.
    const work = [
        ...stories.map(([name, story]) => [name, async () => {
            await story(browser);
            console.log(`told: ${name}`);
        }]),
        ...WIDTHS.flatMap((width) => all.map((state) => [`${state[0]} at ${width} px`, async (contexts) => {
            const { told, bytes } = await look(await contexts(width), width, state);
            for (const fault of told) console.log(`WRONG: ${fault}`);
            [wrong, looked, heaviest] = [wrong + told.length, looked + 1, Math.max(heaviest, bytes)];
        }])),
    ];
    await Promise.all(Array.from({ length: SIDE_BY_SIDE }, async () => {
        const contexts = contextsOf(browser);
        while (work.length > 0) {
            const [name, done] = work.shift();
            try {
                await ending(done(contexts));
            } catch (error) {
                wrong += 1;
                console.log(`WRONG: ${name}: ${error.stack}`);
                // A browser that stands still would stand still for each of the others.
                if (error instanceof NoEnd) work.length = 0;
            }
        }
    }));
    await closed(browser);
    const seconds = Math.round((Date.now() - begun) / 1000);
    const summary = `${looked} states looked at in light and dark, ${wrong} faults; the heaviest takes ${heaviest} bytes; ${seconds} s\n`;
    process.stdout.write(summary, () => process.exit(wrong === 0 ? 0 : 1));
}

await main();
