// Stories of a phone at the field: what is kept without the network, work that is watched, signing in, and a link that is passed
// on. Each has a server of its own, which it can stop.
import assert from "node:assert/strict";
import { writeFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

import { GATES, SCHEMES, closed, failing, shot } from "./gates.mjs";
import { asks, kept, meadow, story, text, until } from "./serving.mjs";

/// A name of the server for which a browser has no leave to keep anything: plain HTTP, not this machine's own name.
const FIELD = ["--host-resolver-rules=MAP field.example 127.0.0.1"];

async function axe(page) {
    assert.deepEqual(await GATES.axe({ page }), []);
}

/// Looks at a page as states are looked at: at each width, light and dark.
async function lookedAt(page, name, widths = [320, 1280, 360]) {
    for (const width of widths) {
        await page.setViewportSize({ width, height: 740 });
        for (const [colorScheme, gates] of Object.entries(SCHEMES)) {
            await page.emulateMedia({ colorScheme });
            await shot(page, `${name}-${width}-${colorScheme}`);
            assert.deepEqual(await failing({ page }, gates), {}, `${name} at ${width} px, ${colorScheme}`);
        }
    }
    await page.emulateMedia({ colorScheme: "light" });
}

/// Opens an address although there may be no answer; whether there was one.
async function reached(page, address) {
    return page.goto(address).then(() => true, () => false);
}

async function withoutNetwork({ server, browser, page }) {
    const day = await server.day(meadow());
    // Control: a browser that keeps nothing shows nothing.
    const bare = await browser.newContext({ serviceWorkers: "block" });
    const forgetful = await bare.newPage();
    await forgetful.goto(server.base + day);
    await page.goto(`${server.base}/`);
    await kept(page);
    assert.match(await text(page, "[data-keeping=here]"), /Nothing yet/);
    await page.goto(`${server.base}/new`);
    await kept(page);
    await page.goto(server.base + day);
    await kept(page);
    await page.locator(".flights h3 a").first().click();
    await kept(page);
    const flight = new URL(page.url()).pathname;
    assert.equal(await page.locator(".kept").count(), 0, "what the server says has no age");
    // The map as well, to which nobody has scrolled.
    await until(page, async () => {
        const pictures = [...document.images].map((image) => image.src);
        const kept = await Promise.all(pictures.map((picture) => caches.match(picture, { ignoreVary: true })));
        return pictures.length > 1 && kept.every(Boolean);
    });
    await server.stop();
    assert.equal(await reached(forgetful, server.base + day), false, "the server was to be away");
    await closed(bare);
    await page.goto(`${server.base}/`);
    assert.match(await text(page, ".kept"), /Kept on this device (less than a minute|\d+ min) ago/);
    await page.waitForSelector("#kept-list li");
    const listed = await text(page, "#kept-list");
    assert.match(listed, /The day: .+ \((less than a minute|\d+ min) ago\)/);
    await lookedAt(page, "kept-front");
    await page.locator(`#kept-list a[href^="${day}"]`).click();
    await page.waitForURL(`**${day}`);
    assert.match(await text(page, ".kept"), /Kept on this device/);
    assert.ok(await page.locator(".flights .cell").count() > 3);
    const size = await page.locator(".kept").evaluate((told) => parseFloat(getComputedStyle(told).fontSize));
    const usual = await page.locator("main p").first().evaluate((told) => parseFloat(getComputedStyle(told).fontSize));
    assert.ok(size >= 1.5 * usual, `${size} px among ${usual}`);
    assert.equal(await page.locator(".kept").getAttribute("role"), "status");
    assert.ok((await page.locator(".kept").boundingBox()).y < 5, "before all else");
    await lookedAt(page, "kept-day");
    // Where a day is written down, though nobody opened it at this address.
    await page.goto(`${server.base}/new?units=us`);
    assert.match(await text(page, ".kept"), /Kept on this device/);
    // A flight with its pictures; in other units as it was; of others that they are not here.
    for (const other of ["", "?units=us"]) {
        await page.goto(server.base + flight + other);
        assert.match(await text(page, ".kept"), /Kept on this device/);
        const drawn = await page.locator("img.picture").evaluateAll((images) => images.map((image) => {
            image.loading = "eager";
            return image.decode().then(() => image.naturalWidth > 0, () => false);
        }).reduce(async (all, one) => [...await all, await one], []));
        assert.ok(drawn.length > 1 && drawn.every(Boolean), `pictures: ${drawn}`);
    }
    await page.goto(`${server.base}/flights/${"0".repeat(32)}`);
    assert.match(await text(page, "main"), /The server does not answer, and this page was not opened on this device/);
    await page.waitForSelector("#kept-list li");
    await lookedAt(page, "kept-nowhere");
    // Its age is that of when it was kept, not of when it is shown.
    await page.evaluate(async () => {
        for (const name of (await caches.keys()).filter((name) => name.includes("pages"))) {
            const cache = await caches.open(name);
            for (const key of await cache.keys()) {
                const reply = await cache.match(key);
                const headers = new Headers(reply.headers);
                headers.set("x-kept-at", String(Date.now() - (3 * 60 + 20) * 60_000 - 5000));
                await cache.put(key, new Response(await reply.blob(), { headers }));
            }
        }
    });
    await page.goto(server.base + day);
    assert.match(await text(page, ".kept"), /^Kept on this device 3 h 20 min ago/);
    // The server is back: nothing of it is left.
    await server.start();
    await page.goto(server.base + day);
    assert.equal(await page.locator(".kept").count(), 0);
    // What may not be read any more is not kept any longer.
    const gone = await page.evaluate(async (flight) => {
        const cache = await caches.open((await caches.keys()).find((name) => name.includes("pages")));
        const nowhere = new URL(`/days/${"0".repeat(32)}`, location.href).href;
        await cache.put(nowhere, new Response("<html><body>", { headers: { "content-type": "text/html", "x-kept-at": "1" } }));
        await fetch(nowhere);
        for (let k = 0; k < 1000 && await cache.match(nowhere); k += 1) await new Promise((soon) => setTimeout(soon, 20));
        return [await cache.match(nowhere) === undefined, await cache.match(new URL(flight, location.href).href) !== undefined];
    }, flight);
    assert.deepEqual(gone, [true, true]);
}

async function wholeDay({ server, page }) {
    const day = await server.day(meadow());
    await page.goto(server.base + day);
    await kept(page);
    await page.locator("#keep-day").click();
    await page.waitForFunction(() => document.getElementById("kept-day").textContent.startsWith("All of it is kept here"));
    await lookedAt(page, "kept-button");
    const flights = await page.locator(".flights h3 a").evaluateAll((links) => links.map((link) => link.pathname));
    await server.stop();
    assert.equal(flights.length, 3);
    for (const address of [...flights, ...flights.map((flight) => `${flight}/sheet`), `${day}/sheet`]) {
        await page.goto(server.base + address);
        assert.match(await text(page, ".kept"), /Kept on this device/, address);
        assert.equal(await page.locator("img").count() > 1, !address.endsWith("/sheet"), address);
        const drawn = await page.locator("img").evaluateAll(async (all) => {
            for (const image of all) image.loading = "eager";
            return Promise.all(all.map((image) => image.decode().then(() => true, () => false)));
        });
        assert.ok(drawn.every(Boolean), `${address}: ${drawn}`);
        // A sheet is one page with its age on it, too.
        if (address.endsWith("/sheet")) assert.deepEqual(await GATES.paper({ page, sheet: true }), [], address);
    }
    await axe(page);
}

async function savedFile({ server, browser, page }) {
    const base = `http://field.example:${server.port}`;
    const day = await server.day(meadow());
    await page.goto(base + day);
    assert.equal(await page.evaluate(() => isSecureContext), false);
    assert.match(await text(page), /Nothing is kept on this device: browsers let a page keep something only over HTTPS/);
    assert.equal(await page.locator("#keep-day").isVisible(), false);
    const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: "Save this day" }).click()]);
    assert.match(download.suggestedFilename(), /^slowpoint-day-[0-9a-f]{8}-\d{4}-\d\d-\d\d-\d{4}Z\.html$/);
    const file = path.join(server.data, download.suggestedFilename());
    await download.saveAs(file);
    await server.stop();
    const alone = await browser.newContext({ viewport: { width: 360, height: 740 }, offline: true });
    const asked = [];
    const open = async (what) => {
        const opened = await alone.newPage();
        opened.on("request", (request) => request.url() !== pathToFileURL(what).href && !request.url().startsWith("data:") && asked.push(request.url()));
        opened.on("console", (message) => ["error", "warning"].includes(message.type()) && asked.push(message.text()));
        await opened.goto(pathToFileURL(what).href);
        return opened;
    };
    const opened = await open(file);
    assert.deepEqual(asked, []);
    assert.match(await text(opened, ".kept"), /^Saved /);
    assert.equal(await opened.locator("article").count(), 3);
    const drawn = await opened.locator("img").evaluateAll((images) => Promise.all(images.map(async (image) => {
        image.loading = "eager";
        await image.decode();
        return image.naturalWidth > 0;
    })));
    assert.ok(drawn.length >= 6 && drawn.every(Boolean));
    // Its styles are let in by their sum.
    assert.equal(await opened.locator("body").evaluate((body) => getComputedStyle(body).marginTop), "0px");
    await opened.getByRole("link", { name: "Alpha" }).or(opened.locator("nav a")).first().click();
    assert.match(opened.url(), /#flight-1$/);
    assert.deepEqual(await GATES.scroll({ page: opened }), []);
    await lookedAt(opened, "saved-day");
    // Control: a file that loads something is seen to.
    const loading = path.join(server.data, "loading.html");
    writeFileSync(loading, `<!doctype html><html lang="en"><title>x</title><img src="http://field.example/x.png" alt="x">`);
    await open(loading);
    assert.notDeepEqual(asked, []);
    await closed(alone);
}

