// The day: JSON, and nothing beside it. Every field reads its place there and writes to it, so that what has no field stays as
// it is, and what is kept, saved and sent is one and the same.

let day = Object.create(null);

function get(pointer) {
    return partsOf(pointer).reduce((value, part) => (value === null || typeof value !== "object" ? undefined : value[part]), day);
}

/// Says so where something that could hold no member had to give way.
function set(pointer, value) {
    const parts = partsOf(pointer);
    const last = parts.pop();
    let node = day;
    for (const part of parts) {
        const before = node[part];
        if (before === null || typeof before !== "object" || before instanceof Literal) {
            if (before !== undefined && before !== null) say("keeping", `What was written here takes the place of ${writtenJson(before)}.`);
            node[part] = Object.create(null);
        }
        node = node[part];
    }
    node[last] = value;
}

/// Takes a member away, and whatever it leaves empty behind it: up to what somebody added or chose.
function unset(pointer) {
    const parent = parentOf(pointer);
    const holder = parent === "" ? day : get(parent);
    const last = partsOf(pointer).pop();
    if (Array.isArray(holder)) holder.splice(Number(last), 1);
    else if (holder) delete holder[last];
    if (parent !== "" && isEmpty(holder) && !isChosen(parent)) unset(parent);
}

/// Whether something stands although it is empty: an item of a list, or a form that was chosen.
function isChosen(pointer) {
    if (Array.isArray(get(parentOf(pointer)))) return true;
    return known.forms.has(patternOf(pointer));
}

/// What the page knows: patterns of pointers, with "-" for any item of a list. `fields` have how they are written and what they
/// are called, `above` whatever has a field below it.
const known = { fields: new Map(), lists: new Map(), ones: new Map(), forms: new Set(), above: new Set() };

function patternOf(pointer) {
    let pattern = "";
    for (const part of partsOf(pointer)) pattern += known.lists.has(pattern) && /^\d+$/.test(part) ? "/-" : `/${escapedPart(part)}`;
    return pattern;
}

/// Whether the items of a list are lists themselves.
const ofLists = (pattern) => known.lists.has(`${pattern}/-`);
/// Whether an item of a list is shown in fields.
const isItem = (item, pattern) => (ofLists(pattern) ? Array.isArray(item) : isObject(item));

/// Learns from the page what it has fields for.
function learn(root, below = (pattern) => pattern) {
    for (const field of root.querySelectorAll("[data-field]")) {
        const { kind, columns } = field.dataset;
        const label = root.querySelector(`label[for="${field.id}"]`) ?? field.querySelector("legend");
        const words = field.tagName === "SELECT" ? [...field.options].map((option) => option.value) : null;
        const oneLine = field.tagName === "INPUT";
        const about = { kind, columns: columns?.split(" "), words, oneLine, called: label.firstChild.textContent.trim() };
        known.fields.set(below(field.dataset.field), about);
    }
    for (const list of root.querySelectorAll("[data-list]")) known.lists.set(below(list.dataset.list), list);
    for (const one of root.querySelectorAll("[data-one]")) {
        const pattern = below(one.dataset.one);
        known.ones.set(pattern, one);
        for (const template of formsOf(one)) {
            known.forms.add(`${pattern}/${template.dataset.form}`);
            learn(template.content, (inner) => pattern + inner.slice(template.dataset.base.length));
        }
    }
    for (const template of root.querySelectorAll("template:not([data-forms])")) learn(template.content, below);
}

const formsOf = (one) => document.querySelectorAll(`template[data-forms="${one.dataset.forms}"]`);

function learnAll() {
    learn(form);
    known.lists.set("/entries", null);
    for (const pattern of [...known.fields.keys(), ...known.lists.keys(), ...known.ones.keys()]) {
        for (let above = parentOf(pattern); above !== ""; above = parentOf(above)) known.above.add(above);
    }
}

