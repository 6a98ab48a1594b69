// What is pressed and written.

form.addEventListener("input", (event) => {
    const field = event.target.closest("[data-field]");
    if (field) taken(field);
});
form.addEventListener("change", async (event) => {
    const { target } = event;
    if (target.matches("[data-form]")) chosen(target.closest("[data-one]"));
    if (target.id === "called") renamed(target.value);
    if (target.type === "file" && target.files.length) {
        const [file] = target.files;
        const text = await file.text();
        target.value = "";
        if (target.id === "file") openText(text, file.name.replace(/\.json$/, ""));
        else into($(target.dataset.into), text);
    }
});

/// A file's text, as if it had been pasted.
function into(field, text) {
    field.value = text;
    taken(field);
    field.focus();
}

const PRESSED = {
    add: () => flightAdded(Object.create(null)),
    copy: () => flightAdded(Object.assign(copied(flights()[open]), { name: freeName(flightName(open)) })),
    remove: flightRemoved,
    back: flightPutBack,
    "write-out": flightWrittenOut,
    save: saveFile,
    empty: () => begin(emptyDay(), "today"),
    example: async () => {
        const reply = await fetch(form.dataset.example).catch(() => null);
        if (reply?.ok) openText(await reply.text(), "invented day");
        else say("keeping", "The example cannot be loaded: the network is gone. The day here stays as it is.");
    },
    "open-other": () => {
        keepNow();
        openKept($("other").value);
    },
    forget: () => {
        stored((storage) => storage.removeItem(PREFIX + $("other").value));
        listKept();
    },
    decode,
    price,
    cancel: () => stopping?.abort(),
    anyway: () => ask(true),
};

form.addEventListener("click", (event) => {
    const pressed = event.target.closest("button, a");
    if (!pressed) return;
    if (pressed.dataset.fault !== undefined) {
        event.preventDefault();
        lead(pressed.dataset.fault);
    } else if (pressed.dataset.flight !== undefined) {
        openFlight(Number(pressed.dataset.flight));
        $("flight-title").focus();
    } else if (pressed.dataset.kept !== undefined) {
        unset(pressed.dataset.kept);
        forgetFaults(pressed.dataset.kept);
        fill(form);
        openFlight(open);
        changed();
        $("flights-title").focus();
    } else if (pressed.dataset.takes !== undefined) {
        partTakenOut(pressed.dataset.takes);
    } else if (pressed.dataset.putsBack !== undefined) {
        partPutBack(pressed.dataset.putsBack);
    } else if (pressed.matches("[data-add]")) {
        added(pressed.closest("[data-list]"));
    } else if (pressed.matches("[data-remove]")) {
        removed(pressed.closest("[data-item]"));
    } else {
        PRESSED[pressed.id]?.();
    }
});
form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask(false);
});
// Enter in a field does not ask: a day is long, and it is easily pressed.
form.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("input:not([type=file])")) event.preventDefault();
});
window.addEventListener("pagehide", keepNow);
window.addEventListener("storage", writtenElsewhere);

learnAll();
openKept(stored((storage) => storage.getItem(CURRENT)) ?? called);
form.hidden = false;
// Whether this browser keeps anything is known once it was tried.
unkept = true;
keepNow();
