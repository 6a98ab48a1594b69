// The keyboard alone: what Tab comes to, in which order, whether that is to be seen, and whether it is let go.
import assert from "node:assert/strict";

/// What is pressed, scrolled or written into.
const REACH = ":is(a[href], summary, button, input, select, textarea, [role=region], [tabindex='0']):not(:disabled)";
/// A thinner outline is not seen.
const LEAST_OUTLINE_PX = 2;

/// Puts into a page what knows of the focus there.
function watch([reach, least]) {
    const seen = (element) => {
        const [style, box] = [getComputedStyle(element), element.getBoundingClientRect()];
        const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= least && !/, 0\)|transparent/.test(style.outlineColor);
        return outlined && box.width > 0 && box.right > 0 && box.left < innerWidth && box.bottom > 0 && box.top < innerHeight;
    };
    const follows = (a, b) => Boolean(a.compareDocumentPosition(b) & Node.DOCUMENT_POSITION_FOLLOWING);
    const named = (element) => (element.labels?.length ? [...element.labels] : [element]).map((label) => label.textContent).join(" ");
    const called = (element) => (element.getAttribute("aria-label") ?? named(element)).replaceAll(/\s+/g, " ").trim();
    const all = () => [...document.querySelectorAll(reach)].filter((element) => element.getClientRects().length > 0);
    const html = (element) => element.outerHTML.slice(0, 100);
    // Where the focus is as each key comes.
    const stops = [];
    addEventListener("keydown", ({ key }) => {
        const element = document.activeElement;
        if (key === "Tab") stops.push({ element, out: element === document.body, seen: seen(element) });
    }, true);
    const stand = () => (document.activeElement === document.body ? null : all().indexOf(document.activeElement));
    globalThis.focusWatch = { seen, follows, called, all, html, stand, stops };
}

async function watched(page) {
    if (await page.evaluate(() => "focusWatch" in globalThis)) return;
    await page.evaluate(watch, [REACH, LEAST_OUTLINE_PX]);
    // A picture that comes later moves what stands below it.
    await page.evaluate(async () => {
        for (const image of document.images) image.loading = "eager";
        await Promise.all([...document.images].map((image) => image.decode().catch(() => null)));
    });
}

/// Presses Tab many times; in haste without waiting for what comes of each.
async function tabs(keys, times, { back, hasty }) {
    const tab = { key: "Tab", code: "Tab", windowsVirtualKeyCode: 9, modifiers: back ? 8 : 0 };
    const sent = [];
    for (let press = 0; press < times; press += 1) {
        for (const type of ["rawKeyDown", "keyUp"]) sent.push(keys.send("Input.dispatchKeyEvent", { type, ...tab }));
        if (!hasty) await sent.at(-1);
    }
    await Promise.all(sent);
}

/// Unfolds what can be unfolded, by Enter and by Space.
async function unfolded(page) {
    for (let time = 0; time < 200; time += 1) {
        const folded = await page.evaluate(() => {
            const first = focusWatch.all().find((element) => element.matches("details:not([open]) > summary"));
            first?.focus();
            return first && focusWatch.html(first);
        });
        if (!folded) return [];
        await page.keyboard.press(time % 2 ? "Space" : "Enter");
        if (!(await page.evaluate(() => document.activeElement.parentElement.open))) return [`not unfolded by a key: ${folded}`];
    }
    return ["there is no end to what unfolds"];
}

/// Goes through a whole page by Tab and back by Shift and Tab. Faults: what is not reached, what comes before what stands above it,
/// what holds the focus or does not show it. In haste a browser may lose a key, so that what seems wrong is gone through again.
export async function walked(page) {
    await watched(page);
    const folded = await unfolded(page);
    const seems = await ways(page, true);
    return [...folded, ...(seems.length > 0 ? await ways(page, false) : [])].slice(0, 8);
}

async function ways(page, hasty) {
    const forth = await way(page, { back: false, hasty });
    return forth.length > 0 ? forth : way(page, { back: true, hasty });
}

