// Fields of the page, from the day and back.

const form = document.getElementById("day");
const $ = (id) => document.getElementById(id);
/// The flight that is open, counted from 0.
let open = 0;

/// Makes what a template holds, for one place: its patterns become pointers.
function made(template, place) {
    const part = document.importNode(template.content, true);
    const put = (element, name) => {
        const text = element.getAttribute(name);
        if (text?.includes("/")) element.setAttribute(name, text.split(" ").map(place).join(" "));
    };
    for (const element of part.querySelectorAll("*")) {
        for (const name of ["id", "for", "aria-describedby", "data-field", "data-list", "data-item", "data-one", "data-into"]) put(element, name);
    }
    return part;
}

/// Shows a part of the day in the fields below an element.
function fill(root) {
    root.querySelectorAll("[data-field]").forEach(fillField);
    root.querySelectorAll("[data-list]").forEach(fillList);
    root.querySelectorAll("[data-one]").forEach(fillOne);
}

function fillField(field) {
    const about = known.fields.get(patternOf(field.dataset.field));
    const value = get(field.dataset.field);
    const text = (value === undefined ? undefined : shownAs(about, value)) ?? "";
    if (about.kind === "some") {
        const words = text.split(" ");
        for (const box of field.querySelectorAll("input")) box.checked = words.includes(box.value);
    } else {
        field.value = text;
    }
}

function fillList(list) {
    const at = list.dataset.list;
    const template = list.querySelector(":scope > template");
    const items = list.querySelector(":scope > .items");
    const depth = partsOf(at).length;
    const value = get(at);
    items.replaceChildren();
    for (const [k, item] of (Array.isArray(value) ? value : []).entries()) {
        // What has no fields is kept below.
        if (!isItem(item, patternOf(at))) continue;
        const part = made(template, (pattern) => {
            const parts = pattern.split("/");
            return [at, parts[depth + 1].replace("-", k), ...parts.slice(depth + 2)].join("/");
        });
        const called = `${template.content.firstElementChild.dataset.oneCalled} ${k + 1}`;
        part.querySelector("legend").textContent = called;
        part.firstElementChild.querySelector(":scope > .press > [data-remove]").textContent = `Remove ${called}`;
        items.append(part);
    }
    fill(items);
}

function fillOne(one) {
    const chosen = formOf(one, get(one.dataset.one));
    const select = one.querySelector(":scope > [data-form]");
    select.value = [...select.options].some((option) => option.value === chosen) ? chosen : "";
    const inner = one.querySelector(":scope > .form");
    const template = [...formsOf(one)].find((template) => template.dataset.form === select.value);
    inner.replaceChildren();
    if (!template) return;
    inner.append(made(template, (pattern) => one.dataset.one + pattern.slice(template.dataset.base.length)));
    fill(inner);
}

/// What somebody wrote goes into the day.
function taken(field) {
    const about = known.fields.get(patternOf(field.dataset.field));
    const boxes = () => [...field.querySelectorAll("input:checked")].map((box) => box.value).join(" ");
    const value = meantBy(about, about.kind === "some" ? boxes() : field.value);
    const pattern = patternOf(field.dataset.field);
    if (value !== undefined) set(field.dataset.field, value);
    // A form that was chosen stays so.
    else if (known.forms.has(pattern)) set(field.dataset.field, emptyForm(pattern));
    else unset(field.dataset.field);
    mended(field.dataset.field);
    if (field.dataset.field === `/entries/${open}/name`) nameFlight();
    changed();
}

/// A form is chosen; what the other held is kept for as long as the page is open.
const laidAside = new Map();

function chosen(one) {
    const at = one.dataset.one;
    const name = one.querySelector(":scope > [data-form]").value;
    const before = formOf(one, get(at));
    const isForm = (form) => known.forms.has(`${patternOf(at)}/${form}`);
    if (isForm(before)) {
        laidAside.set(`${at}/${before}`, get(`${at}/${before}`));
        delete get(at)[before];
    } else if (typeof get(at) === "string") {
        unset(at);
    }
    if (isForm(name)) set(`${at}/${name}`, laidAside.get(`${at}/${name}`) ?? emptyForm(`${patternOf(at)}/${name}`));
    else if (name !== "") set(at, name);
    else if (get(at) !== undefined && (!isObject(get(at)) || (isEmpty(get(at)) && !isChosen(at)))) unset(at);
    mended(at);
    fillOne(one);
    changed();
}

