// Days kept in this browser, as the JSON that is sent; and files of the same.

const PREFIX = "slowpoint day ";
const CURRENT = "slowpoint the day";
const KEEPS_NOTHING = "This browser keeps nothing for this page, or has no room: save the day as a file before you leave.";
let called = "today";
let keeping = 0;
/// Whether something was written since it was kept.
let unkept = false;

/// What a browser that keeps nothing, or has no room, answers with.
function stored(use) {
    try {
        return use(window.localStorage);
    } catch {
        return null;
    }
}

/// Keeps what was written here; another window may have written since what was not.
function keepNow() {
    clearTimeout(keeping);
    if (!unkept) return;
    const text = writtenJson(day);
    const done = stored((storage) => {
        storage.setItem(PREFIX + called, text);
        storage.setItem(CURRENT, called);
        return storage.getItem(PREFIX + called) === text;
    });
    unkept = !done;
    if (!done) say("keeping", KEEPS_NOTHING);
    else if ($("keeping").textContent === KEEPS_NOTHING) say("keeping", "");
}

/// Something was written.
function changed() {
    unkept = true;
    showLeftovers();
    showTaken();
    forgetDecoded("Written anew since: decode again.");
    noteLook("It was asked before the day was changed.");
    clearTimeout(keeping);
    keeping = setTimeout(keepNow, 150);
}

/// Another window wrote the day that stands here: what is here goes by another name from now on.
function writtenElsewhere({ key, newValue }) {
    if (key !== PREFIX + called || newValue === null) return;
    const name = called;
    called = freeDay(name);
    $("called").value = called;
    listKept();
    say("keeping", `${name} was changed in another window and is kept as it stands there. What stands here is called ${called}, and kept once it is changed.`);
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

/// Null where nothing is kept, undefined where what is kept is no day.
function keptDay(name) {
    const text = stored((storage) => storage.getItem(PREFIX + name));
    if (text === null) return null;
    try {
        const found = readJson(text);
        return isObject(found) ? found : undefined;
    } catch {
        return undefined;
    }
}

const emptyDay = () => Object.assign(Object.create(null), { entries: [Object.create(null)] });

/// Opens what is kept under a name; what cannot be read stays as it is, and an empty day begins under another.
function openKept(name) {
    const found = keptDay(name);
    called = found === undefined ? freeDay(name) : name;
    day = found ?? emptyDay();
    $("called").value = called;
    showDay();
    listKept();
    say("keeping", found === undefined ? `What is kept as ${name} cannot be read, and stays as it is. An empty day stands here.` : "");
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
    unkept = true;
    say("keeping", "");
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
    unkept = true;
    say("keeping", "");
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
