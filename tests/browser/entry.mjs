// Writing a day down: states of the page, and stories as people go through them.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";

import { BULLETIN, example, examplePath } from "./examples.mjs";
import { base, closed } from "./gates.mjs";

const REPORT = "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999";
const DECODED = ["/weather/date", "/weather/metar", "/weather/winds_aloft", "/site/elevation", "/launch_at"];
const WRITTEN = ["2026-11-10", REPORT, BULLETIN, "5355 ft", "2026-11-10T02:30:00Z"];

const field = (page, pointer) => page.locator(`[id="${pointer}"]`);
const write = async (page, pointers, texts) => {
    for (const [k, pointer] of pointers.entries()) await field(page, pointer).fill(texts[k]);
};
const begun = async (page) => {
    await page.locator("#example").click();
    await page.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
};
const emptied = (page) => page.locator("#empty").click();
const asked = async (page) => {
    await page.locator("#ask").click();
    await page.waitForFunction(() => !document.getElementById("faults").hidden);
};
const decoded = async (page) => {
    await emptied(page);
    await write(page, DECODED, WRITTEN);
    await page.locator("#decode").click();
    await page.locator("#decoded table").waitFor();
    await page.locator("#decoded svg").waitFor();
};
/// The whole does not come: what is there is the first estimate.
const looked = async (page) => {
    await begun(page);
    await page.route("**/v1/days", (route) => (route.request().headers().prefer ? null : route.continue()));
    await page.locator("#ask").click();
    await page.locator("#look .cell").first().waitFor();
};

const added = (page, list) => page.locator(`[id="${list}"] > .press > [data-add]`).click();

/// A list of lists: two runs of cord, the first of two parts.
async function corded(page) {
    await begun(page);
    await page.locator("summary", { hasText: "Cord and tube edge" }).click();
    const cords = "/entries/0/cords/arrangements";
    for (const list of [cords, `${cords}/0/runs`, `${cords}/0/runs/0`, `${cords}/0/runs`]) await added(page, list);
}

/// States: a name, an address, no sheet, and what is done there first.
export const states = [
    ["new-empty", "/new", false, emptied],
    ["new-filled", "/new", false, begun],
    ["new-filled-sun", "/new?theme=sun", false, begun],
    [
        "new-faults",
        "/new",
        false,
        async (page) => {
            await begun(page);
            await write(page, ["/launch/rail_length", "/entries/0/card/airframe/mass", "/site/areas/0/circle/radius"], ["8 parsecs", "620 kg", ""]);
            await asked(page);
        },
    ],
    ["new-weather", "/new", false, decoded],
    ["new-look", "/new", false, looked],
    ["new-cord", "/new", false, corded],
];

async function at(browser, width, told, prepare = async () => {}) {
    const context = await browser.newContext({ viewport: { width, height: 740 } });
    try {
        await prepare(context);
        const page = await context.newPage();
        await page.goto(`${base}/new`);
        await told(page, context);
    } finally {
        await closed(context);
    }
}

/// What of a day is posted from now on: bodies of quick looks, and of the whole.
function posts(page) {
    const seen = { quick: [], whole: [] };
    page.on("request", (request) => {
        if (request.method() === "POST" && request.url() === `${base}/v1/days`) seen[request.headers().prefer ? "whole" : "quick"].push(request.postData());
    });
    return seen;
}

/// The id that a day has if it is posted as it is.
async function idOf(text) {
    const reply = await fetch(`${base}/v1/days?dry_run=true`, { method: "POST", headers: { "content-type": "application/json" }, body: text });
    return (await reply.json()).id;
}

/// Waits until the page has left for the day, or for the job that makes it, and that has ended. Its id.
async function left(page) {
    await page.waitForURL(/\/(days|jobs)\/[0-9a-f]{32}/);
    const id = new URL(page.url()).pathname.split("/")[2];
    if (page.url().includes("/jobs/")) assert.match(page.url(), /look=[0-9a-f]{32}/);
    for (let k = 0; k < 600; k += 1) {
        if ((await fetch(`${base}/v1/days/${id}`)).status === 200) return id;
        await new Promise((later) => setTimeout(later, 100));
    }
    throw new Error(`day ${id} does not come`);
}

/// Something that has to fail.
async function notices(what, check) {
    let failed = false;
    try {
        await check();
    } catch {
        failed = true;
    }
    assert.ok(failed, `not noticed: ${what}`);
}

/// Tab until something has the focus.
async function tabTo(page, id) {
    for (let press = 0; press < 400; press += 1) {
        if (await page.evaluate((id) => document.activeElement.id === id, id)) return;
        await page.keyboard.press("Tab");
    }
    throw new Error(`Tab does not reach ${id}`);
}

