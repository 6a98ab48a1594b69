// Days kept in this browser, as the JSON that is sent; and files of the same.

const PREFIX = "slowpoint day ";
const CURRENT = "slowpoint the day";
let called = "today";
let keeping = 0;

/// What a browser that keeps nothing, or has no room, answers with.
function stored(use) {
    try {
        return use(window.localStorage);
    } catch {
        return null;
    }
}

function keepNow() {
    clearTimeout(keeping);
    const text = writtenJson(day);
    const done = stored((storage) => {
        storage.setItem(PREFIX + called, text);
        storage.setItem(CURRENT, called);
        return storage.getItem(PREFIX + called) === text;
    });
    say("keeping", done ? "" : "This browser keeps nothing for this page, or has no room: save the day as a file before you leave.");
}

/// Something was written.
function changed() {
    showLeftovers();
    clearTimeout(keeping);
    keeping = setTimeout(keepNow, 150);
}

const keptNames = () =>
    stored((storage) => Object.keys(storage).filter((key) => key.startsWith(PREFIX)).map((key) => key.slice(PREFIX.length)).sort()) ?? [];

function listKept() {
    const names = keptNames().filter((name) => name !== called);
    $("others").hidden = names.length === 0;
    $("other").replaceChildren(
        ...names.map((name) => {
            const option = document.createElement("option");
            option.textContent = name;
            return option;
        }),
    );
}

function keptDay(name) {
    const text = stored((storage) => storage.getItem(PREFIX + name));
    try {
        return text === null ? null : readJson(text);
    } catch {
        return null;
    }
}

function openKept(name) {
    const found = keptDay(name);
    called = name;
    day = isObject(found) ? found : Object.create(null);
    $("called").value = called;
    showDay();
    listKept();
}

/// A name under which nothing is kept.
function freeDay(name) {
    const names = new Set(keptNames());
    let free = name;
    for (let k = 2; names.has(free); k += 1) free = `${name} ${k}`;
    return free;
}

/// A day from elsewhere gets a name of its own: nothing that is kept is written over.
function begin(found, name) {
    keepNow();
    called = freeDay(name);
    day = found;
    $("called").value = called;
    showDay();
    keepNow();
    listKept();
}

function renamed(name) {
    const wanted = name.trim();
    if (wanted === "" || wanted === called) return;
    if (keptNames().includes(wanted)) {
        say("keeping", `Another day is kept as ${wanted}: open it below, or take another name.`);
        return;
    }
    stored((storage) => storage.removeItem(PREFIX + called));
    called = wanted;
    keepNow();
}

function openText(text, name) {
    let found;
    try {
        found = readJson(text);
    } catch (error) {
        say("keeping", `The file cannot be read as JSON: ${error.message}. The day here stays as it is.`);
        return;
    }
    if (!isObject(found)) {
        say("keeping", "The file holds no day: a day is an object with entries. The day here stays as it is.");
        return;
    }
    begin(found, name);
    say("keeping", `Opened, and kept as ${called}.`);
}

function saveFile() {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${writtenJson(day)}\n`], { type: "application/json" }));
    link.download = `${called.replace(/[^\p{L}\p{N} ._-]/gu, "-")}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

/// Something for live regions; the same words are said again where they are meant again.
function say(id, text) {
    $(id).textContent = text;
}
