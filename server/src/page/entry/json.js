// JSON as people wrote it: a number stays as it was written (620.0 is not 620 to whoever compares two days), and a name that is
// repeated is told, where JSON.parse would drop the first of the two.

/// A number that JavaScript would write otherwise.
class Literal {
    constructor(text) {
        this.text = text;
    }
}

const TOKEN = /"(?:[^"\\]|\\.)*"|-?\d[\d.eE+-]*|true|false|null|[[\]{}:,]/g;
const NUMBER = /^-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?$/;

const isObject = (value) => value !== null && typeof value === "object" && !Array.isArray(value) && !(value instanceof Literal);
const isNumber = (value) => typeof value === "number" || value instanceof Literal;
const isEmpty = (value) => (Array.isArray(value) ? value.length === 0 : isObject(value) && Object.keys(value).length === 0);

function literal(text) {
    const number = Number(text);
    return String(number) === text ? number : new Literal(text);
}

/// Throws an Error with words for people.
function readJson(text) {
    const plain = text.replace(/^\uFEFF/, "");
    // Finds what is no JSON; what is left to read below is well formed.
    JSON.parse(plain);
    const tokens = plain.match(TOKEN);
    let at = 0;
    const value = () => {
        const token = tokens[at++];
        if (token === "[") return items();
        if (token === "{") return members();
        return /^[-\d]/.test(token) ? literal(token) : JSON.parse(token);
    };
    const items = () => {
        const list = [];
        while (tokens[at] !== "]") {
            if (tokens[at] === ",") at += 1;
            list.push(value());
        }
        at += 1;
        return list;
    };
    const members = () => {
        const found = Object.create(null);
        while (tokens[at] !== "}") {
            if (tokens[at] === ",") at += 1;
            const name = JSON.parse(tokens[at]);
            at += 2;
            if (name in found) throw new Error(`the name ${JSON.stringify(name)} stands twice in one object`);
            found[name] = value();
        }
        at += 1;
        return found;
    };
    return value();
}

/// Lists of single values stand in one line.
function writtenJson(value, indent = "") {
    const inner = `${indent}  `;
    if (value instanceof Literal) return value.text;
    if (Array.isArray(value)) {
        if (value.length === 0) return "[]";
        const items = value.map((item) => writtenJson(item, inner));
        const short = value.every((item) => !isObject(item) && !(Array.isArray(item) && item.some((x) => typeof x === "object")));
        return short ? `[${items.join(", ")}]` : `[\n${inner}${items.join(`,\n${inner}`)}\n${indent}]`;
    }
    if (isObject(value)) {
        const there = Object.entries(value).filter(([, item]) => item !== undefined);
        const members = there.map(([name, item]) => `${JSON.stringify(name)}: ${writtenJson(item, inner)}`);
        return members.length === 0 ? "{}" : `{\n${inner}${members.join(`,\n${inner}`)}\n${indent}}`;
    }
    return JSON.stringify(value);
}

const copied = (value) => readJson(writtenJson(value));

// JSON Pointer (RFC 6901).
const partsOf = (pointer) => pointer.split("/").slice(1).map((part) => part.replace(/~1/g, "/").replace(/~0/g, "~"));
const escapedPart = (part) => String(part).replace(/~/g, "~0").replace(/\//g, "~1");
const parentOf = (pointer) => pointer.slice(0, pointer.lastIndexOf("/"));