const FLIGHT = [
    ["/entries/0/name", "pad 4"],
    ["/entries/0/card/name", "Example three (invented)"],
    ["/entries/0/card/airframe/mass", "3.4 oz"],
    ["/entries/0/card/airframe/centre_of_gravity", "290 mm"],
    ["/entries/0/card/airframe/length", "450 mm"],
    ["/entries/0/card/airframe/diameter", "0.0250"],
    ["/entries/0/card/motor/code", "C6-5"],
    ["/entries/0/delays", "3, 5 s, 7"],
    ["/entries/0/card/recovery/first/kind", "parachute"],
    ["/entries/0/card/recovery/first/diameter", "12 in"],
    ["/entries/0/card/airframe/centre_of_pressure", "345 mm"],
    ["/entries/0/card/airframe/drag_coefficient", "0.6"],
    ["/launch/rail_length", "3 ft"],
    ["/wind/surface/speed", "5 mph"],
    ["/wind/surface/direction", "250 deg"],
    ["/wind/surface/measuring_height", "2 m"],
];
const TYPED = {
    entries: [
        {
            name: "pad 4",
            card: {
                name: "Example three (invented)",
                airframe: { mass: "3.4 oz", centre_of_gravity: "290 mm", length: "450 mm", diameter: 0.025, centre_of_pressure: "345 mm", drag_coefficient: 0.6 },
                motor: { code: "C6-5" },
                recovery: { first: { kind: "parachute", diameter: "12 in" } },
            },
            delays: [3, "5 s", 7],
        },
    ],
    launch: { rail_length: "3 ft" },
    wind: { surface: { speed: "5 mph", direction: "250 deg", measuring_height: "2 m" } },
};

/// Holds back what is asked for; lets it go when it is called.
async function held(page, addresses, which = () => true) {
    let go;
    const gone = new Promise((now) => {
        go = now;
    });
    await page.route(addresses, async (route) => {
        if (which(route.request())) await gone;
        await route.continue();
    });
    return go;
}

async function typed(page) {
    const seen = posts(page);
    // The whole is held back until the first estimate was seen.
    const go = await held(page, "**/v1/days", (request) => request.headers().prefer);
    for (const [pointer, text] of FLIGHT) {
        await tabTo(page, pointer);
        await page.keyboard.type(text);
    }
    await tabTo(page, "ask");
    await page.keyboard.press("Enter");
    await page.locator("#look .cell").first().waitFor();
    const took = await page.evaluate(() => performance.getEntriesByName("first estimate")[0].duration);
    assert.equal(await page.locator("#look .cell").count(), 3);
    assert.match(await page.locator("#look-note").textContent(), /^Of 128 flights each\. The whole is asked for/);
    console.log(`    the first estimate stood there ${took.toFixed(0)} ms after asking`);
    go();
    const id = await left(page);
    assert.equal(seen.quick.length, 1);
    assert.equal(JSON.parse(seen.quick[0]).flights, 128);
    assert.equal(seen.whole.length, 1);
    const same = (wanted) => assert.deepEqual(JSON.parse(seen.whole[0]), wanted);
    same(TYPED);
    await notices("another delay", async () => same({ ...TYPED, entries: [{ ...TYPED.entries[0], delays: [3, 5, 7] }] }));
    assert.equal(id, await idOf(seen.whole[0]));
    assert.notEqual(id, await idOf(seen.quick[0]));
}

/// What stands beside a field, as it is told to whoever does not see it.
const beside = (page, pointer) =>
    field(page, pointer).evaluate((control) => {
        const ids = (control.getAttribute("aria-describedby") ?? "").split(" ");
        const notes = ids.filter((id) => id.endsWith(":fault")).map((id) => document.getElementById(id).textContent);
        return control.getAttribute("aria-invalid") === "true" ? notes.join(" ") : "";
    });

