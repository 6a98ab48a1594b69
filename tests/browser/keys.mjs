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
    globalThis.focusWatch = { seen, follows, called, all, html, stops, was: null };
}

async function watched(page) {
    if (!(await page.evaluate(() => "focusWatch" in globalThis))) await page.evaluate(watch, [REACH, LEAST_OUTLINE_PX]);
}

/// Presses Tab many times, without waiting for what comes of each.
async function tabs(keys, times, back) {
    const tab = { key: "Tab", code: "Tab", windowsVirtualKeyCode: 9, modifiers: back ? 8 : 0 };
    const sent = [];
    for (let press = 0; press < times; press += 1) {
        for (const type of ["rawKeyDown", "keyUp"]) sent.push(keys.send("Input.dispatchKeyEvent", { type, ...tab }));
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
/// what holds the focus or does not show it.
export async function walked(page) {
    await watched(page);
    const faults = await unfolded(page);
    const keys = await page.context().newCDPSession(page);
    const count = await page.evaluate(() => {
        // Tab begins where the focus was last.
        const top = document.createElement("span");
        top.tabIndex = -1;
        document.body.prepend(top);
        top.focus();
        top.remove();
        focusWatch.stops.length = 0;
        return focusWatch.all().length;
    });
    // A stop is noted as the next key comes; the last of them is outside the page.
    await tabs(keys, count + 2, false);
    faults.push(...await page.evaluate(() => {
        const { all, stops, follows, html } = focusWatch;
        const found = [];
        const way = stops.slice(1);
        const end = way.findIndex(({ out }) => out);
        const inside = end < 0 ? way : way.slice(0, end);
        const reached = new Set(inside.map(({ element }) => element));
        found.push(...all().filter((element) => !reached.has(element)).map((element) => `not reached: ${html(element)}`));
        found.push(...[...reached].filter((element) => !element.matches(":disabled") && inside.some((stop) => stop.element === element && !stop.seen)).map((element) => `no focus to be seen: ${html(element)}`));
        inside.forEach(({ element }, k) => {
            const before = inside[k - 1]?.element;
            if (before === element) found.push(`holds the focus: ${html(element)}`);
            else if (before && !follows(before, element)) found.push(`out of order, after ${html(before)}: ${html(element)}`);
        });
        if (end < 0 && inside.length > 0) found.push(`the page does not let go: ${html(inside.at(-1).element)}`);
        focusWatch.forth = inside.map(({ element }) => element);
        focusWatch.stops.length = 0;
        return found;
    }));
    if (faults.length > 0) return faults.slice(0, 8);
    // Behind the end it begins anew.
    await tabs(keys, count + 4, true);
    await keys.detach();
    return page.evaluate(() => {
        const { stops, forth, html } = focusWatch;
        const back = stops.slice(stops.findIndex(({ out }) => out) + 1).slice(0, forth.length);
        const found = [...forth].reverse().flatMap((element, k) => (back[k]?.element === element ? [] : [`not on the way back: ${html(element)}`]));
        found.push(...back.filter(({ out, seen }) => !out && !seen).map(({ element }) => `no focus to be seen on the way back: ${html(element)}`));
        return found.slice(0, 8);
    });
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
            await page.evaluate(() => {
                focusWatch.was = document.activeElement;
            });
            await page.keyboard.press(back ? "Shift+Tab" : "Tab");
            const at = await page.evaluate((back) => {
                const { was, seen, follows, called, html } = focusWatch;
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
