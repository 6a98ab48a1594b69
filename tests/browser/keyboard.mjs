// Every story by keyboard alone: no pointer, and nothing is pressed or focused from outside. What is written down: `entry.mjs`.
import assert from "node:assert/strict";

import { example, posted } from "./examples.mjs";
import { base, closed } from "./gates.mjs";
import { hand } from "./keys.mjs";
import { asks, kept, meadow, story, text } from "./serving.mjs";

/// The focus is to be seen on planted pages.
export const SHOWN = "<style>:focus-visible { outline: 3px solid #b3005e }</style>";
const AROUND = (inner) => `<p><a href="/a">before</a></p>${inner}<p><a href="/b">behind</a></p>`;
/// What a keyboard cannot do, each on a page of its own: what it is, the page, and what cannot be reached on it, and whether on the
/// way back.
export const FAULTS = [
    ["out of reach", AROUND(`<p><a href="/" tabindex="-1">it</a></p>`), "it"],
    ["out of order", AROUND(`<p><a href="/" tabindex="1">it</a></p>`), "behind"],
    ["not to be seen", AROUND(`<p><a href="/" id="it">it</a></p><style>#it:focus-visible { outline: none }</style>`), "it"],
    ["thinly outlined", AROUND(`<p><a href="/" id="it">it</a></p><style>#it:focus-visible { outline: 1px solid #000 }</style>`), "it"],
    ["beside the page", AROUND(`<p><a href="/" style="position:absolute;left:-99rem">it</a></p>`), "it"],
    ["a trap", AROUND(`<p><button onkeydown="if (event.key === 'Tab') event.preventDefault()">it</button></p>`), "behind"],
    ["a trap of two", AROUND(`<p><button id="it">it</button> <button onfocus="document.getElementById('it').focus()">other</button></p>`), "behind"],
    ["no way back", AROUND(`<p><button onkeydown="if (event.shiftKey) event.preventDefault()">it</button></p>`), "before", true],
    ["not unfolded", AROUND(`<details><summary onkeydown="if (event.key === 'Enter') event.preventDefault()">more</summary><a href="/">it</a></details>`), "it"],
];

/// Whoever goes by keyboard notices each of these.
async function noticing({ page, keys }) {
    const planted = async (body) => {
        // Nothing of the page before it is left.
        await keys.open("about:blank");
        await page.setContent(`<!doctype html><html lang="en"><head><title>Planted</title>${SHOWN}</head><body>${body}</body></html>`);
    };
    for (const [name, body, unreached, back = false] of FAULTS) {
        await planted(body);
        if (back) await keys.to("behind");
        const reached = await keys.to(unreached, back).then(() => true, () => false);
        assert.equal(reached, false, `not noticed: ${name}`);
    }
    await planted(AROUND(""));
    await keys.to("behind");
    await keys.to("before", true);
}

/// From the front page to a flight of an invented day, and back.
async function fromTheFront({ page, keys }) {
    await keys.open(`${base}/`);
    await keys.follow("Write a day down");
    await keys.enter("Begin with an invented day");
    await page.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
    assert.equal((await keys.stands()).called, "Begin with an invented day");
    await keys.enter("Ask");
    await page.waitForURL(/\/days\/[0-9a-f]{32}/, { timeout: 120_000 });
    const day = page.url();
    await keys.follow("To the figures");
    assert.equal(new URL(page.url()).hash, "#main");
    // The first that it leads to stands in the figures.
    await keys.tab();
    assert.equal(await page.evaluate(() => document.activeElement.closest("main") !== null), true);
    const [name] = example("days/meadow.json").entries.map((entry) => entry.name);
    await keys.follow(name);
    assert.equal(await text(page, "h1"), example("days/meadow.json").entries[0].card.name);
    // A cell leads to its row, and the keyboard goes on from there.
    await keys.follow(/^delay 8 s/);
    assert.match(await text(page, "tr:target"), /^delay 8 s/);
    const after = await keys.tab();
    assert.equal(after.called, "When and how fast each delay opens");
    await keys.follow("delay 10 s");
    assert.match(await text(page, "#landing ~ figure figcaption"), /delay 10 s/);
    // The way back is the browser's own key, of which a page knows nothing.
    await page.goBack();
    await page.goBack();
    await page.goBack();
    assert.equal(page.url().split("#")[0], day);
    await keys.follow("Slowpoint");
    assert.equal(new URL(page.url()).pathname, "/");
}