async function faulted(page) {
    await begun(page);
    const wrong = ["/wind/surface/speed", "/entries/2/card/airframe/mass"];
    await field(page, wrong[0]).fill("5 parsecs");
    assert.equal(await beside(page, wrong[0]), "");
    // A fault of the day: nothing is flown.
    const [reply] = await Promise.all([page.waitForResponse((r) => r.url() === `${base}/v1/days`), page.locator("#ask").click()]);
    assert.equal(reply.status(), 422);
    const { errors } = await reply.json();
    await page.waitForFunction(() => document.activeElement.id === "faults");
    const summary = await page.locator("#faults").textContent();
    for (const { problem, remedy } of errors) {
        assert.ok(summary.includes(problem) && summary.includes(remedy), summary);
    }
    const told = errors.find((fault) => fault.pointer === wrong[0]);
    const note = await beside(page, wrong[0]);
    assert.ok(note.includes(told.problem) && note.includes(told.remedy) && note.includes("5 parsecs"), note);
    assert.equal(await beside(page, "/launch/tilt"), "");
    // By keyboard from the summary to the field, and what is mended is told no more.
    await page.keyboard.press("Tab");
    await page.keyboard.press("Enter");
    assert.equal(await page.evaluate(() => document.activeElement.id), wrong[0]);
    await page.keyboard.press("ControlOrMeta+a");
    await page.keyboard.type("5 mph");
    assert.equal(await beside(page, wrong[0]), "");
    // Of an item of a list it is said which.
    const { radius } = example("days/meadow.json").site.areas[0].circle;
    await field(page, "/site/areas/0/circle/radius").fill("");
    await asked(page);
    assert.match(await page.locator("#faults li a").first().textContent(), /^area 1, Radius$/);
    await field(page, "/site/areas/0/circle/radius").fill(radius);
    // One of a whole part of the day leads to that part.
    await field(page, "/weather/metar").fill("KABQ 100156Z 32010KT 10SM FEW033 19/14 A2999");
    await asked(page);
    const part = page.locator("#faults li a").first();
    assert.match(await part.textContent(), /^Weather from messages$/);
    await part.click();
    assert.match(await page.evaluate(() => document.activeElement.querySelector("legend").textContent), /^Weather from messages$/);
    assert.match(await page.evaluate(() => document.activeElement.querySelector("p.fault").textContent), /take out wind/);
    await field(page, "/weather/metar").fill("");
    // A fault of one flight, which is not open: the others can be asked for all the same.
    await page.locator("#flights button").nth(2).click();
    await field(page, wrong[1]).fill("950 kg");
    await page.locator("#flights button").nth(0).click();
    await asked(page);
    assert.match(await page.locator("#flights button").nth(2).textContent(), /1 to mend/);
    assert.match(await beside(page, wrong[1]), /950 kg/);
    const seen = posts(page);
    await page.locator("#anyway").click();
    const id = await left(page);
    const rows = (await (await fetch(`${base}/v1/days/${id}`)).json()).entries;
    assert.deepEqual(rows.map((row) => row.flight !== null), [true, true, false]);
    assert.equal(seen.whole.length, 1);
}

async function roundTrip(page) {
    const text = readFileSync(examplePath("days/meadow.json"), "utf8");
    const seen = posts(page);
    await page.locator("#file").setInputFiles(examplePath("days/meadow.json"));
    await page.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
    // What has no field is shown, with its place.
    await page.locator("#flights button").nth(1).click();
    const kept = await page.locator("#flight-kept").textContent();
    for (const part of ["/entries/1/changes", "propellant_mass", "34 g"]) assert.ok(kept.includes(part), kept);
    // Looking at every flight changes nothing.
    for (const k of [0, 2, 1]) await page.locator("#flights button").nth(k).click();
    await page.locator("#ask").click();
    assert.equal(await left(page), await idOf(text));
    assert.equal(await idOf(seen.whole[0]), await idOf(text));
    // A number that is written otherwise is another day: 62.0 has to stay 62.0.
    assert.notEqual(await idOf(JSON.stringify(JSON.parse(text))), await idOf(text));
}

async function writtenOut(page) {
    const rows = async (text) => (await (await fetch(`${base}/v1/days`, { method: "POST", headers: { "content-type": "application/json" }, body: text })).json()).entries;
    const seen = posts(page);
    await begun(page);
    await page.locator("#flights button").nth(1).click();
    assert.equal(await field(page, "/entries/1/card/motor/propellant_mass").inputValue(), "");
    await page.locator("#write-out").click();
    assert.equal(await field(page, "/entries/1/card/motor/propellant_mass").inputValue(), "34 g");
    assert.equal(await page.locator("#write-out").isVisible(), false);
    await page.locator("#ask").click();
    await left(page);
    // The same flights, by their ids.
    const ids = (list) => list.map((row) => row.flight.assessment);
    const before = ids(await rows(readFileSync(examplePath("days/meadow.json"), "utf8")));
    assert.deepEqual(ids(await rows(seen.whole[0])), before);
    assert.equal(new Set(before).size, 3);
    assert.equal(JSON.parse(seen.whole[0]).entries[1].copy_of, undefined);
}

/// The text of the day as it would be saved.
async function savedText(page) {
    const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#save").click()]);
    return readFileSync(await download.path(), "utf8");
}

const opens = async (page, text, count) => {
    await page.locator("#file").setInputFiles({ name: "given.json", mimeType: "application/json", buffer: Buffer.from(text) });
    await page.waitForFunction((count) => document.getElementById("flights").childElementCount === count, count);
};