async function way(page, { back, hasty }) {
    const keys = await page.context().newCDPSession(page);
    const count = await page.evaluate((back) => {
        const all = focusWatch.all();
        // Tab begins where the focus was last.
        const edge = document.createElement("span");
        edge.tabIndex = -1;
        if (back) document.body.append(edge);
        else document.body.prepend(edge);
        edge.focus();
        edge.remove();
        focusWatch.stops.length = 0;
        return all.length;
    }, back);
    // A stop is noted as the next key comes.
    await tabs(keys, count, { back, hasty });
    const last = await page.evaluate(() => focusWatch.stand());
    await tabs(keys, 1, { back, hasty: false });
    await keys.detach();
    return page.evaluate(([back, last]) => {
        const { all, stops, stand, follows, html } = focusWatch;
        const found = [];
        const inside = stops.slice(1).filter(({ out }) => !out);
        const reached = new Set(inside.map(({ element }) => element));
        found.push(...all().filter((element) => !reached.has(element)).map((element) => `not reached: ${html(element)}`));
        for (const [k, { element, seen }] of inside.entries()) {
            const before = inside[k - 1]?.element;
            if (!seen && !element.matches(":disabled")) found.push(`no focus to be seen: ${html(element)}`);
            if (before === element) found.push(`holds the focus: ${html(element)}`);
            else if (before && !(back ? follows(element, before) : follows(before, element))) found.push(`out of order, after ${html(before)}: ${html(element)}`);
        }
        // With one stop alone, a browser that begins anew comes to it again.
        if (last !== null && stand() === last && inside.length > 1) found.push(`the page does not let go: ${html(document.activeElement)}`);
        return found.map((fault) => (back ? `on the way back, ${fault}` : fault));
    }, [back, last]);
}

/// Somebody who has a keyboard and nothing else. Every stop is looked at: the focus is seen there, follows the one before it, and
/// is let go.
export function hand(page) {
    const where = () => page.url();
    const own = {
        /// Types an address.
        open: (address) => page.goto(address),
        press: (key) => page.keyboard.press(key),
        type: (text) => page.keyboard.type(text),
        /// Tab, once; what it came to, null outside the page.
        async tab(back = false) {
            await watched(page);
            await page.keyboard.press(back ? "Shift+Tab" : "Tab");
            const at = await page.evaluate((back) => {
                const { stops, seen, follows, called, html } = focusWatch;
                const was = stops.at(-1).element;
                const element = document.activeElement;
                if (element === document.body) return null;
                const inOrder = was === document.body || (back ? follows(element, was) : follows(was, element));
                return { html: html(element), called: called(element), held: element === was, inOrder, seen: seen(element) };
            }, back);
            if (at === null) return null;
            assert.ok(!at.held, `${where()}: the focus is held by ${at.html}`);
            assert.ok(at.inOrder, `${where()}: out of order: ${at.html}`);
            assert.ok(at.seen, `${where()}: no focus to be seen: ${at.html}`);
            return at;
        },
        /// Tab until something has the focus that is called so: by a text, or by a pattern.
        async to(name, back = false) {
            const is = (called) => (typeof name === "string" ? called === name : name.test(called));
            // From where somebody stands to the end of the page, and once more from its beginning.
            for (let [ends, press] = [0, 0]; ends < 2 && press < 2000; press += 1) {
                const at = await own.tab(back);
                if (at === null) ends += 1;
                else if (is(at.called)) return at;
            }
            throw new Error(`${where()}: Tab does not come to ${name}`);
        },
        /// Tab to a link or a button, and Enter.
        async enter(name, back = false) {
            await own.to(name, back);
            await page.keyboard.press("Enter");
        },
        /// The same for what leads to another page.
        async follow(name, back = false) {
            await own.to(name, back);
            const from = where();
            await Promise.all([page.waitForURL((url) => url.href !== from), page.keyboard.press("Enter")]);
        },
        /// What has the focus, without going anywhere: it is seen.
        async stands() {
            await watched(page);
            const [called, seen] = await page.evaluate(() => [focusWatch.called(document.activeElement), focusWatch.seen(document.activeElement)]);
            return { called, seen };
        },
    };
    return own;
}