async function sorted({ page, keys }) {
    await keys.open(base + await posted("/v1/days", example("days/meadow.json")));
    const names = () => page.locator(".flights h3 a").allInnerTexts();
    const before = await names();
    await keys.enter(/^Shown: all flights/);
    await keys.follow("by the best delay, worst first");
    assert.match(page.url(), /\?sort=chance#flights$/);
    assert.deepEqual([...await names()].sort(), [...before].sort());
    // What was chosen is where the keyboard goes on.
    assert.equal((await keys.tab()).called, "Shown: all flights, by the best delay, worst first");
    await keys.press("Space");
    await keys.follow("with reasons to hold");
    assert.match(page.url(), /\?sort=chance&only=hold#flights$/);
    await keys.enter(/^Shown: with reasons to hold/);
    await keys.follow("all flights");
    assert.equal((await names()).length, before.length);
}

async function shownOtherwise({ page, keys }) {
    await keys.open(base + await posted("/v1/days", example("days/meadow.json")));
    assert.match(await text(page, ".cell .speed"), /m\/s$/);
    await keys.follow("mph");
    assert.match(await text(page, ".cell .speed"), /mph$/);
    await keys.follow("sunlight");
    assert.equal(await page.evaluate(() => document.documentElement.className), "sun");
    // The link of the first flight: both are carried on.
    await keys.follow(example("days/meadow.json").entries[0].name);
    assert.match(page.url(), /\?units=us&theme=sun$/);
    await keys.follow("m/s");
    await keys.follow("dark");
    assert.match(page.url(), /\?theme=dark$/);
    assert.match(await text(page, ".cell .speed"), /m\/s$/);
}

async function printed({ page, keys }) {
    for (const address of [await posted("/v1/days", example("days/meadow.json")), await posted("/v1/assessments", example("weather-report.json"))]) {
        await keys.open(base + address);
        await keys.follow("One page to print");
        assert.equal(new URL(page.url()).pathname, `${address}/sheet`);
        await keys.follow("Back to the figures");
        assert.equal(new URL(page.url()).pathname, address);
    }
}

async function hours({ page, keys }) {
    await keys.open(base + await posted("/v1/sweeps", example("sweeps/meadow.json")));
    const name = "Chance of an unsafe opening by setting and delay";
    await keys.to(name);
    const table = page.locator(`[aria-label="${name}"]`).first();
    const labels = await table.locator("tbody th").allInnerTexts();
    assert.ok(labels.length > 1, `${labels}`);
    // Every column of an hour is come to by arrows, and the hour stays beside it.
    const ends = () => table.evaluate((own) => own.scrollLeft + own.clientWidth >= own.scrollWidth - 1);
    assert.equal(await ends(), false, "at 360 px it is wider than the screen");
    for (let press = 0; press < 200 && !await ends(); press += 1) {
        await keys.press("ArrowRight");
        await page.waitForTimeout(20);
    }
    assert.equal(await ends(), true);
    const [left, head] = await Promise.all([table, table.locator("tbody th").last()].map((part) => part.boundingBox()));
    assert.ok(Math.abs(left.x - head.x) < 2 && await table.locator("tbody th").last().innerText() === labels.at(-1));
    // And what is below it.
    await keys.to("JSON, all of it");
}

async function givenUp({ server, page, keys }) {
    await keys.open(`${server.base}/`);
    const watched = await asks(page, server, 100_000);
    await keys.open(`${server.base}/jobs/${watched.job}?look=${watched.look}`);
    // Whoever stands in a row that is replaced by a newer one keeps their place.
    const rows = meadow().entries.map((entry) => entry.name);
    assert.equal(await page.locator("#row-1.look").count(), 1);
    await keys.to(rows[1]);
    assert.equal(await page.locator("#row-1.look").count(), 1, "it is not replaced before it is stood in");
    await page.waitForSelector("#row-1:not(.look)", { timeout: 240_000 });
    assert.deepEqual(await keys.stands(), { called: rows[1], seen: true });
    const asked = await asks(page, server, 600_000);
    await keys.open(`${server.base}/jobs`);
    await keys.follow("The day");
    assert.equal(new URL(page.url()).pathname, `/jobs/${asked.job}`);
    // It is led back to where it stands: what tells of it may have come before, over the stream.
    await Promise.all([page.waitForEvent("load"), keys.enter("Give it up")]);
    await page.getByText("It was given up. Post it again to begin anew.").waitFor();
    await keys.follow("Your jobs");
}

async function signsIn({ server, page, keys }) {
    const day = await server.day(meadow());
    await keys.open(server.base + day);
    await keys.to("Token");
    await keys.type(server.secrets[0]);
    await keys.to(/^Stay signed in/);
    await keys.press("Space");
    assert.equal(await page.locator("#stays").isChecked(), true);
    await keys.enter("Sign in");
    await page.locator(".flights .cell").first().waitFor();
    await keys.follow("Slowpoint");
    await keys.follow("Sign in");
    await keys.to("Sign out");
    await keys.press("Space");
    await page.getByLabel("Token").waitFor();
    await keys.to("Token");
    assert.equal((await page.goto(server.base + day)).status(), 401);
}

async function passedOn({ server, page, keys }) {
    await keys.open(server.base + await server.day(meadow()));
    await keys.follow("Link for a phone");
    await keys.to("For how long");
    const before = await page.locator("#hours").inputValue();
    await keys.press("ArrowDown");
    assert.notEqual(await page.locator("#hours").inputValue(), before);
    await keys.enter("Make a link");
    await page.waitForSelector("svg.qr");
    // The link is longer than the screen is wide.
    await keys.to("The link");
    await keys.press("ArrowRight");
    await page.waitForFunction(() => document.activeElement.scrollLeft > 0);
    await keys.follow("Back to the figures");
}

async function keptHere({ server, page, keys }) {
    await keys.open(`${server.base}/`);
    await kept(page);
    await keys.open(server.base + await server.day(meadow()));
    await kept(page);
    const saving = page.waitForEvent("download");
    await keys.enter("Save this day");
    assert.match((await saving).suggestedFilename(), /^slowpoint-day-.*\.html$/);
    await keys.enter("Keep this day here");
    await page.waitForFunction(() => document.getElementById("kept-day").textContent.startsWith("All of it is kept here"));
    // Nobody loses their place while it is kept.
    assert.deepEqual(await keys.stands(), { called: "Keep this day here", seen: true });
    await server.stop();
    await keys.open(`${server.base}/`);
    await page.waitForSelector("#kept-list li");
    await keys.follow(/^The day: /);
    assert.match(await text(page, ".kept"), /Kept on this device/);
    await keys.follow(meadow().entries[1].name);
    assert.match(await text(page, ".kept"), /Kept on this device/);
    await keys.follow("One page to print");
    await keys.follow("Back to the figures");
}

/// Whatever is added, removed and put back where a day is written: the keyboard goes on beside it.
async function written({ page, keys }) {
    const stands = async () => (await keys.stands()).called;
    await keys.open(`${base}/new`);
    await keys.enter("Begin with an invented day");
    await page.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
    await keys.enter("Copy this flight");
    assert.match(await stands(), /^What the flight is called today/);
    await keys.enter("Remove this flight", true);
    assert.equal(await stands(), "Put it back");
    await keys.press("Enter");
    assert.match(await stands(), /, 4 of 4$/);
    await keys.enter("Add area");
    assert.match(await stands(), /^Name of the area/);
    await keys.enter("Remove area 3");
    assert.equal(await stands(), "Add area");
    // Choosing a form brings its fields, below where it is chosen.
    await keys.enter("How uncertain each figure is");
    await keys.to("Drag");
    await keys.type("normal");
    await keys.to(/^Mean/);
    const saving = page.waitForEvent("download");
    await keys.enter("Save as a file", true);
    await saving;
    assert.equal(await stands(), "Save as a file");
}

/// A story on the pages of the service that all states are of.
const reading = (name, told) => [name, async (browser) => {
    const context = await browser.newContext({ viewport: { width: 360, height: 740 }, serviceWorkers: "block" });
    try {
        const page = await context.newPage();
        await told({ page, keys: hand(page) });
    } finally {
        await closed(context);
    }
}];
const own = (name, told, more) => story(name, ({ page, server }) => told({ page, server, keys: hand(page) }), more);

export const STORIES = [
    reading("by keyboard: what a keyboard cannot do is noticed", noticing),
    reading("by keyboard: from the front page to a flight and back", fromTheFront),
    reading("by keyboard: a day is sorted, and some of it shown", sorted),
    reading("by keyboard: other units and colours", shownOtherwise),
    reading("by keyboard: to what is printed and back", printed),
    reading("by keyboard: the hours of a sweep", hours),
    own("by keyboard: work is watched and given up", givenUp),
    own("by keyboard: somebody signs in and out", signsIn, { tokens: ["table"] }),
    own("by keyboard: a link is made", passedOn),
    own("by keyboard: a day is saved and kept", keptHere),
    reading("by keyboard: what is added and removed while writing", written),
];