async function writtenOutWhole(page) {
    const flown = async (text) => {
        const reply = await fetch(`${base}/v1/days`, { method: "POST", headers: { "content-type": "application/json" }, body: text });
        return (await reply.json()).entries.map((row) => row.flight?.assessment);
    };
    const [text, given] = [readFileSync(examplePath("days/meadow.json"), "utf8"), example("days/meadow.json")];
    // What a copy takes away of the day stays away.
    given.entries[1].changes.launch = { tilt: null };
    await opens(page, JSON.stringify(given), 3);
    await page.locator("#flights button").nth(1).click();
    await page.locator("#write-out").click();
    const before = await flown(JSON.stringify(given));
    assert.deepEqual(await flown(await savedText(page)), before);
    assert.notDeepEqual(await flown(text), before);
    // One without a name is no less written out, and the day outlives it.
    delete given.entries[1].name;
    await opens(page, JSON.stringify(given), 3);
    await page.locator("#flights button").nth(1).click();
    await page.locator("#write-out").click();
    assert.equal(await field(page, "/entries/1/card/motor/propellant_mass").inputValue(), "34 g");
    const left = JSON.parse(await savedText(page)).entries;
    assert.equal(left[1].name, undefined);
    assert.deepEqual([left[0], left[2]], [given.entries[0], given.entries[2]]);
    await page.reload();
    assert.deepEqual(JSON.parse(await savedText(page)).entries, left);
    // What is kept and cannot be read is told, and not written over.
    await page.evaluate(() => localStorage.setItem(`slowpoint day ${localStorage.getItem("slowpoint the day")}`, "{"));
    await page.reload();
    assert.match(await page.locator("#keeping").textContent(), /cannot be read/);
    assert.equal(await page.evaluate(() => Object.values(localStorage).includes("{")), true);
}

async function inTwoWindows(page, context) {
    await begun(page);
    const other = await context.newPage();
    await other.goto(`${base}/new`);
    await other.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
    await field(other, "/launch/rail_length").fill("12 ft");
    await page.waitForFunction(() => document.getElementById("keeping").textContent.includes("another window"));
    await closed(other);
    // The window that is older leaves what the newer one wrote.
    await page.goto("about:blank");
    await page.goto(`${base}/new`);
    assert.equal(await field(page, "/launch/rail_length").inputValue(), "12 ft");
}

async function reloaded(page) {
    await begun(page);
    await field(page, "/launch/rail_length").fill("9 ft");
    await field(page, "/entries/0/name").fill("pad 9");
    const ring = [[-71.002, 42.699], [-70.998, 42.699], [-70.998, 42.701], [-71.002, 42.699]];
    const feature = { type: "Feature", properties: { name: "field" }, geometry: { type: "Polygon", coordinates: [ring] } };
    const map = { type: "FeatureCollection", features: [feature] };
    await field(page, "/site/map:file").setInputFiles({ name: "map.geojson", mimeType: "application/geo+json", buffer: Buffer.from(JSON.stringify(map)) });
    await page.waitForFunction(() => document.getElementById("/site/map").value !== "");
    await page.reload();
    const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#save").click()]);
    assert.deepEqual(JSON.parse(readFileSync(await download.path(), "utf8")).site.map, map);
    assert.equal(await field(page, "/launch/rail_length").inputValue(), "9 ft");
    assert.equal(await field(page, "/entries/0/name").inputValue(), "pad 9");
    // Another day is another; the first is still there.
    await emptied(page);
    assert.equal(await field(page, "/launch/rail_length").inputValue(), "");
    await page.locator("#other").selectOption("invented day");
    await page.locator("#open-other").click();
    assert.equal(await field(page, "/launch/rail_length").inputValue(), "9 ft");
}

async function saved(page, context) {
    await begun(page);
    await page.locator("#flights button").nth(2).click();
    // Every kind of writing: rows, a list, a form that is chosen, items added and removed, a copy.
    await page.locator("#copy").click();
    await write(page, ["/entries/3/name", "/entries/3/delays"], ["pad 2, again", "4; 6"]);
    await field(page, "/entries/3/card/motor/code").fill("");
    await field(page, "/entries/3/card/motor/thrust_curve").fill("0 0\n0.1 9\n1.5 6\n1.8 0");
    await page.locator(`[id="/site/areas"] > .press > [data-add]`).click();
    await field(page, "/site/areas/2/name").fill("road");
    await field(page, "/site/areas/2:area:form").selectOption("polygon");
    await field(page, "/site/areas/2/polygon").fill("-60, 200\n60 m; 200\n60 220");
    await page.locator(`[id="/site/areas/1"] [data-remove]`).click();
    for (const group of ["How uncertain each figure is", "How many flights"]) await page.locator("summary", { hasText: group }).click();
    await field(page, "/spread/drag:form").selectOption("log_normal");
    await field(page, "/spread/drag/log_normal/log_sd").fill("12 %");
    await page.locator(`[id="/advise"] input`).first().check();
    const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#save").click()]);
    const file = await download.path();
    const text = readFileSync(file, "utf8");
    const day = JSON.parse(text);
    const wanted = example("days/meadow.json");
    const { code, ...motor } = wanted.entries[2].card.motor;
    assert.equal(code, "C6-5");
    const again = { ...wanted.entries[2], name: "pad 2, again", delays: [4, 6] };
    again.card = { ...again.card, motor: { ...motor, thrust_curve: "0 0\n0.1 9\n1.5 6\n1.8 0" } };
    wanted.entries.push(again);
    wanted.site.areas = [wanted.site.areas[0], { name: "road", polygon: [[-60, 200], ["60 m", 200], [60, 220]] }];
    wanted.spread = { drag: { log_normal: { log_sd: "12 %" } } };
    wanted.advise = ["wind_limit"];
    assert.deepEqual(day, wanted);
    assert.match(await idOf(text), /^[0-9a-f]{32}$/);
    // The same elsewhere, in a browser that knows nothing of it.
    const elsewhere = await context.browser().newContext();
    const other = await elsewhere.newPage();
    await other.goto(`${base}/new`);
    assert.equal(await other.locator("#flights button").count(), 1);
    await other.locator("#file").setInputFiles(file);
    await other.waitForFunction(() => document.getElementById("flights").childElementCount === 4);
    const [second] = await Promise.all([other.waitForEvent("download"), other.locator("#save").click()]);
    assert.equal(readFileSync(await second.path(), "utf8"), text);
    // What is no day changes nothing and is told.
    await other.locator("#file").setInputFiles({ name: "a.json", mimeType: "application/json", buffer: Buffer.from(`{"flights": 1, "flights": 2}`) });
    await other.waitForFunction(() => document.getElementById("keeping").textContent.includes("stands twice"));
    assert.equal(await other.locator("#flights button").count(), 4);
    await closed(elsewhere);
}

