// Servers of stories: each has its own, which it can stop; and what stories do and wait for on its pages.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";

import { example } from "./examples.mjs";
import { closed, launched } from "./gates.mjs";

const program = process.env.SLOWPOINT;

/// Servers that are not ended: a story that has no end leaves one.
const left = new Set();
process.on("exit", () => {
    for (const { child, data } of left) {
        child?.kill("SIGKILL");
        rmSync(data, { recursive: true, force: true });
    }
});

/// A server, and where it is; it flies on one core, so that work can be watched on any machine. `stop` and `start` are of the same data and the same address.
async function serving(tokens = []) {
    const data = mkdtempSync(path.join(tmpdir(), "slowpoint-story-"));
    const store = ["--data-dir", path.join(data, "store")];
    const secrets = tokens.map((name) => {
        const told = execFileSync(program, ["token", "add", ...store, name], { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] });
        return /slowpoint_[0-9a-f]{64}/.exec(told)[0];
    });
    const server = { data, secrets, port: 0, base: "", child: null };
    left.add(server);
    server.start = async () => {
        server.child = spawn(program, ["serve", "--listen", `127.0.0.1:${server.port}`, "--cores", "1", ...store], { stdio: ["ignore", "ignore", "pipe"] });
        server.port = await new Promise((found, failed) => {
            let log = "";
            server.child.stderr.on("data", (some) => {
                log += some;
                const told = /listening.*127\.0\.0\.1:([1-9]\d*)/.exec(log);
                if (told) found(Number(told[1]));
            });
            server.child.on("exit", () => failed(new Error(log)));
        });
        server.base = `http://127.0.0.1:${server.port}`;
    };
    server.stop = async () => {
        const ended = new Promise((over) => server.child.once("exit", over));
        server.child.kill("SIGKILL");
        await ended;
    };
    server.end = async () => {
        if (server.child.exitCode === null && server.child.signalCode === null) await server.stop();
        rmSync(data, { recursive: true, force: true });
        left.delete(server);
    };
    /// Posts to the API; the reply.
    server.post = async (where, body, more = {}) => {
        const bearer = secrets[0] ? { authorization: `Bearer ${secrets[0]}` } : {};
        const headers = { "content-type": "application/json", ...bearer, ...more };
        const reply = await fetch(server.base + where, { method: "POST", headers, body: JSON.stringify(body) });
        assert.ok(reply.ok, `${where} was answered ${reply.status}: ${await reply.clone().text()}`);
        return reply;
    };
    /// Posts a day; its page.
    server.day = async (body) => (await server.post("/v1/days", body)).headers.get("location").replace("/v1/", "/");
    await server.start();
    return server;
}

/// A small day.
export function meadow(flights = 256) {
    const day = example("days/meadow.json");
    delete day.until;
    return { ...day, flights };
}

/// Runs a story with a server and a context of its own, and where it has options for one, a browser.
export function story(name, told, { tokens, browser: own, context: wishes } = {}) {
    return [name, async (shared) => {
        const server = await serving(tokens);
        const browser = own ? await launched(own) : shared;
        const context = await browser.newContext({ viewport: { width: 360, height: 740 }, ...wishes });
        try {
            await told({ server, browser, context, page: await context.newPage() });
        } finally {
            await closed(context);
            if (own) await closed(browser);
            await server.end();
        }
    }];
}

export async function text(page, selector = "body") {
    return (await page.locator(selector).first().innerText()).replaceAll(/\s+/g, " ");
}

/// Waits until something that a page works out comes true.
export async function until(page, what, argument) {
    for (let tries = 0; tries < 300; tries += 1) {
        if (await page.evaluate(what, argument)) return;
        await page.waitForTimeout(100);
    }
    throw new Error(`it did not come true: ${what}`);
}

/// Waits until the worker has kept this page: it answers for every page that is opened from then on.
export async function kept(page) {
    await until(page, async (path) => {
        for (const name of await caches.keys()) {
            const keys = await (await caches.open(name)).keys();
            if (keys.some((key) => new URL(key.url).pathname === path)) return true;
        }
        return false;
    }, new URL(page.url()).pathname);
}

/// A day that takes some seconds, posted as the page for entering one does: a quick look first, then the whole as a job. When it
/// was asked, and how long each took, ms.
export async function asks(page, server, flights, seed = 1) {
    return page.evaluate(async ([look, whole]) => {
        const post = (body, more) => fetch("/v1/days", {
            method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json", ...more },
        });
        const now = () => performance.timeOrigin + performance.now();
        const begun = now();
        const first = await post(look, {});
        const looked = now();
        const job = await post(whole, { prefer: "respond-async" });
        const id = (reply) => reply.headers.get("location").split("/").pop();
        return { begun, look_ms: looked - begun, whole_ms: now() - looked, look: id(first), job: id(job), statuses: [first.status, job.status] };
    }, [{ ...meadow(64), seed }, { ...meadow(flights), seed }]);
}
