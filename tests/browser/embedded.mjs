// A club's site as `deploy/club-site.html` has it, on another origin than the service.
import { readFileSync } from "node:fs";
import { createServer } from "node:http";
import path from "node:path";
import { fileURLToPath } from "node:url";

import { example, posted } from "./examples.mjs";
import { base, closed, shot } from "./gates.mjs";

const site = path.join(path.dirname(fileURLToPath(import.meta.url)), "../../deploy/club-site.html");

function holds(what, found) {
    if (!found) throw new Error(what);
}

/// Serves a page on an origin of its own while something is done with it.
async function served(html, browser, done) {
    const server = createServer((_, response) => {
        response.setHeader("content-type", "text/html");
        response.end(html);
    });
    await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
    const context = await browser.newContext({ viewport: { width: 480, height: 900 } });
    try {
        const page = await context.newPage();
        await page.goto(`http://localhost:${server.address().port}/`, { waitUntil: "load" });
        await done(page);
    } finally {
        await closed(context);
        server.close();
    }
}

/// The first caution as the frame shows it; nothing where the frame was refused, which is not waited for as long as for one that is.
async function caution(page, timeout) {
    const frame = page.frames().find((other) => other !== page.mainFrame());
    const shown = frame?.locator(".caution").first();
    return shown?.textContent({ timeout }).catch(() => undefined);
}

async function framed(browser) {
    const flight = await posted("/v1/assessments", example("weather-report.json"));
    const id = flight.split("/").pop();
    const html = readFileSync(site, "utf8").replaceAll("YOUR-SERVER", new URL(base).host).replaceAll("FLIGHT", id);
    holds("the example has some 15 lines", html.trim().split("\n").length <= 15);
    await served(html, browser, async (page) => {
        holds("the frame shows the first caution", (await caution(page, 30_000))?.startsWith("An estimate from the listed assumptions."));
        const frame = page.frames().find((other) => other !== page.mainFrame());
        const told = await frame.evaluate(() => ({
            scripts: document.scripts.length,
            text: document.body.textContent,
            drawn: [...document.images].every((image) => image.complete && image.naturalWidth > 0),
        }));
        holds("the frame runs nothing", told.scripts === 0);
        holds("it says how old the weather is", /Weather: .*\sh from launch/.test(told.text));
        holds("it says its condition", told.text.includes("Condition: at most"));
        const drawn = await page.evaluate(() => [...document.images].every((image) => image.naturalWidth > 0));
        holds("its pictures are drawn", told.drawn && drawn);
        // The keyboard goes into the frame and comes out again, to what stands below it. Focus crosses into a frame of another
        // origin, which is a process of its own, some time after the key: the next key waits until it is there.
        const focused = async () => {
            const within = await frame.evaluate(() => `${document.hasFocus()} ${document.activeElement.outerHTML.slice(0, 200)}`);
            return { tag: await page.evaluate(() => document.activeElement.tagName), within };
        };
        const order = [];
        for (let press = 0, before = await focused(); press < 4; press += 1) {
            await page.keyboard.press("Tab");
            let now = await focused();
            for (let waited = 0; waited < 200 && now.tag === before.tag && now.within === before.within; waited += 1) {
                await page.waitForTimeout(50);
                now = await focused();
            }
            order.push(now.tag);
            before = now;
        }
        holds(`the page around it is reached: ${order}`, order.indexOf("IFRAME") >= 0 && order.indexOf("A") > order.indexOf("IFRAME"));
        await shot(page, "club-site");
    });
    // A page that others may not frame stays empty, so that the looks above are no looks at nothing.
    await served(html.replaceAll(`/flights/${id}/embed`, `/flights/${id}`), browser, async (page) => {
        holds("a page that may not be framed is not", (await caution(page, 2000)) === undefined);
    });
}

export const EMBEDDED = [["a club's site frames a flight", framed]];