/// What stands where a form was chosen and nothing is written yet: its field or fields are asked for.
function emptyForm(pattern) {
    const field = known.fields.get(pattern);
    if (!field) return Object.create(null);
    return ["list", "rows"].includes(field.kind) ? [] : field.kind === "json" ? Object.create(null) : null;
}

function added(list) {
    const at = list.dataset.list;
    const before = get(at);
    if (before !== undefined && before !== null && !Array.isArray(before)) return lead(at);
    const item = Object.create(null);
    set(at, [...(before ?? []), ofLists(patternOf(at)) ? [item] : item]);
    fillList(list);
    placeFaults();
    changed();
    list.querySelector(":scope > .items").lastElementChild.querySelector("input, select, textarea").focus();
}

function removed(item) {
    const list = item.parentElement.closest("[data-list]");
    unset(item.dataset.item);
    // Those after it have other places now.
    for (const place of laidAside.keys()) if (isBelow(place, list.dataset.list)) laidAside.delete(place);
    forgetFaults(list.dataset.list);
    fillList(list);
    changed();
    list.querySelector(":scope > .press > [data-add]").focus();
}

/// Parts of the day that were taken out, for whoever did not mean it.
const partsOut = new Map();

function partTakenOut(at) {
    partsOut.set(at, get(at));
    unset(at);
    partShown(at, `[data-puts-back="${at}"]`);
}

function partPutBack(at) {
    set(at, partsOut.get(at));
    partsOut.delete(at);
    partShown(at, `[data-takes="${at}"]`);
}

function partShown(at, next) {
    forgetFaults(at);
    fill(form);
    changed();
    form.querySelector(next).focus();
}

/// What can be taken out is what is there, and what can be put back is what nothing took the place of.
function showTaken() {
    for (const button of form.querySelectorAll("[data-takes]")) button.disabled = get(button.dataset.takes) === undefined;
    for (const button of form.querySelectorAll("[data-puts-back]")) {
        const at = button.dataset.putsBack;
        button.hidden = !partsOut.has(at) || get(at) !== undefined;
    }
}

// Flights.

const flights = () => (Array.isArray(day.entries) ? day.entries : []);
const flightName = (k) => {
    const name = flights()[k]?.name;
    return typeof name === "string" && name.trim() !== "" ? name : `flight ${k + 1}`;
};

function listFlights() {
    $("flights").replaceChildren(
        ...flights().map((_, k) => {
            const button = document.createElement("button");
            button.type = "button";
            button.dataset.flight = k;
            const wrong = faultsOfFlight(k);
            button.textContent = flightName(k) + (wrong ? ` (${wrong} to mend)` : "");
            if (k === open) button.setAttribute("aria-current", "true");
            const item = document.createElement("li");
            item.append(button);
            return item;
        }),
    );
    $("copy").disabled = $("remove").disabled = flights().length === 0;
}

function nameFlight() {
    const title = $("flight-title");
    if (title) title.textContent = `${flightName(open)}, ${open + 1} of ${flights().length}`;
    listFlights();
}

function openFlight(k) {
    open = Math.max(0, Math.min(k, flights().length - 1));
    const flight = $("flight");
    flight.replaceChildren();
    if (isObject(flights()[open])) {
        flight.append(made($("of-flight"), (pattern) => pattern.replace(/^\/entries\/-/, `/entries/${open}`)));
        fill(flight);
        $("write-out").hidden = !isCopy(flights()[open]);
    }
    nameFlight();
    placeFaults();
    showLeftovers();
}

const isCopy = (entry) => typeof entry?.copy_of === "string";

/// What a patch and a later one come to (JSON Merge Patch, RFC 7396). What the later one takes away it still takes away: the
/// day's own lies below both. A form takes the place of another of the same choice.
function laidOver(value, patch, pattern = "/entries/-") {
    if (!isObject(patch)) return patch;
    const merged = Object.assign(Object.create(null), isObject(value) ? value : {});
    const isForm = (name) => known.forms.has(`${pattern}/${name}`);
    const chosen = Object.keys(patch).some((name) => isForm(name) && patch[name] !== null);
    for (const name of chosen ? Object.keys(merged) : []) if (isForm(name) && !(name in patch)) delete merged[name];
    for (const [name, inner] of Object.entries(patch)) merged[name] = laidOver(merged[name], inner, `${pattern}/${escapedPart(name)}`);
    return merged;
}

