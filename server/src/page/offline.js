// What a browser does in place of the network, where it lets pages keep something: HTTPS, or the machine itself. Before this text
// the server puts ASSETS, what pages load, so that a new release is a new worker, and MOST, how many pages and pictures are kept.
//
// Whatever the server answers is shown, and kept if it is a day, a flight or a sweep, a sheet or a picture of one. Where it does
// not answer in time, what is kept is shown, with its age at the top. What an address with the secret of a link has shown is kept
// apart, under the sum of that secret (the pages themselves hold it, in their links): only whoever has the address again is shown
// it, and no list names it. Signing out, and signing in with another token, gives up all of it.

/// Pages and pictures.
const PAGES = "slowpoint-pages-1";
/// What pages load, and the page that is shown where nothing is kept.
const FILES = "slowpoint-files-1";
/// Of each link, with the sum of its secret.
const LINK = "slowpoint-link-1-";
const SHELL = "/offline";
/// Under this address of FILES stands the sum of the token that was last signed in with.
const WHOSE = "/sign-in";
/// Most links, each with as many pages and pictures, and most files that pages load: the oldest are given up.
const MOST_LINKS = 8;
const MOST_FILES = 60;
/// So long the server is waited for while there is something else to show, ms.
const WAIT_MS = 4000;
/// When it was kept.
const AT = "x-kept-at";

/// Pages that are nobody's: where to begin, and where a day is written down.
const NOBODYS = ["/", "/new"];
const PAGE = /^\/(?:days|flights|sweeps)\/[0-9a-f]{32}(?:\/sheet)?$/;
const PICTURE = /^\/v1\/(?:assessments|sweeps)\/[0-9a-f]{32}\/[a-z-]+\.svg$/;

self.addEventListener("install", (event) => {
    event.waitUntil((async () => {
        const files = await caches.open(FILES);
        await files.addAll([...ASSETS, SHELL].map((path) => new Request(path, { cache: "no-cache" })));
        await self.skipWaiting();
    })());
});

self.addEventListener("activate", (event) => {
    event.waitUntil((async () => {
        const known = (name) => [PAGES, FILES].includes(name) || name.startsWith(LINK);
        const old = (await caches.keys()).filter((name) => name.startsWith("slowpoint-") && !known(name));
        await Promise.all(old.map((name) => caches.delete(name)));
        await self.clients.claim();
    })());
});

self.addEventListener("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (url.origin !== self.location.origin) return;
    if (request.method === "POST" && ["/sign-in", "/sign-out"].includes(url.pathname)) {
        event.respondWith(signing(request, url.pathname));
    } else if (request.method !== "GET") {
        return;
    } else if (url.pathname.startsWith("/assets/")) {
        event.respondWith(file(request));
    } else if (keeps(url) || request.mode === "navigate") {
        event.respondWith(answered(event, url));
    }
});

function keeps(url) {
    return NOBODYS.includes(url.pathname) || PAGE.test(url.pathname) || PICTURE.test(url.pathname);
}

/// Counts how often all was given up: what was asked for before that is not kept after it.
let given_up = 0;

