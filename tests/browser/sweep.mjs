// A sweep on a screen: what answers is in sight.
import assert from "node:assert/strict";

import { example, posted } from "./examples.mjs";
import { base, closed } from "./gates.mjs";

async function inSight(browser) {
    const context = await browser.newContext({ viewport: { width: 1280, height: 740 }, serviceWorkers: "block" });
    try {
        const page = await context.newPage();
        await page.goto(base + await posted("/v1/sweeps", example("sweeps/meadow.json")));
        for (const table of await page.locator(".wide:has(table)").all()) {
            const [name, over] = await table.evaluate((own) => [own.getAttribute("aria-label"), own.scrollWidth - own.clientWidth]);
            assert.ok(over <= 0, `${name}: ${over} px out of sight`);
        }
        const met = page.locator("td.meets");
        assert.ok(await met.count() > 0);
        for (const cell of await met.all()) {
            const { x, width } = await cell.boundingBox();
            assert.ok(x >= 0 && x + width <= 1280, `${x} ${width}`);
        }
        // On a phone it scrolls, with the delay beside it; whether it meets is seen without.
        await page.setViewportSize({ width: 360, height: 740 });
        for (const cell of await met.all()) {
            const { x, width } = await cell.boundingBox();
            assert.ok(x >= 0 && x + width <= 360, `${x} ${width}`);
        }
    } finally {
        await closed(context);
    }
}

export const STORIES = [["a sweep: what meets is in sight", inSight]];
