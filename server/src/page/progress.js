// Keeps a page of work under way up to date. The server makes every word of it: what is new is asked for again as a whole page,
// and only the parts that differ are put in, so that nobody loses their place.

/// No more often than this, ms.
const PACE_MS = 400;
/// What is read out is read out no more often than this, ms.
const HEARD_MS = 10_000;
/// Without a stream it is asked so often, ms: one cannot be opened, or the server is away.
const WITHOUT_STREAM_MS = 3000;

const events = `/v1${location.pathname}/events`;
let stream = null;
let asked = 0;
let waits = null;
let heard = 0;

/// Asks for the page again, and puts in what differs.
async function renew() {
    waits = null;
    asked = Date.now();
    let reply;
    try {
        reply = await fetch(location.href, { headers: { accept: "text/html" }, cache: "no-store" });
    } catch {
        // The server is away, or the phone is. What is shown stays, and it is asked again.
        later(WITHOUT_STREAM_MS);
        return;
    }
    // It is asked too fast, perhaps by others behind the same address, or not there: what is shown stays.
    if (reply.status === 429 || reply.status >= 500) {
        later(WITHOUT_STREAM_MS);
        return;
    }
    // It has led on to the answer, or refuses: the browser follows, so that its address is right.
    if (reply.redirected || !reply.ok) {
        location.replace(reply.redirected ? reply.url : location.href);
        return;
    }
    const fresh = new DOMParser().parseFromString(await reply.text(), "text/html");
    const main = document.getElementById("main");
    if (!fresh.getElementById("how-far")) {
        // It ended without an answer: the page says why.
        stream?.close();
        main.replaceWith(document.importNode(fresh.getElementById("main"), true));
        document.title = fresh.title;
        document.getElementById("main").focus();
        return;
    }
    put(fresh);
    hear(document.getElementById("how-far").innerText.trim());
    if (!stream || stream.readyState === EventSource.CLOSED) later(WITHOUT_STREAM_MS);
}

/// Puts in the parts that differ; where there are others than before, all of them.
function put(fresh) {
    const parts = (of) => [...of.querySelectorAll("[data-live]")];
    const names = (of) => parts(of).map((part) => part.id).join(" ");
    if (names(fresh) !== names(document)) {
        const own = document.querySelector("#main > section, #main > p[data-live]");
        const other = fresh.querySelector("#main > section, #main > p[data-live]");
        replace(own, other);
    }
    for (const part of parts(fresh)) {
        const own = document.getElementById(part.id);
        // What somebody unfolded is no difference.
        if (own && own.outerHTML.replaceAll(` open=""`, "") !== part.outerHTML) replace(own, part);
    }
}

/// Puts a part in place of one that shows the same: what was unfolded in it stays so, and whoever stands in it keeps their place.
function replace(own, other) {
    const fresh = document.importNode(other, true);
    const all = (of, selector) => [...of.querySelectorAll(selector)];
    const stops = "a, summary, [tabindex]";
    const at = all(own, stops).indexOf(document.activeElement);
    const folds = all(fresh, "details");
    for (const [k, fold] of all(own, "details").entries()) if (folds[k]) folds[k].open = fold.open;
    own.replaceWith(fresh);
    all(fresh, stops)[at]?.focus({ preventScroll: true });
}

/// Has a screen reader say how far it is, now and then.
function hear(text) {
    if (Date.now() - heard < HEARD_MS) return;
    heard = Date.now();
    document.getElementById("heard").textContent = text;
}

function later(ms) {
    waits ??= setTimeout(renew, ms);
}

function soon() {
    later(Math.max(0, asked + PACE_MS - Date.now()));
}

/// Listens for what is new. A stream that breaks off opens itself again; one that is refused does not.
function listen() {
    stream?.close();
    stream = new EventSource(events);
    stream.addEventListener("piece", soon);
    stream.addEventListener("job", () => {
        stream.close();
        soon();
    });
    stream.addEventListener("error", () => {
        if (stream.readyState === EventSource.CLOSED) later(WITHOUT_STREAM_MS);
    });
}

// A screen that was locked, or a page that is gone back to: streams do not outlive it everywhere.
function again() {
    if (document.visibilityState !== "visible") return;
    if (stream?.readyState !== EventSource.OPEN) listen();
    soon();
}
document.addEventListener("visibilitychange", again);
addEventListener("pageshow", (shown) => shown.persisted && again());
addEventListener("online", again);
listen();