async function progress({ server, page, context }) {
    await page.goto(`${server.base}/`);
    // Longer than what is looked at below, on a machine that flies fast and draws slowly.
    const asked = await asks(page, server, 100_000);
    assert.deepEqual(asked.statuses, [200, 201]);
    const address = `${server.base}/jobs/${asked.job}?look=${asked.look}`;
    await page.goto(address);
    await page.locator(".flights .cell").first().waitFor();
    const shown = await page.evaluate(() => performance.timeOrigin + performance.now());
    console.log(`  from asking to the first estimate on the screen: ${Math.round(shown - asked.begun)} ms`);
    assert.equal(await page.locator(".flights > li").count(), 3);
    // Its rows come and replace each other: not at every width.
    await lookedAt(page, "progress", [360]);
    // A row comes without the page being loaded again.
    await page.evaluate(() => {
        globalThis.untouched = true;
    });
    const looks = () => page.locator(".flights > li.look").count();
    await page.waitForFunction(() => document.querySelectorAll(".flights > li.look").length < 3 || !document.getElementById("how-far"), null, { timeout: 60_000 });
    assert.equal(await page.evaluate(() => globalThis.untouched), true);
    assert.match(await text(page, "#heard"), /entries are done|waits/);
    // A reload and a locked screen lose nothing.
    const before = await looks();
    await page.reload();
    assert.ok(await looks() <= before);
    await page.evaluate(() => document.dispatchEvent(new Event("visibilitychange")));
    // Without script the page asks again by itself.
    const plain = await (await context.browser().newContext({ javaScriptEnabled: false })).newPage();
    let loads = 0;
    plain.on("request", (request) => request.isNavigationRequest() && (loads += 1));
    await plain.goto(address);
    await plain.waitForEvent("load", { timeout: 20_000 });
    assert.ok(loads >= 2, `${loads}`);
    await closed(plain.context());
    // It ends where the day is.
    await page.waitForURL(`**/days/${asked.job}`, { timeout: 120_000 });
    assert.equal(await page.locator(".flights > li").count(), 3);
    assert.equal(await page.locator(".look").count(), 0);
    await page.goBack();
    assert.equal(new URL(page.url()).pathname, "/", "the page of the job is not gone back to");
}

