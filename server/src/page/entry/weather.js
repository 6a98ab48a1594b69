// What messages say, as the service decodes them: the numbers of its answer, and the picture that it draws.

const LEVELS = [
    ["height_above_ground_m", "Above ground, m"],
    ["height_above_sea_m", "Above sea, m"],
    ["wind_speed_m_s", "Wind, m/s"],
    ["wind_from_deg", "From, degrees"],
    ["gust_m_s", "Gusts, m/s"],
    ["temperature_c", "Temperature, °C"],
];
/// Where of a day it lies what is sent beside the messages.
const BESIDE = { field_elevation: "/site/elevation", launch_at: "/launch_at" };

/// The messages as they stand, with what is sent beside them.
function messagesNow() {
    const messages = isObject(day.weather) ? copied(day.weather) : Object.create(null);
    for (const [name, at] of Object.entries(BESIDE)) {
        const value = get(at);
        if (value !== undefined && value !== null) messages[name] = value;
    }
    return writtenJson(messages);
}

/// What is decoded, or being so; a later press takes its place.
let decoding = null;

/// What was decoded is shown no longer than its messages stand there.
function forgetDecoded(why) {
    if (decoding === null || decoding.text === messagesNow()) return;
    decoding = null;
    $("decoded").replaceChildren();
    say("decoding", why);
}

async function decode() {
    const own = { text: messagesNow() };
    decoding = own;
    say("decoding", "Decoding.");
    $("decoded").replaceChildren();
    const reply = await sent("/v1/weather", own.text);
    if (decoding !== own) return;
    if (reply.status !== 200) {
        const inDay = (pointer) => BESIDE[pointer.slice(1)] ?? `/weather${pointer}`;
        refused(reply, "decoding", (found) => showFaults(found.map((fault) => ({ ...fault, pointer: inDay(fault.pointer) })), false));
        return;
    }
    forgetFaults("/weather");
    say("decoding", "Decoded.");
    const answer = reply.body;
    const levels = answer.levels.length ? [["", answer.levels]] : (answer.members ?? []).map((member, k) => [`Member ${k + 1}`, member.levels]);
    const cautions = answer.cautions.map((caution) => caution.message);
    $("decoded").append(
        ...levels.map(([title, rows]) => table(title, rows)),
        ...sentences("To mind", cautions),
        ...sentences("Taken for granted", answer.assumed),
        ...sentences("Left out", answer.skipped),
    );
    const picture = await sent("/v1/weather/profile.svg", own.text);
    if (decoding === own && picture.status === 200 && picture.svg) {
        // Drawn into the page: the policy loads no picture that was made here.
        const drawing = document.importNode(picture.svg, true);
        drawing.classList.add("picture");
        $("decoded").prepend(drawing);
    }
}

function table(title, levels) {
    const region = document.createElement("div");
    region.className = "wide";
    region.tabIndex = 0;
    region.setAttribute("role", "region");
    region.setAttribute("aria-label", title || "Levels");
    const rows = document.createElement("table");
    if (title) rows.createCaption().textContent = title;
    const head = rows.createTHead().insertRow();
    for (const [, words] of LEVELS) head.append(headed("col", words));
    const body = rows.createTBody();
    for (const level of levels) {
        const row = body.insertRow();
        LEVELS.forEach(([name], k) => {
            const text = level[name] === null ? (name === "wind_from_deg" && level.wind_variable ? "variable" : "not known") : String(level[name]);
            const bound = name === "wind_speed_m_s" && level.wind_speed_bound !== "is" ? level.wind_speed_bound : null;
            const words = bound ? `${bound.replace("_", " ")} ${text}` : text;
            if (k === 0) row.append(headed("row", level.surface ? `${words} (surface report)` : words));
            else row.insertCell().textContent = words;
        });
    }
    region.append(rows);
    return region;
}

function headed(scope, words) {
    const head = document.createElement("th");
    head.scope = scope;
    head.textContent = words;
    return head;
}

function sentences(title, list) {
    if (list.length === 0) return [];
    const head = document.createElement("h3");
    head.textContent = title;
    const items = document.createElement("ul");
    for (const sentence of list) {
        const item = document.createElement("li");
        item.textContent = sentence;
        items.append(item);
    }
    return [head, items];
}