/// The typed flight, by fields that are filled.
async function filledIn(page, without = () => false) {
    await emptied(page);
    for (const [pointer, text] of FLIGHT) {
        if (without(pointer)) continue;
        if (pointer.endsWith("/kind")) await field(page, pointer).selectOption(text);
        else await field(page, pointer).fill(text);
    }
    return {
        unfold: (title) => page.locator("summary", { hasText: title }).click(),
        add: (list) => added(page, list),
        removed: (item) => page.locator(`[id="${item}"] > .press > [data-remove]`).click(),
    };
}

/// Logs, a cord and what is rare: asked of the day and shown on the page of its flight.
async function logged(page) {
    const { unfold, add, removed } = await filledIn(page);
    const own = "/entries/0";
    for (const title of ["Flights flown and logged", "Cord and tube edge", "Rare events"]) await unfold(title);
    await add(`${own}/calibration/flown`);
    const flown = ["apogee", "apogee_time", "flown_with", "conditions"].map((name) => `${own}/calibration/flown/0/${name}`);
    await write(page, flown, ["200 m", "6.5 s", "delay 5 s", `{"launch": {"tilt": "4 deg"}}`]);
    await write(page, [`${own}/calibration/csv`, `${own}/calibration/flights`], ["apogee_m,apogee_error_m,delay_s\n205,40,5\n", "1024"]);
    await write(page, [`${own}/cords/nose_mass`, `${own}/cords/wall/thickness`], ["15 g", "0.5 mm"]);
    await field(page, `${own}/cords/wall/material`).selectOption("paper");
    await add(`${own}/cords/arrangements`);
    const cord = `${own}/cords/arrangements/0`;
    await write(page, ["name", "edge_width"].map((name) => `${cord}/${name}`), ["thin line", "2 mm"]);
    // An elastic with a line behind it, and a run beside them; one that is not meant, and a part too many.
    const part = async (at, length, strength) => write(page, [`${at}/length`, `${at}/strength`], [length, strength]);
    for (const k of [0, 1, 2]) await add(`${cord}/runs`).then(() => part(`${cord}/runs/${k}/0`, `${k + 1} m`, "300 N"));
    await field(page, `${cord}/runs/0/0/stiffness`).fill("50 N");
    await add(`${cord}/runs/0`);
    await part(`${cord}/runs/0/1`, "0.5 m", "400 N");
    await add(`${cord}/runs/0`);
    for (const at of ["runs/0/1", "runs/2/0"]) await field(page, `${cord}/${at}/fibre`).selectOption("aramid");
    await removed(`${cord}/runs/0/2`);
    await removed(`${cord}/runs/1`);
    const runs = [
        [{ length: "1 m", strength: "300 N", stiffness: "50 N" }, { length: "0.5 m", strength: "400 N", fibre: "aramid" }],
        [{ length: "3 m", strength: "300 N", fibre: "aramid" }],
    ];
    // A fault is told of the part that has it, also when the list is drawn anew.
    await field(page, `${cord}/runs/0/1/length`).fill("0.5 parsecs");
    await asked(page);
    assert.match(await page.locator("#faults li a").first().textContent(), /arrangement 1, run 1, part 2, Length$/);
    await add(`${cord}/runs/0`);
    assert.match(await beside(page, `${cord}/runs/0/1/length`), /0\.5 parsecs/);
    await removed(`${cord}/runs/0/2`);
    assert.equal(await beside(page, `${cord}/runs/0/1/length`), "");
    await field(page, `${cord}/runs/0/1/length`).fill("0.5 m");
    await add("/rare");
    await write(page, ["opening_over", "flown_with", "flights"].map((name) => `/rare/0/${name}`), ["35 mph", "delay 5 s", "1024"]);
    assert.match(await field(page, `${flown[0]}:about`).textContent(), /as an instrument on board logs it/);
    const text = await savedText(page);
    const calibration = {
        flown: [{ apogee: "200 m", apogee_time: "6.5 s", flown_with: "delay 5 s", conditions: { launch: { tilt: "4 deg" } } }],
        csv: "apogee_m,apogee_error_m,delay_s\n205,40,5\n",
        flights: 1024,
    };
    const cords = { nose_mass: "15 g", wall: { material: "paper", thickness: "0.5 mm" }, arrangements: [{ name: "thin line", edge_width: "2 mm", runs }] };
    const rare = [{ opening_over: "35 mph", flown_with: "delay 5 s", flights: 1024 }];
    assert.deepEqual(JSON.parse(text), { ...TYPED, entries: [{ ...TYPED.entries[0], calibration, cords }], rare });
    const few = JSON.stringify({ ...JSON.parse(text), flights: 64 });
    const reply = await fetch(`${base}/v1/days`, { method: "POST", headers: { "content-type": "application/json" }, body: few });
    const [row] = (await reply.json()).entries;
    assert.equal(row.problem ?? null, null, JSON.stringify(row.problem));
    await page.goto(`${base}/flights/${row.flight.assessment}`);
    const titles = await page.locator("h2").allTextContents();
    for (const title of ["Learned from flights flown", "Rare events", "Shock cord and tube edge"]) assert.ok(titles.some((found) => found.startsWith(title)), `${title}: ${titles}`);
}

