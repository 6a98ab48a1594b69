// From asking to the first estimate on the screen, on a machine that does nothing else. Printed, not held: none of CI's gates is on
// the clock.
import { example } from "./examples.mjs";
import { base, closed, launched } from "./gates.mjs";
import { asks } from "./serving.mjs";

const ROUNDS = 9;
/// Flights of work that goes on while its page is looked at.
const LONG = 100_000;

const now = (page) => page.evaluate(() => performance.timeOrigin + performance.now());
const given_up = (job) => fetch(`${base}/v1/jobs/${job}`, { method: "DELETE" });

/// Asked by the page itself, where a day is written down.
async function written(page, seed) {
    const day = JSON.stringify({ ...example("days/meadow.json"), seed });
    await page.goto(`${base}/new`);
    await page.locator("#file").setInputFiles({ name: "day.json", mimeType: "application/json", buffer: Buffer.from(day) });
    await page.waitForFunction(() => document.getElementById("flights").childElementCount === 3);
    // The whole is not asked for: it would be flown beside the next round.
    await page.route("**/v1/days", (route) => (route.request().headers().prefer ? route.abort() : route.continue()));
    await page.locator("#ask").click();
    await page.locator("#look .cell").first().waitFor();
    const total = await page.evaluate(() => performance.getEntriesByName("first estimate")[0].duration);
    await page.unrouteAll();
    return { total };
}

/// A quick look and then the whole, whose page is opened.
async function watched(page, seed) {
    await page.goto(`${base}/`);
    const asked = await asks(page, { base }, LONG, seed);
    await page.goto(`${base}/jobs/${asked.job}?look=${asked.look}`, { waitUntil: "commit" });
    await page.locator(".flights .cell").first().waitFor();
    const total = (await now(page)) - asked.begun;
    await given_up(asked.job);
    return { total, "the quick look": asked.look_ms, "the whole is taken": asked.whole_ms };
}

/// One flight as a job, with nothing before it.
async function alone(page, seed) {
    const card = { ...example("first-flight.json"), flights: LONG, seed };
    delete card.until;
    await page.goto(`${base}/`);
    const asked = await page.evaluate(async (body) => {
        const begun = performance.timeOrigin + performance.now();
        const headers = { "content-type": "application/json", prefer: "respond-async" };
        const reply = await fetch("/v1/assessments", { method: "POST", body: JSON.stringify(body), headers });
        return { begun, job: reply.headers.get("location").split("/").pop(), whole_ms: performance.timeOrigin + performance.now() - begun };
    }, card);
    await page.goto(`${base}/jobs/${asked.job}`, { waitUntil: "commit" });
    await page.locator("#so-far td").first().waitFor();
    const total = (await now(page)) - asked.begun;
    await given_up(asked.job);
    return { total, "it is taken": asked.whole_ms };
}

const browser = await launched();
const context = await browser.newContext({ viewport: { width: 360, height: 740 }, serviceWorkers: "block" });
for (const [name, measured] of [["a day on /new", written], ["a day on its job's page", watched], ["a flight on its job's page", alone]]) {
    const page = await context.newPage();
    const rounds = [];
    for (let round = 0; round < ROUNDS; round += 1) rounds.push(await measured(page, 1000 + round));
    await closed(page);
    const middle = (part) => rounds.map((round) => round[part]).sort((a, b) => a - b)[Math.floor(ROUNDS / 2)];
    const totals = rounds.map(({ total }) => total);
    const parts = Object.keys(rounds[0]).filter((part) => part !== "total").map((part) => `, ${part} ${middle(part).toFixed(0)} ms`);
    console.log(`${name}: first estimate ${middle("total").toFixed(0)} ms after asking (${Math.min(...totals).toFixed(0)} to ${Math.max(...totals).toFixed(0)})${parts.join("")}`);
}
await closed(browser);
process.exit();