/// What of a part of the day no field shows: pointers.
function leftovers(value, pointer, pattern = patternOf(pointer)) {
    if (value === undefined) return [];
    const field = known.fields.get(pattern);
    if (field) return shownAs(field, value) === undefined ? [pointer] : [];
    if (known.lists.has(pattern) && Array.isArray(value)) {
        return value.flatMap((item, k) => (isItem(item, pattern) ? leftovers(item, `${pointer}/${k}`, `${pattern}/-`) : [`${pointer}/${k}`]));
    }
    const one = known.ones.get(pattern);
    if (one && typeof value === "string" && one.querySelector(`option[data-word][value="${CSS.escape(value)}"]`)) return [];
    if (!isObject(value) || !known.above.has(pattern)) return [pointer];
    const chosen = one ? formOf(one, value) : null;
    return Object.entries(value).flatMap(([name, inner]) => {
        const other = one && name !== chosen && known.forms.has(`${pattern}/${name}`);
        const place = `${pointer}/${escapedPart(name)}`;
        return other ? [place] : leftovers(inner, place, `${pattern}/${escapedPart(name)}`);
    });
}

/// Which form a value has: the first of those that the page knows.
function formOf(one, value) {
    if (typeof value === "string") return value;
    if (!isObject(value)) return "";
    return [...formsOf(one)].map((template) => template.dataset.form).find((name) => name in value) ?? "";
}

// How a value is written in a field, and what is meant by what is written there.

const single = (value) => typeof value === "string" || isNumber(value);
const asText = (value) => (value instanceof Literal ? value.text : String(value));
const asValue = (text) => (NUMBER.test(text.trim()) ? literal(text.trim()) : text.trim());
const cells = (line) => {
    const parted = line.split(/[,;\t]/).map((cell) => cell.trim()).filter((cell) => cell !== "");
    const blanks = line.trim().split(/\s+/);
    return (parted.length === 1 && blanks.every((cell) => NUMBER.test(cell)) ? blanks : parted).map(asValue);
};
const lines = (text) => text.split("\n").filter((line) => line.trim() !== "");

/// Undefined where the field cannot show it without loss.
function shownAs({ kind, columns, words, oneLine }, value) {
    const plain = (text) => (oneLine && /[\r\n]/.test(text) ? undefined : text);
    const inCell = (x) => isNumber(x) || (typeof x === "string" && !/[,;\t\n]/.test(x) && x.trim() === x && x !== "");
    const rows = (list) => list.map((row) => row.map(asText).join(", ")).join("\n");
    if (kind === "json") return typeof value === "string" ? value : value === null ? undefined : writtenJson(value);
    if (typeof value === "string" && ["text", "value", "columns"].includes(kind)) {
        if (value === "" || (words && !words.includes(value))) return undefined;
        return plain(value);
    }
    if (kind === "value" && isNumber(value)) return asText(value);
    if (!Array.isArray(value)) return undefined;
    if (kind === "list") return value.every(inCell) ? value.map(asText).join(", ") : undefined;
    if (kind === "some") return value.every((x) => typeof x === "string") ? value.join(" ") : undefined;
    const isRow = (row) => Array.isArray(row) && row.length > 1 && row.every(inCell);
    if (["rows", "columns"].includes(kind)) return value.every(isRow) ? rows(value) : undefined;
    const named = (row) => isObject(row) && Object.keys(row).sort().join() === [...columns].sort().join();
    if (kind === "table" && value.every((row) => named(row) && columns.every((name) => inCell(row[name])))) {
        return rows(value.map((row) => columns.map((name) => row[name])));
    }
    return undefined;
}

/// Undefined where nothing is.
function meantBy({ kind, columns }, text) {
    if (text.trim() === "") return undefined;
    if (kind === "text") return text;
    // As it is: a bulletin's heights and a curve's columns are told apart by the service.
    if (kind === "columns") return text;
    if (kind === "value") return asValue(text);
    if (kind === "some") return text.split(" ");
    if (kind === "list") return lines(text).flatMap(cells);
    if (kind === "rows") return lines(text).map(cells);
    if (kind === "json") {
        try {
            const read = readJson(text);
            return single(read) ? text : read;
        } catch {
            return text;
        }
    }
    return lines(text).map((line) => {
        const row = cells(line);
        // What is too much stays with the last, for the service to fault.
        const last = row.length > columns.length ? row.slice(columns.length - 1).map(asText).join(" ") : row[columns.length - 1];
        const found = Object.create(null);
        columns.forEach((name, k) => {
            const cell = k === columns.length - 1 ? last : row[k];
            if (cell !== undefined) found[name] = cell;
        });
        return found;
    });
}