/// Of a list of lists, too, what has no field stays as it is; and a fault is told of the item that has it.
async function runsAsGiven(page) {
    const part = { length: "2 m", strength: "500 N", fibre: "nylon" };
    const given = example("days/meadow.json");
    const runs = [part, [part, 1], []];
    given.entries[0].cords = { nose_mass: "20 g", wall: { material: "paper", thickness: "1 mm" }, arrangements: [{ name: "line", edge_width: "3 mm", runs }] };
    await opens(page, JSON.stringify(given), 3);
    const at = "/entries/0/cords/arrangements/0/runs";
    const kept = page.locator("#flight-kept [data-kept]");
    assert.deepEqual(await kept.evaluateAll((all) => all.map((button) => button.dataset.kept)), [`${at}/0`, `${at}/1/1`]);
    assert.equal(await page.locator(`[id="${at}"] > .items > .item`).count(), 2);
    assert.equal(await field(page, `${at}/1/0/length`).inputValue(), "2 m");
    assert.deepEqual(JSON.parse(await savedText(page)), given);
    for (const k of [1, 0]) await kept.nth(k).click();
    await asked(page);
    assert.match(await page.locator("#faults li a").first().textContent(), /arrangement 1, run 2, Runs of cord$/);
    // The last part takes no run with it, and the last run leaves the arrangement.
    const remove = (item) => page.locator(`[id="${item}"] > .press > [data-remove]`).click();
    await remove(`${at}/0/0`);
    const cord = async () => JSON.parse(await savedText(page)).entries[0].cords.arrangements[0];
    assert.deepEqual((await cord()).runs, [[], []]);
    for (const k of [1, 0]) await remove(`${at}/${k}`);
    assert.deepEqual(await cord(), { name: "line", edge_width: "3 mm" });
}

