// Faults of a reply, each beside its field.

/// As the service told them.
let faults = [];

const isBelow = (pointer, above) => pointer === above || pointer.startsWith(`${above}/`);
const faultsOfFlight = (k) => faults.filter((fault) => isBelow(fault.pointer, `/entries/${k}`)).length;

/// What on the page holds a place, now: the field, or what it lies in.
function holderOf(pointer) {
    for (let at = pointer; at !== ""; at = parentOf(at)) {
        const holder = $(`${at}:kept`) ?? $(at);
        if (holder && form.contains(holder)) return holder;
    }
    return sectionOf(pointer);
}

/// The first section of the page with fields of a member of the day; none of what is below one.
function sectionOf(pointer) {
    if (partsOf(pointer).length !== 1) return null;
    return form.querySelector(`[data-field^="${CSS.escape(pointer)}/"]`)?.closest("fieldset.group[id]") ?? null;
}

/// What a place is called, with the items of lists that it lies in, also where it is not on the page now.
function calledAt(pointer) {
    const items = [];
    partsOf(pointer).reduce((above, part) => {
        const list = known.lists.get(patternOf(above));
        if (list) items.push(`${list.querySelector(":scope > template").content.firstElementChild.dataset.oneCalled} ${Number(part) + 1}`);
        return `${above}/${escapedPart(part)}`;
    }, "");
    return [...items, labelAt(pointer)].filter((words) => words !== "").join(", ");
}

function labelAt(pointer) {
    for (let pattern = patternOf(pointer); pattern !== ""; pattern = parentOf(pattern)) {
        const field = known.fields.get(pattern);
        if (field) return field.called;
        const list = known.lists.get(pattern);
        // What is itself an item is counted.
        if (list && !list.matches("[data-item]")) return list.querySelector("legend").textContent;
        const one = known.ones.get(pattern);
        if (one) return one.querySelector("label").textContent;
    }
    return sectionOf(pointer)?.querySelector("legend").textContent ?? "";
}

function showFaults(found, mayAskAnyway) {
    faults = found;
    $("anyway").hidden = !mayAskAnyway;
    const first = faults.find((fault) => fault.pointer.startsWith("/entries/"));
    // A flight with a fault is opened, unless the one that is open has some.
    if (first && faultsOfFlight(open) === 0) openFlight(Number(partsOf(first.pointer)[1]));
    else placeFaults();
    listFlights();
    listFaults();
    $("faults").focus();
}

/// The summary: a link to each.
function listFaults() {
    $("faults").hidden = faults.length === 0;
    $("faults").querySelector("ul").replaceChildren(
        ...faults.map((fault) => {
            const item = document.createElement("li");
            const link = document.createElement("a");
            link.href = `#${fault.pointer}`;
            link.dataset.fault = fault.pointer;
            const [, k] = fault.pointer.match(/^\/entries\/(\d+)/) ?? [];
            const where = [k === undefined ? "" : flightName(Number(k)), calledAt(fault.pointer) || fault.pointer || "The day"];
            link.textContent = where.filter((part) => part !== "").join(": ");
            item.append(link, ": ", said(fault));
            return item;
        }),
    );
}

/// In the reply's own words.
function said(fault) {
    const text = document.createElement("span");
    const remedy = document.createElement("strong");
    remedy.textContent = fault.remedy;
    const sent = fault.sent === undefined ? "" : ` Sent: ${writtenJson(fault.sent)}.`;
    text.append(`${fault.problem}.${sent} `, remedy, ".");
    return text;
}

function placeFaults() {
    for (const note of form.querySelectorAll("p.fault")) note.remove();
    for (const field of form.querySelectorAll('[aria-describedby*=":fault"]')) {
        field.removeAttribute("aria-invalid");
        describe(field, (ids) => ids.filter((id) => !id.endsWith(":fault")));
    }
    for (const fault of faults) {
        const holder = holderOf(fault.pointer);
        if (!holder) continue;
        const note = document.createElement("p");
        note.className = "fault";
        const id = `${holder.id}:fault`;
        const before = $(id);
        if (!before) note.id = id;
        note.append(said(fault));
        const control = holder.matches(".one") ? holder.querySelector("[data-form]") : holder;
        if (control.matches("input, select, textarea")) control.setAttribute("aria-invalid", "true");
        if (control !== holder || control.matches("input, select, textarea, fieldset")) describe(control, (ids) => [...new Set([...ids, id])]);
        const inside = holder.matches("fieldset, .one, li");
        const beside = holder.matches("fieldset") ? holder.querySelector("legend") : holder.matches(".one") ? control : holder;
        if (before) before.append(document.createElement("br"), said(fault));
        else if (inside && !holder.matches("li")) beside.after(note);
        else if (inside) holder.append(note);
        else holder.after(note);
        for (let fold = holder.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    }
}

function describe(element, change) {
    const ids = change((element.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => id !== ""));
    if (ids.length) element.setAttribute("aria-describedby", ids.join(" "));
    else element.removeAttribute("aria-describedby");
}

/// Leads to what holds a place, in whichever flight it is.
function lead(pointer) {
    const [, k] = pointer.match(/^\/entries\/(\d+)/) ?? [];
    if (k !== undefined && Number(k) !== open) openFlight(Number(k));
    const holder = holderOf(pointer) ?? $("flights-title");
    const control = holder.matches(".one") ? holder.querySelector("[data-form]") : holder;
    control.focus();
    control.scrollIntoView({ block: "center" });
}

/// A place was written anew: what was told of it is no longer of it.
function mended(pointer) {
    const left = faults.filter((fault) => !isBelow(fault.pointer, pointer));
    if (left.length === faults.length) return;
    faults = left;
    placeFaults();
    listFlights();
    listFaults();
}

const forgetFaults = (pointer) => mended(pointer);