/// What a flight comes to without copying: that which it copies, what it has of its own, and what it changes, in this order.
/// Undefined where no flight above has that name.
function wholeFlight(k) {
    const { name, copy_of: source, changes, ...own } = flights()[k];
    if (!isCopy(flights()[k])) return flights()[k];
    const at = flights().slice(0, k).findIndex((entry) => entry?.name === source);
    const base = at < 0 ? undefined : wholeFlight(at);
    if (!base) return undefined;
    const whole = laidOver(laidOver(copied(base), own), isObject(changes) ? changes : {});
    if (name === undefined) delete whole.name;
    else whole.name = name;
    return whole;
}

function flightWrittenOut() {
    const whole = wholeFlight(open);
    if (!whole) return lead(`/entries/${open}/copy_of`);
    day.entries[open] = whole;
    forgetFaults(`/entries/${open}`);
    openFlight(open);
    changed();
    $("flight-title").focus();
}

/// A name that no other flight has.
function freeName(name) {
    const names = new Set(flights().map((entry) => entry?.name));
    let k = 2;
    while (names.has(`${name}, ${k}`)) k += 1;
    return `${name}, ${k}`;
}

/// What was removed last, for whoever did not mean it.
let takenOut = null;

function flightAdded(entry) {
    if (day.entries !== undefined && day.entries !== null && !Array.isArray(day.entries)) return lead("/entries");
    set("/entries", [...flights(), entry]);
    openFlight(flights().length - 1);
    changed();
    $("/entries/" + open + "/name").focus();
}

function flightRemoved() {
    takenOut = { at: open, entry: flights()[open] };
    day.entries = flights().filter((_, k) => k !== open);
    forgetFaults("/entries");
    openFlight(open);
    $("back").hidden = false;
    changed();
    $("back").focus();
}

function flightPutBack() {
    day.entries = [...flights().slice(0, takenOut.at), takenOut.entry, ...flights().slice(takenOut.at)];
    forgetFaults("/entries");
    openFlight(takenOut.at);
    $("back").hidden = true;
    changed();
    $("flight-title").focus();
}

// What has no field.

function showLeftovers() {
    const pointers = Object.entries(day).flatMap(([name, value]) => leftovers(value, `/${escapedPart(name)}`));
    const ofFlight = pointers.filter((pointer) => pointer.startsWith("/entries/"));
    show($("day-kept"), pointers.filter((pointer) => !pointer.startsWith("/entries/")));
    if ($("flight-kept")) show($("flight-kept"), ofFlight.filter((pointer) => `${pointer}/`.startsWith(`/entries/${open}/`)));
}

function show(section, pointers) {
    section.hidden = pointers.length === 0;
    section.querySelector("ul").replaceChildren(
        ...pointers.map((pointer) => {
            const item = document.createElement("li");
            item.id = `${pointer}:kept`;
            item.tabIndex = -1;
            const place = document.createElement("code");
            place.textContent = pointer;
            const wide = document.createElement("div");
            wide.className = "wide";
            wide.tabIndex = 0;
            wide.setAttribute("role", "region");
            wide.setAttribute("aria-label", pointer);
            const value = document.createElement("pre");
            value.textContent = writtenJson(get(pointer));
            wide.append(value);
            const remove = document.createElement("button");
            remove.type = "button";
            remove.textContent = `Remove ${pointer}`;
            remove.dataset.kept = pointer;
            item.append(place, wide, remove);
            return item;
        }),
    );
}

/// Shows another day from its beginning.
function showDay() {
    laidAside.clear();
    partsOut.clear();
    takenOut = null;
    // What was told of another day.
    for (const status of ["asking", "decoding"]) say(status, "");
    forgetDecoded("");
    for (const id of ["look", "where"]) $(id).hidden = true;
    $("back").hidden = true;
    forgetFaults("");
    fill(form);
    openFlight(0);
    showTaken();
}