/// A flight says for itself how uncertain it is, and several winds that may come are written by hand.
async function ownSpread(page) {
    const { unfold, add, removed } = await filledIn(page, (pointer) => pointer.startsWith("/wind/"));
    for (const title of ["How uncertain its figures are", "Shares of its failures", "How uncertain each figure is", "More of the wind by hand"]) await unfold(title);
    await field(page, "/spread/drag:form").selectOption("log_normal");
    await field(page, "/spread/drag/log_normal/log_sd").fill("12 %");
    await field(page, "/entries/0/spread/drag:form").selectOption("normal");
    await write(page, ["/entries/0/spread/drag/normal/sd", "/entries/0/spread/wind/direction_sd", "/entries/0/failures/fin_lost"], ["7 %", "15 deg", "2 %"]);
    for (const [k, speed] of ["5 mph", "9 mph"].entries()) {
        await add("/wind/members");
        const member = `/wind/members/${k}`;
        await write(page, ["speed", "direction", "measuring_height"].map((name) => `${member}/surface/${name}`), [speed, "250 deg", "2 m"]);
        await add(`${member}/layers`);
        await write(page, ["height_above_ground", "speed", "direction"].map((name) => `${member}/layers/0/${name}`), ["1000 ft", "15 kt", "270"]);
    }
    const text = await savedText(page);
    const wind = (speed) => ({ surface: { speed, direction: "250 deg", measuring_height: "2 m" }, layers: [{ height_above_ground: "1000 ft", speed: "15 kt", direction: 270 }] });
    const own = { spread: { drag: { normal: { sd: "7 %" } }, wind: { direction_sd: "15 deg" } }, failures: { fin_lost: "2 %" } };
    assert.deepEqual(JSON.parse(text), {
        ...TYPED,
        entries: [{ ...TYPED.entries[0], ...own }],
        spread: { drag: { log_normal: { log_sd: "12 %" } } },
        wind: { members: [wind("5 mph"), wind("9 mph")] },
    });
    // It is flown so: that of the flight takes the place of the day's, which is of another kind.
    const few = JSON.stringify({ ...JSON.parse(text), flights: 64 });
    const reply = await fetch(`${base}/v1/days`, { method: "POST", headers: { "content-type": "application/json" }, body: few });
    const [row] = (await reply.json()).entries;
    assert.equal(row.problem ?? null, null, JSON.stringify(row.problem));
    // One that is removed takes its own figures with it, and what is left is shown again.
    await removed("/wind/members/0");
    assert.deepEqual(JSON.parse(await savedText(page)).wind.members, [wind("9 mph")]);
    await page.reload();
    assert.equal(await field(page, "/wind/members/0/layers/0/speed").inputValue(), "15 kt");
    assert.equal(await field(page, "/entries/0/spread/drag/normal/sd").inputValue(), "7 %");
    assert.equal(await page.locator("#day-kept").isVisible() || await page.locator("#flight-kept").isVisible(), false);
}

async function weatherDecoded(page) {
    const [reply] = await Promise.all([page.waitForResponse(`${base}/v1/weather`), decoded(page)]);
    const answer = await reply.json();
    const shown = await page.locator("#decoded table tbody tr").allTextContents();
    assert.equal(shown.length, answer.levels.length);
    const told = (levels) => levels.forEach((level, k) => assert.ok(shown[k].includes(String(level.wind_speed_m_s)) && shown[k].includes(String(level.height_above_sea_m)), shown[k]));
    told(answer.levels);
    await notices("levels upside down", async () => told([...answer.levels].reverse()));
    const text = await page.locator("#decoded").textContent();
    for (const sentence of [...answer.assumed, ...answer.skipped]) assert.ok(text.includes(sentence), sentence);
    // Of messages that do not stand there any more nothing is shown; pressed twice it is shown once.
    await field(page, "/weather/metar").fill(REPORT.replace("32010KT", "18035G50KT"));
    assert.equal(await page.locator("#decoded > *").count(), 0);
    await page.locator("#decode").dblclick();
    await page.locator("#decoded svg").waitFor();
    assert.equal(await page.locator("#decoded table").count(), 1);
    assert.match(await page.locator("#decoded table").textContent(), /180/);
    // A group that cannot be read is told beside the message.
    await field(page, "/weather/metar").fill(REPORT.replace("32010KT", "32O10KT"));
    await page.locator("#decode").click();
    await page.waitForFunction(() => document.activeElement.id === "faults");
    assert.match(await beside(page, "/weather/metar"), /32O10KT/);
}

async function windTakenOut(page) {
    await begun(page);
    const { wind } = example("days/meadow.json");
    const [out, back] = ["Take out the wind by hand", "Put back the wind by hand"].map((name) => page.getByRole("button", { name }));
    const messages = page.getByRole("button", { name: "Take out the messages" });
    assert.deepEqual([await out.isDisabled(), await back.isVisible(), await messages.isDisabled()], [false, false, true]);
    // Emptied field by field its items stand there still, as those of every list do.
    for (const name of ["speed", "direction", "measuring_height", "gust"]) await field(page, `/wind/surface/${name}`).fill("");
    for (const k of [0, 1]) await write(page, ["height_above_ground", "speed", "direction"].map((name) => `/wind/layers/${k}/${name}`), ["", "", ""]);
    await write(page, ["/weather/date", "/weather/metar", "/launch_at"], ["2026-11-10", REPORT, "2026-11-10T02:30:00Z"]);
    await asked(page);
    assert.match(await page.locator("#faults").textContent(), /take out wind/);
    // Taken out at once, with what stands in other groups of it, and nothing is told of it any more.
    await out.click();
    assert.deepEqual([await out.isDisabled(), await back.isVisible(), await messages.isDisabled()], [true, true, false]);
    assert.equal(await back.evaluate((button) => document.activeElement === button), true);
    assert.equal(await page.locator('[id="/wind/layers"] .item').count(), 0);
    assert.equal(await field(page, "/wind/source").inputValue(), "");
    assert.equal(JSON.parse(await savedText(page)).wind, undefined);
    // Not meant: it is back as it was, and out again.
    await back.click();
    assert.equal(await out.evaluate((button) => document.activeElement === button), true);
    assert.deepEqual(JSON.parse(await savedText(page)).wind, { source: wind.source, layers: [{}, {}] });
    await out.click();
    // What takes its place is not written over.
    await field(page, "/wind/surface/speed").fill("5 mph");
    assert.equal(await back.isVisible(), false);
    await out.click();
    const seen = posts(page);
    await page.locator("#ask").click();
    const id = await left(page);
    assert.equal((await (await fetch(`${base}/v1/days/${id}`)).json()).entries.length, 3);
    assert.equal(JSON.parse(seen.whole[0]).wind, undefined);
}