async function givenUp({ server, page }) {
    await page.goto(`${server.base}/`);
    const asked = await asks(page, server, 600_000);
    await page.goto(`${server.base}/jobs/${asked.job}?look=${asked.look}`);
    await page.locator(".flights .cell").first().waitFor();
    // By keyboard.
    for (let k = 0; k < 40 && await page.evaluate(() => document.activeElement.textContent) !== "Give it up"; k += 1) {
        await page.keyboard.press("Tab");
    }
    // It is led back to where it stands: what tells of it may have come before, over the stream.
    await Promise.all([page.waitForEvent("load"), page.keyboard.press("Enter")]);
    await page.getByText("It was given up. Post it again to begin anew.").waitFor();
    assert.equal(new URL(page.url()).pathname, `/jobs/${asked.job}`);
    assert.equal((await (await fetch(`${server.base}/v1/jobs/${asked.job}`)).json()).status, "dismissed");
    await lookedAt(page, "given-up");
    // One that is given up elsewhere is told of where it is watched.
    const other = await asks(page, server, 610_000);
    await page.goto(`${server.base}/jobs/${other.job}`);
    await page.waitForSelector("#how-far");
    await fetch(`${server.base}/v1/jobs/${other.job}`, { method: "DELETE" });
    await page.waitForFunction(() => document.getElementById("main").innerText.includes("It was given up"));
    await page.goto(`${server.base}/jobs`);
    assert.equal(await page.locator("tbody tr").count(), 2);
    await lookedAt(page, "jobs");
}