async function digits(text) {
    const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text)));
    return [...sum.slice(0, 16)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/// Where something is kept, and under which address: without the secret of a link.
async function home(url) {
    const secret = url.searchParams.get("share");
    const key = new URL(url);
    key.hash = "";
    if (secret === null) return { name: PAGES, key: key.href };
    key.searchParams.delete("share");
    return { name: LINK + await digits(secret), key: key.href };
}

/// The server's answer, or what is kept.
async function answered(event, url) {
    const { request } = event;
    const wanted = keeps(url) ? await home(url) : null;
    const since = given_up;
    const asked = fetch(request).then((reply) => {
        if (wanted) event.waitUntil(keep(wanted, reply.clone(), since));
        return reply;
    }, () => null);
    const late = new Promise((over) => setTimeout(over, WAIT_MS, "late"));
    const first = await Promise.race([asked, late]);
    // A proxy whose service is away, or that is asked too fast, answers too.
    if (first && first !== "late" && first.status < 500 && first.status !== 429) return first;
    const kept = wanted && await found(wanted, !PICTURE.test(url.pathname));
    if (kept) {
        event.waitUntil(asked);
        return dated(kept.reply, kept.as_asked);
    }
    return await asked ?? (request.mode === "navigate" ? nowhere() : Response.error());
}

/// What an address asks for but for how it is shown: another part, other flights, or another day to compare with is no stand-in.
function subject(address) {
    const { searchParams } = new URL(address);
    return ["only", "part", "since"].map((name) => searchParams.get(name)).join();
}

/// What is kept for an address. A page is shown as it was opened last, if it never was in these units or with this delay's
/// landing; a picture is one of these.
async function found({ name, key }, page) {
    if (!await caches.has(name)) return null;
    const cache = await caches.open(name);
    const exact = await cache.match(key, { ignoreVary: true });
    if (exact) return { reply: exact, as_asked: true };
    if (!page) return null;
    const all = await cache.keys(key, { ignoreSearch: true, ignoreVary: true });
    const other = all.filter((request) => subject(request.url) === subject(key)).at(-1);
    return other ? { reply: await cache.match(other, { ignoreVary: true }), as_asked: false } : null;
}

/// Keeps an answer of the service; gives up what may not be read any more, or is not there. Whoever is not signed in any more keeps
/// what is here.
async function keep({ name, key }, reply, since) {
    // A proxy or a portal on the way says nothing of it.
    if (!reply.headers.has("x-request-id")) return;
    if ([403, 404, 410].includes(reply.status) && await caches.has(name)) {
        await (await caches.open(name)).delete(key, { ignoreSearch: true, ignoreVary: true });
    }
    const type = reply.headers.get("content-type") ?? "";
    if (reply.status !== 200 || reply.redirected || !/^(?:text\/html|image\/svg)/.test(type)) return;
    const headers = new Headers(reply.headers);
    headers.set(AT, String(Date.now()));
    // Whole, before it takes the place of what is kept: the server may be away before its end.
    const body = await reply.blob();
    if (given_up !== since) return;
    const cache = await caches.open(name);
    await cache.put(key, new Response(body, { headers }));
    await trim(cache, MOST);
    const links = (await caches.keys()).filter((other) => other.startsWith(LINK));
    await Promise.all(links.slice(0, Math.max(0, links.length - MOST_LINKS)).map((other) => caches.delete(other)));
}

async function trim(cache, most) {
    const keys = await cache.keys();
    await Promise.all(keys.slice(0, Math.max(0, keys.length - most)).map((key) => cache.delete(key, { ignoreVary: true })));
}

/// A file that pages load: its address changes with it.
async function file(request) {
    const cache = await caches.open(FILES);
    const kept = await cache.match(request.url, { ignoreVary: true });
    if (kept) return kept;
    const reply = await fetch(request);
    if (reply.status === 200) {
        await cache.put(request.url, reply.clone());
        await trim(cache, MOST_FILES);
    }
    return reply;
}

/// A kept page with its age before all else.
async function dated(kept, as_asked) {
    const at = Number(kept.headers.get(AT));
    if (!(kept.headers.get("content-type") ?? "").startsWith("text/html")) return kept;
    const day = new Date(at).toLocaleString("en-GB", { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
    const told = `<section aria-label="How old this is"><p class="kept" role="status" data-kept-at="${at}">Kept on this device `
        + `<span>${age(at)}</span></p><p class="kept-why">On ${day}. The server did not give it in time, so this is not what `
        + `it would say now.${as_asked ? "" : " It is shown as it was opened last, not as it was asked for now."}</p></section>`;
    const text = (await kept.text()).replace("<body>", `<body class="aged">${told}`);
    return new Response(text, { headers: kept.headers });
}

function age(at) {
    if (!(Date.now() >= at)) return "at a time that is not known: the clock of this device was set back";
    const minutes = Math.floor((Date.now() - at) / 60_000);
    const [hours, days] = [Math.floor(minutes / 60), Math.floor(minutes / 1440)];
    if (minutes < 1) return "less than a minute ago";
    if (hours < 1) return `${minutes} min ago`;
    if (days < 2) return `${hours} h ${minutes % 60} min ago`;
    return `${days} days ${hours % 24} h ago`;
}

/// The page for what is not kept.
async function nowhere() {
    const shell = await (await caches.open(FILES)).match(SHELL, { ignoreVary: true });
    return shell ? new Response(await shell.blob(), { status: 503, headers: shell.headers }) : Response.error();
}

/// What was kept for whoever was signed in is not for whoever is next. What another site sends here the server refuses.
async function signing(request, path) {
    const [sent, ours] = [request.clone(), request.referrer.startsWith(`${self.location.origin}/`)];
    const reply = await fetch(request).catch(() => null);
    // Only what the server takes is led on.
    const taken = reply?.type === "opaqueredirect";
    if (path === "/sign-out") {
        if (taken || (!reply && ours)) await forget();
        return reply ?? stillIn();
    }
    if (taken) {
        const token = (await sent.formData()).get("token") ?? "";
        const [files, sum] = [await caches.open(FILES), await digits(String(token).trim())];
        const before = await files.match(WHOSE);
        if (await before?.text() !== sum) await forget();
        await files.put(WHOSE, new Response(sum));
    }
    return reply ?? nowhere();
}

/// The server has to hear of it before the token is given up.
async function stillIn() {
    const told = `<section aria-label="Still signed in"><p class="kept" role="alert">You are still signed in here: the server did not `
        + `answer.</p><p class="kept-why">What was kept on this device is given up. Sign out again when the server answers.</p></section>`;
    const page = await nowhere();
    return new Response((await page.text()).replace("<body>", `<body>${told}`), { status: 503, headers: page.headers });
}

async function forget() {
    given_up += 1;
    const kept = (await caches.keys()).filter((name) => name === PAGES || name.startsWith(LINK));
    await Promise.all(kept.map((name) => caches.delete(name)));
}

/// What a page asks for.
const asks = {
    /// How long ago something was kept.
    age: ({ at }) => age(at),
    /// The pages that are kept, the youngest first; those of links are not told of.
    async list() {
        const cache = await caches.open(PAGES);
        const pages = new Map();
        for (const request of await cache.keys()) {
            const url = new URL(request.url);
            if (!PAGE.test(url.pathname) || url.pathname.endsWith("/sheet")) continue;
            const kept = await cache.match(request, { ignoreVary: true });
            const text = await kept.text();
            const name = /data-kept-as="([^"]*)"/.exec(text) ?? /<title>(.*?) - Slowpoint<\/title>/.exec(text);
            pages.delete(url.pathname);
            const at = Number(kept.headers.get(AT));
            pages.set(url.pathname, { href: url.pathname + url.search, name: name?.[1] ?? "", age: age(at) });
        }
        return [...pages.values()].reverse();
    },
    /// Keeps these addresses, but what was kept since a page began to load.
    async keep({ addresses, since }) {
        for (const address of addresses) await fetched(new URL(address, self.location.origin), since);
        return addresses.length;
    },
    /// Keeps a day with all its flights, sheets and pictures; tells how far it is.
    async day({ address }, tell) {
        const [waiting, since] = [[new URL(address)], given_up];
        const seen = new Set(waiting.map((url) => url.pathname));
        for (let k = 0; k < waiting.length; k += 1) {
            tell({ done: k, of: waiting.length });
            const text = await fetched(waiting[k]);
            if (text === null) throw new Error(waiting[k].pathname);
            for (const [, href] of text.matchAll(/(?:href|src)="([^"#]+)/g)) {
                const url = new URL(href.replaceAll("&amp;", "&"), self.location.origin);
                // A flight is opened once; each picture is another, and each part of a sheet.
                const each = PICTURE.test(url.pathname) || url.pathname.endsWith("/sheet");
                const once = each ? url.pathname + url.search : url.pathname;
                const of_flight = /^\/(?:flights|v1)\//.test(url.pathname) || url.pathname.startsWith(`${waiting[0].pathname}/`);
                if (url.origin !== self.location.origin || !of_flight || seen.has(once)) continue;
                if (!PAGE.test(url.pathname) && !PICTURE.test(url.pathname)) continue;
                seen.add(once);
                if (PAGE.test(url.pathname)) url.searchParams.delete("delay");
                waiting.push(url);
            }
        }
        // Whoever signed out meanwhile keeps nothing; nor is all of it kept where there is no room.
        if (given_up !== since) throw new Error("signed out");
        for (const url of waiting) if (!await found(await home(url), false)) throw new Error("no room");
        await navigator.storage?.persist?.();
        return waiting.length;
    },
};

/// Asks for something to be kept; its text, or null where the server does not give it. A picture never changes: it is asked for once.
async function fetched(url, since = Infinity) {
    if (!keeps(url)) return "";
    const before = given_up;
    const kept = (await found(await home(url), false))?.reply;
    if (kept && (PICTURE.test(url.pathname) || Number(kept.headers.get(AT)) >= since)) return "";
    const ask = () => fetch(url, { headers: { accept: "text/html,image/svg+xml" } }).catch(() => null);
    let reply = await ask();
    // A server or proxy that is asked too fast says when to come back.
    for (let again = 0; again < 5 && [429, 503].includes(reply?.status); again += 1) {
        const after_s = Number(reply.headers.get("retry-after")) || 1;
        await new Promise((over) => setTimeout(over, Math.min(after_s, 10) * 1000));
        reply = await ask();
    }
    if (!reply?.ok) return null;
    const text = await reply.clone().text();
    await keep(await home(url), reply, before);
    return text;
}

self.addEventListener("message", (event) => {
    const [port] = event.ports;
    const told = asks[event.data.asks]?.(event.data, (progress) => port.postMessage({ progress }));
    event.waitUntil(Promise.resolve(told).then((answer) => port.postMessage({ answer }), () => port.postMessage({ failed: true })));
});
