// Asking: a quick look first, so that something stands there at once; then the whole, which may take its time.

const LOOK_FLIGHTS = Number(form.dataset.look);
const LEARN_FLIGHTS = Number(form.dataset.learn);
let stopping = null;

/// What a reply comes to: its status, what it holds, and what is needed of its headers. Status 0: there is no network.
async function sent(where, text, headers = {}) {
    let reply;
    try {
        const about = { method: "POST", headers: { "content-type": "application/json", ...headers }, body: text, signal: stopping?.signal };
        reply = await fetch(where, about);
        const type = reply.headers.get("content-type") ?? "";
        const whole = await reply.text();
        const found = { status: reply.status, place: reply.headers.get("location"), wait_s: reply.headers.get("retry-after") };
        if (type.includes("svg")) found.svg = new DOMParser().parseFromString(whole, "image/svg+xml").documentElement;
        else if (type.includes("json")) found.body = JSON.parse(whole);
        return found;
    } catch (error) {
        return { status: 0, stopped: error.name === "AbortError" };
    }
}

/// Says why something was not answered; everything written stays.
function refused(reply, where, withFaults) {
    const { status, body, wait_s } = reply;
    $("where").hidden = true;
    if (reply.stopped) return say(where, "Cancelled. Everything is kept.");
    if (status === 0) return say(where, "The server cannot be reached: the network is gone, or the server is. Everything is kept; ask again when it is back.");
    if (status === 401 || status === 403) $("where").hidden = false;
    if (status === 422 && body?.errors?.length) {
        say(where, `${body.title} What is to be mended stands at the top, and beside each field.`);
        return withFaults(body.errors);
    }
    const told = body ? `${body.title} ${body.detail ?? ""}` : `The server answered ${status}.`;
    const later = (status === 429 || status === 503) && wait_s ? ` Come back in ${wait_s} s: ask again then.` : "";
    return say(where, `${told}${later} Everything is kept.`);
}

/// The same day with few flights, as few of those that it learns from as there may be, and nothing rare.
function quick() {
    const look = copied(day);
    for (const name of ["until", "advise", "rare"]) delete look[name];
    for (const flight of Array.isArray(look.entries) ? look.entries : []) {
        for (const logs of [flight?.calibration, flight?.changes?.calibration]) if (isObject(logs)) logs.flights = LEARN_FLIGHTS;
    }
    const few = isNumber(look.flights) && Number(asText(look.flights)) <= LOOK_FLIGHTS;
    if (!few) look.flights = LOOK_FLIGHTS;
    return look;
}

/// Buttons stay where they are for whoever stands on them; they do nothing meanwhile.
function busy(is) {
    for (const id of ["ask", "price", "anyway"]) $(id).setAttribute("aria-disabled", String(is));
    $("cancel").hidden = !is;
    stopping = is ? new AbortController() : null;
}

async function ask(anyway) {
    if (stopping) return;
    keepNow();
    forgetFaults("");
    $("look").hidden = true;
    busy(true);
    performance.clearMarks("asked");
    performance.mark("asked");
    say("asking", "Asking.");
    try {
        await asked(anyway);
    } catch (error) {
        say("asking", `This page failed at it: ${error.message}. Save the day as a file, and load the page again.`);
    } finally {
        busy(false);
    }
}

/// What has to be known of the first estimate that stands there.
function noteLook(text) {
    if (!$("look").hidden) $("look-note").textContent = text;
}

async function asked(anyway) {
    const look = await sent("/v1/days", writtenJson(quick()));
    const inDay = (found) => showFaults(found, false);
    if (look.status !== 200) return refused(look, "asking", inDay);
    const wrong = look.body.entries.filter((row) => row.problem);
    if (wrong.length && !anyway) {
        const others = look.body.entries.length - wrong.length;
        say("asking", `${wrong.length} of ${look.body.entries.length} flights cannot be flown as they stand. What is to be mended stands at the top, and beside each field.`);
        // What flights share is told by each of them.
        const all = wrong.flatMap((row) => row.problem.errors);
        const once = all.filter((fault, k) => all.findIndex((other) => other.pointer === fault.pointer && other.problem === fault.problem) === k);
        return showFaults(once, others > 0);
    }
    const lookId = look.place.split("/").pop();
    const whole = sent("/v1/days", writtenJson(day), { prefer: "respond-async" });
    await showLook(lookId);
    const flown = look.body.entries.find((row) => row.flight)?.flight.flights;
    noteLook(`${flown === undefined ? "" : `Of ${flown} flights each. `}The whole is asked for.`);
    say("asking", "The first estimate stands below; the whole is asked for.");
    const reply = await whole;
    const id = reply.place?.split("/").pop();
    if (reply.status === 200) return leave(`/days/${id}`);
    if (reply.status === 201) return leave(`/jobs/${id}`, lookId);
    noteLook(`${flown === undefined ? "" : `Of ${flown} flights each. `}The whole was not taken.`);
    return refused(reply, "asking", inDay);
}

/// The server's own page of the quick look, what it says of the flights.
async function showLook(id) {
    const reply = await fetch(shown(`/days/${id}`), { headers: { accept: "text/html" } }).catch(() => null);
    if (!reply?.ok) return;
    const page = new DOMParser().parseFromString(await reply.text(), "text/html");
    const main = page.querySelector("main");
    for (const part of main.querySelectorAll(":scope > h1, :scope > .caution, :scope > .identity, .choosing, section[aria-labelledby=files]")) part.remove();
    // Names that the page has already.
    for (const named of main.querySelectorAll("[id], [aria-labelledby]")) for (const name of ["id", "aria-labelledby"]) named.removeAttribute(name);
    for (const head of main.querySelectorAll("h2, h3")) {
        const lower = document.createElement(head.tagName === "H2" ? "h4" : "h5");
        lower.append(...head.childNodes);
        head.replaceWith(lower);
    }
    const space = $("look").querySelector("div");
    space.replaceChildren(...main.childNodes);
    $("look").hidden = false;
    $("look").scrollIntoView({ block: "nearest" });
    performance.measure("first estimate", "asked");
}

/// A page, shown as this one.
function shown(path, own = {}) {
    const query = new URLSearchParams(own);
    const here = new URLSearchParams(location.search);
    for (const name of ["units", "theme"]) if (here.has(name)) query.set(name, here.get(name));
    const text = query.toString();
    return text ? `${path}?${text}` : path;
}

function leave(path, look) {
    location.assign(shown(path, look ? { look } : {}));
}

async function price() {
    if (stopping) return;
    forgetFaults("");
    busy(true);
    say("asking", "Asking what it costs.");
    const reply = await sent("/v1/days?dry_run=true", writtenJson(day));
    busy(false);
    if (reply.status !== 200) return refused(reply, "asking", (found) => showFaults(found, false));
    const { flights, settings_flights, estimated_core_s, at_most, inline, job, stored: done } = reply.body;
    const work = done ? "It is answered already and costs nothing." : `About ${Number(estimated_core_s.toPrecision(2))} seconds of one core${at_most ? " at most" : ""}.`;
    const way = done ? "" : inline ? " That is answered at once." : job ? " That is a job, which you can watch and leave." : " That is more than is computed for one answer.";
    return say("asking", `${flights} flights${settings_flights ? ` and ${settings_flights} at other winds and rails` : ""}. ${work}${way}`);
}
