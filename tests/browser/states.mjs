// What is looked at: the examples that come with the program, and cards and days as full as they get.
import { states as entering } from "./entry.mjs";
import { BULLETIN, example, posted } from "./examples.mjs";
import { base } from "./gates.mjs";

/// A job that was given up; its page.
async function givenUp(where, body) {
    const headers = { "content-type": "application/json", prefer: "respond-async" };
    const reply = await fetch(base + where, { method: "POST", headers, body: JSON.stringify(body) });
    const job = reply.headers.get("location");
    const { status } = await (await fetch(base + job, { method: "DELETE" })).json();
    if (status !== "dismissed") throw new Error(`${job} is ${status}`);
    return job.replace("/v1/", "/");
}

/// A card in weather that is decoded throughout and of a known age: "under limit" has its colour.
function dated() {
    const card = example("weather-report.json");
    delete card.weather.layers;
    card.weather.winds_aloft = BULLETIN;
    return card;
}

/// A rocket on four cords, and what is rare on it: seen by some flights, and by none.
function torn() {
    const card = example("tube-edge.json");
    card.flights = 512;
    card.rare = [
        { landing_in: "spectators", flown_with: "delay 5 s", flights: 1024 },
        { opening_over: "60 mph", flights: 1024 },
        { opening_over: "35 mph", flown_with: "delay 9 s", flights: 1024 },
    ];
    return card;
}

/// What was logged of a rocket: as high as it is drawn, or far higher, of which nothing is used.
function logged(part, name) {
    const card = example("tube-edge.json");
    card.card.name = name;
    card.flights = 512;
    delete card.cords;
    const [height, time] = [575, 10.6];
    card.calibration = {
        flights: 2048,
        flown: [
            { apogee: `${height * part} m`, apogee_time: `${time} s`, flown_with: "delay 7 s" },
            { apogee: `${height * part * 0.97} m`, opening_speed: "11 m/s", conditions: { delays: ["9 s"] } },
        ],
    };
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

/// A day whose ways of deploying have the longest names, on as many rows as a sheet has room for and more.
function altimeters() {
    const day = example("days/meadow.json");
    const [first] = day.entries;
    day.flights = 64;
    day.entries = [first];
    delete first.delays;
    day.delays = [5, 7, 9];
    day.electronics = [
        { fires_at: "apogee", backup_delay: 9 },
        { fires_at: "height", height: "150 m", backup_delay: 12 },
        { fires_at: "apogee" },
    ];
    for (let k = 0; k < 14; k += 1) {
        const changes = { card: { airframe: { mass: `${640 + 10 * k} g` } } };
        day.entries.push({ name: `flight ${k + 1} with an altimeter`, copy_of: first.name, changes });
    }
    return day;
}

/// Every state: a name, an address, whether it is a sheet of one page, and what is done there first.
export async function states() {
    const mapped = await posted("/v1/assessments", example("mapped-field.json"));
    const coloured = await posted("/v1/assessments", dated());
    const assumed = await posted("/v1/assessments", example("weather-report.json"));
    const full = await posted("/v1/assessments", fullest());
    const corded = await posted("/v1/assessments", torn());
    const learned = await posted("/v1/assessments", logged(1, "Example flown before (invented)"));
    const unlearned = await posted("/v1/assessments", logged(4, "Example flown before, with a slip (invented)"));
    const day = await posted("/v1/days", example("days/meadow.json"));
    const long = await posted("/v1/days", longest());
    const windier = example("days/meadow.json");
    windier.wind.surface.speed = "7 mph";
    const later = await posted("/v1/days", windier);
    const electronic = await posted("/v1/days", altimeters());
    const sweep = await posted("/v1/sweeps", example("sweeps/meadow.json"));
    const job = await givenUp("/v1/days", { ...example("days/meadow.json"), seed: 9 });
    const nowhere = "0".repeat(32);
    return [
        ["front", "/"],
        ["flight", mapped],
        ["flight-dated", `${coloured}?units=us`],
        ["flight-dated-sun", `${coloured}?theme=sun`],
        ["flight-assumed", assumed],
        ["flight-full", full],
        ["flight-cords", corded],
        ["flight-cords-sun", `${corded}?theme=sun&units=us`],
        ["flight-learned", learned],
        ["flight-learned-sun", `${learned}?theme=sun&units=us`],
        ["flight-unlearned", unlearned],
        ["flight-sun", `${mapped}?theme=sun`],
        ["flight-light", `${coloured}?theme=light`],
        ["flight-dark", `${coloured}?theme=dark&units=us`],
        ["flight-embed", `${mapped}/embed`],
        ["flight-dated-embed", `${coloured}/embed?units=us`],
        ["day", day],
        ["day-long", `${long}?sort=chance`],
        ["day-empty", `${day}?only=failed`],
        ["day-since", `${later}?since=${day.split("/").pop()}`],
        ["day-sun", `${day}?theme=sun&units=us`],
        ["day-light", `${day}?theme=light`],
        ["day-dark", `${day}?theme=dark`],
        ["day-altimeters", electronic],
        ["sweep", sweep],
        ["sweep-light", `${sweep}?theme=light`],
        ["sweep-dark", `${sweep}?theme=dark`],
        ["refusal", `/flights/${nowhere}`],
        ["job-ended", job],
        ["jobs", "/jobs?theme=sun"],
        ["share", `${day}/share`],
        ["sign-in-open", "/sign-in"],
        ["offline", "/offline"],
        ["sheet-flight", `${coloured}/sheet`, true],
        ["sheet-full", `${full}/sheet?units=us`, true],
        ["sheet-day", `${day}/sheet`, true],
        ["sheet-long", `${long}/sheet`, true],
        ["sheet-altimeters", `${electronic}/sheet?units=us`, true],
        ...entering,
    ];
}