/// Over plain HTTP a browser says of a form only by `Origin` where it is from.
async function signsIn({ server, page, context }) {
    const [secret] = server.secrets;
    const day = await server.day(meadow());
    for (const base of [`http://field.example:${server.port}`, server.base]) {
        await page.goto(base + day);
        assert.match(await text(page, "main"), /This server shows it to whoever is signed in/);
        if (base === server.base) await lookedAt(page, "sign-in");
        await page.getByLabel("Token").fill("slowpoint_0");
        await page.keyboard.press("Enter");
        await page.waitForURL("**/sign-in");
        assert.match(await text(page, "main"), /The token is not known, was revoked, or its time is over/);
        await page.getByLabel("Token").fill(secret);
        await page.keyboard.press("Enter");
        await page.waitForURL(`**${day}`);
        assert.ok(await page.locator(".flights .cell").count() > 3);
        const [cookie] = await context.cookies(base);
        assert.deepEqual([cookie.httpOnly, cookie.sameSite, cookie.expires], [true, "Strict", -1]);
        assert.equal(await page.evaluate(() => document.cookie), "");
        const posted = await page.evaluate(async (body) => {
            const headers = { "content-type": "application/json" };
            return (await fetch("/v1/days", { method: "POST", headers, body: JSON.stringify(body) })).status;
        }, meadow(128));
        assert.equal(posted, 200);
        // From another site neither a form nor a link brings the cookie along.
        const elsewhere = await context.newPage();
        const action = `${base}/sign-out`;
        await elsewhere.route("http://elsewhere.example/", (route) => route.fulfill({
            contentType: "text/html", body: `<form method="post" action="${action}"><button>x</button></form>`,
        }));
        await elsewhere.goto("http://elsewhere.example/");
        // Until it stands there: a page is not closed while another is about to take its place.
        const asked = [elsewhere.waitForResponse(action), elsewhere.waitForURL(action), elsewhere.getByRole("button").click()];
        const [reply] = await Promise.all(asked);
        assert.equal(reply.status(), 403);
        await closed(elsewhere);
        assert.equal((await page.reload()).status(), 200, "still signed in");
        if (base === server.base) await kept(page);
        await page.goto(`${base}/sign-in`);
        assert.match(await text(page, "main"), /Signed in with the token table, which may compute/);
        await page.getByRole("button", { name: "Sign out" }).click();
        await page.getByLabel("Token").waitFor();
        assert.deepEqual(await context.cookies(base), []);
        assert.equal((await page.goto(base + day)).status(), 401);
        if (base === server.base) {
            const left = await page.evaluate(async () => (await caches.keys()).filter((name) => !name.includes("files")));
            for (const name of left) {
                const keys = await page.evaluate(async (name) => (await (await caches.open(name)).keys()).map((key) => key.url), name);
                assert.ok(!keys.some((key) => key.includes("/days/")), `${keys}`);
            }
        }
    }
    await server.stop();
    await page.goto(server.base + day);
    assert.match(await text(page, "main"), /was not opened on this device/, "what was kept went with signing out");
}

