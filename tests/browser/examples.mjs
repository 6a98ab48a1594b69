// The examples that come with the program, and how they are posted.
import { readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

import { base } from "./gates.mjs";

const examples = path.join(path.dirname(fileURLToPath(import.meta.url)), "../../server/examples");

export const examplePath = (name) => path.join(examples, name);

export function example(name) {
    return JSON.parse(readFileSync(examplePath(name), "utf8"));
}

/// A published bulletin; its source stands with its decoder.
export const BULLETIN = [
    "DATA BASED ON 091200Z",
    "VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000",
    "",
    "FT  3000    6000    9000   12000   18000   24000  30000  34000  39000",
    "",
    "ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456",
    "",
].join("\n");

/// Posts to the API; the path of the answer below the page.
export async function posted(where, body) {
    const reply = await fetch(base + where, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(body),
    });
    if (reply.status !== 200) throw new Error(`${where} was answered ${reply.status}: ${await reply.text()}`);
    return reply.headers.get("location").replace("/v1/", "/").replace("/assessments/", "/flights/");
}