async function unkept(page) {
    assert.match(await page.locator("#keeping").textContent(), /keeps nothing/);
    await begun(page);
    assert.match(await page.locator("#keeping").textContent(), /keeps nothing|Opened/);
    await page.locator("#ask").click();
    assert.equal(await left(page), await idOf(readFileSync(examplePath("days/meadow.json"), "utf8")));
}

async function offline(page, context) {
    await begun(page);
    await context.setOffline(true);
    await page.locator("#ask").click();
    await page.waitForFunction(() => document.getElementById("asking").textContent.includes("cannot be reached"));
    assert.equal(await field(page, "/launch/rail_length").inputValue(), "8 ft");
    await context.setOffline(false);
    // Told when to come back, and where to sign in.
    const refusing = (status, headers) => page.route("**/v1/days", (route) => route.fulfill({ status, headers, contentType: "application/problem+json", body: `{"title": "Refused.", "detail": "As planted."}` }), { times: 1 });
    await refusing(429, { "retry-after": "17" });
    await page.locator("#ask").click();
    await page.waitForFunction(() => document.getElementById("asking").textContent.includes("Come back in 17 s"));
    assert.equal(await page.locator("#sign-in").isVisible(), false);
    await refusing(401, {});
    await page.locator("#ask").click();
    await page.locator("#sign-in").waitFor();
    // What takes too long is cancelled.
    await page.route("**/v1/days", () => null, { times: 1 });
    await page.locator("#ask").click();
    await page.locator("#cancel").click();
    await page.waitForFunction(() => document.getElementById("asking").textContent.includes("Cancelled"));
    // A day of its own: what is stored costs nothing.
    await field(page, "/launch/rail_length").fill("8.25 ft");
    await page.locator("#price").click();
    await page.waitForFunction(() => /6000 flights\..*core/.test(document.getElementById("asking").textContent));
    await page.locator("#ask").click();
    await left(page);
}

/// What stands below a form that is filled by script is not seen to move when it comes.
async function roomBefore(browser) {
    const context = await browser.newContext({ viewport: { width: 360, height: 740 }, serviceWorkers: "block" });
    try {
        const page = await context.newPage();
        const go = await held(page, "**/assets/entry.*.js");
        await page.goto(`${base}/new`, { waitUntil: "commit" });
        await page.waitForFunction(() => document.styleSheets.length > 0);
        const { y } = await page.locator("[aria-labelledby=units-title]").boundingBox();
        assert.ok(y > 740, `the units stand at ${y} px`);
        assert.equal(await page.locator("#ask").isVisible(), false, "nothing is pressed before it is heard");
        go();
        await page.locator("#ask").waitFor();
    } finally {
        await closed(context);
    }
}

/// Each: a name, and what is done with a browser.
export const STORIES = [
    ["a form has its room before it is there", roomBefore],
    ["a flight is typed by keyboard alone, and its day is reached", (browser) => at(browser, 360, typed)],
    ["faults stand beside their fields with their remedy", (browser) => at(browser, 360, faulted)],
    ["the example comes through the page as it is", (browser) => at(browser, 1280, roundTrip)],
    ["a copy is written out in full", (browser) => at(browser, 360, writtenOut)],
    ["a copy that takes something away, or has no name, is written out too", (browser) => at(browser, 360, writtenOutWhole)],
    ["a day in two windows is not written over", (browser) => at(browser, 360, inTwoWindows)],
    ["a day outlives a reload", (browser) => at(browser, 360, reloaded)],
    ["a day is saved as a file and opened elsewhere", (browser) => at(browser, 1280, saved)],
    ["a flight has a spread of its own, and an ensemble is written by hand", (browser) => at(browser, 360, ownSpread)],
    ["flights flown, a cord and a rare event are written by hand", (browser) => at(browser, 360, logged)],
    ["runs of a cord come through the page as they are", (browser) => at(browser, 360, runsAsGiven)],
    ["the wind by hand is taken out for messages", (browser) => at(browser, 360, windTakenOut)],
    ["messages are decoded", (browser) => at(browser, 360, weatherDecoded)],
    [
        "a browser that keeps nothing says so",
        (browser) => at(browser, 360, unkept, (context) => context.addInitScript(() => Object.defineProperty(window, "localStorage", { get: () => { throw new Error("refused"); } }))),
    ],
    ["without the network everything is kept", (browser) => at(browser, 360, offline)],
];