async function passedOn({ server, browser, page }) {
    const [secret] = server.secrets;
    const day = await server.day(meadow());
    await page.goto(`${server.base}${day}/share`);
    await page.getByLabel("Token").fill(secret);
    await page.keyboard.press("Enter");
    // It is at the same address: what stands there tells that it is there.
    await page.getByRole("button", { name: "Make a link" }).waitFor();
    await page.waitForLoadState();
    await lookedAt(page, "share");
    await page.getByRole("button", { name: "Make a link" }).click();
    await page.waitForSelector("svg.qr");
    const address = (await page.locator("pre code").innerText()).trim();
    assert.ok(address.startsWith(`${server.base}${day}?share=slowpoint_`), address);
    assert.ok(!(await page.content()).includes(secret));
    await lookedAt(page, "share-made");
    const phone = await browser.newContext({ viewport: { width: 360, height: 740 } });
    const other = await phone.newPage();
    assert.equal((await other.goto(server.base + day)).status(), 401, "control: not without the link");
    await other.goto(address);
    await kept(other);
    assert.ok(await other.locator(".flights .cell").count() > 3);
    assert.equal(await other.getByRole("link", { name: "Link for a phone" }).count(), 0);
    await other.locator(".flights h3 a").first().click();
    await kept(other);
    const flight = other.url();
    // Without the network by the link alone: no list names it, and the address without it shows nothing.
    await server.stop();
    for (const shown of [address, flight]) {
        await other.goto(shown);
        assert.match(await text(other, ".kept"), /Kept on this device/);
    }
    const wrong = new URL(address);
    wrong.searchParams.set("share", `slowpoint_${"0".repeat(64)}`);
    for (const shown of [server.base + day, wrong.href]) {
        await other.goto(shown);
        assert.match(await text(other, "main"), /was not opened on this device/);
        assert.equal(await other.locator("#kept-list li").count(), 0);
    }
    const keys = await other.evaluate(async () => {
        const all = [];
        for (const name of await caches.keys()) all.push(name, ...(await (await caches.open(name)).keys()).map((key) => key.url));
        return all.join(" ");
    });
    assert.ok(keys.includes(day) && !keys.includes("share="), keys);
    await closed(phone);
}

export const STORIES = [
    story("days that were opened are shown without the network, with their age", withoutNetwork),
    story("a whole day is kept before it is needed", wholeDay),
    story("a day is saved as a file that loads nothing", savedFile, { browser: FIELD }),
    story("work that is watched comes row by row and ends at its answer", progress),
    story("work that is watched is given up", givenUp),
    story("somebody signs in and out", signsIn, { tokens: ["table"], browser: FIELD }),
    story("a link that is passed on opens one day", passedOn, { tokens: ["table"] }),
];
