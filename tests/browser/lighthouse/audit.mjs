// Lighthouse as for a phone: a slow network and a slow processor, simulated. The better of two looks counts, because what else the
// machine does only ever makes one worse.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const base = process.argv[2];
const require = createRequire(path.join(process.env.LIGHTHOUSE_MODULES, "package.json"));
const load = (name) => import(pathToFileURL(require.resolve(name)).href);
const { default: lighthouse } = await load("lighthouse");
const { launch } = await load("chrome-launcher");

const LEAST = { performance: 95, accessibility: 100 };
const LOOKS = 2;
const examples = path.join(path.dirname(fileURLToPath(import.meta.url)), "../../../server/examples");

async function posted(where, name) {
    const body = readFileSync(path.join(examples, name), "utf8");
    const reply = await fetch(base + where, { method: "POST", headers: { "content-type": "application/json" }, body });
    if (reply.status !== 200) throw new Error(`${where} was answered ${reply.status}: ${await reply.text()}`);
    return reply.headers.get("location").replace("/v1/", "/").replace("/assessments/", "/flights/");
}

const pages = [
    ["front", "/"],
    ["new", "/new"],
    ["day", await posted("/v1/days", "days/meadow.json")],
    ["flight", await posted("/v1/assessments", "mapped-field.json")],
    ["flight with cords", await posted("/v1/assessments", "tube-edge.json")],
    ["sweep", await posted("/v1/sweeps", "sweeps/meadow.json")],
];
let wrong = 0;
for (const [name, where] of pages) {
    const best = {};
    let found = [];
    for (let look = 0; look < LOOKS; look += 1) {
        const chrome = await launch({ chromePath: process.env.CHROME_PATH, chromeFlags: ["--headless=new", "--no-sandbox"] });
        const { lhr } = await lighthouse(base + where, { port: chrome.port, onlyCategories: Object.keys(LEAST), logLevel: "error" });
        await chrome.kill();
        for (const category of Object.keys(LEAST)) {
            best[category] = Math.max(best[category] ?? 0, Math.round(100 * (lhr.categories[category].score ?? 0)));
        }
        found = Object.values(lhr.audits)
            .filter((audit) => audit.score !== null && audit.score < 0.9 && audit.scoreDisplayMode !== "informative")
            .map((audit) => `${audit.id}: ${audit.displayValue ?? audit.title}`);
    }
    const short = Object.keys(LEAST).filter((category) => best[category] < LEAST[category]);
    wrong += short.length;
    console.log(`${name}: performance ${best.performance}, accessibility ${best.accessibility}`);
    if (short.length > 0) console.log(`    below what must be reached: ${short.join(", ")}\n    ${found.join("\n    ")}`);
}
process.exitCode = wrong === 0 ? 0 : 1;
