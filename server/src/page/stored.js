// Has the browser keep what is opened (offline.js), where it lets pages do so; says what is kept and how old it is.

/// A kept page tells its age anew after so long, ms.
const AGES_MS = 30_000;

/// What the server wrote for either case.
function tell(here) {
    for (const part of document.querySelectorAll("[data-keeping]")) part.hidden = (part.dataset.keeping === "here") !== here;
}

/// Asks the worker; `heard` is called with how far it is.
function ask(worker, message, heard) {
    return new Promise((answered, failed) => {
        const { port1, port2 } = new MessageChannel();
        port1.onmessage = ({ data }) => {
            if (data.progress) heard?.(data.progress);
            else if (data.failed) failed(new Error("not kept"));
            else answered(data.answer);
        };
        worker.postMessage(message, [port2]);
    });
}

/// A name as it was written into HTML.
function plain(text) {
    return new DOMParser().parseFromString(text, "text/html").documentElement.textContent;
}

async function list(worker, into) {
    const kept = await ask(worker, { asks: "list" });
    into.replaceChildren(...kept.map(({ href, name, age }) => {
        const [item, link] = ["li", "a"].map((tag) => document.createElement(tag));
        link.href = href;
        link.textContent = plain(name);
        item.append(link, ` (${age})`);
        return item;
    }));
    document.getElementById("kept-none").hidden = kept.length > 0;
}

/// A page that was kept says how old it is, also after it was left open.
function grows(worker) {
    const told = document.querySelector(".kept[data-kept-at]");
    if (!told) return;
    const show = async () => {
        told.querySelector("span").textContent = await ask(worker, { asks: "age", at: Number(told.dataset.keptAt) });
        // It was read out when the page came; no need to interrupt anybody every minute.
        told.setAttribute("aria-live", "off");
    };
    show();
    setInterval(show, AGES_MS);
    document.addEventListener("visibilitychange", show);
}

function keeper(worker, button) {
    const said = document.getElementById("kept-day");
    button.addEventListener("click", async () => {
        if (button.ariaDisabled === "true") return;
        // It stays where it is for whoever stands on it.
        button.ariaDisabled = "true";
        try {
            const count = await ask(worker, { asks: "day", address: location.href }, ({ done, of }) => {
                said.textContent = `${done} of ${of} kept`;
            });
            said.textContent = button.dataset.done.replace("{}", count);
        } catch {
            said.textContent = button.dataset.failed;
        }
        button.ariaDisabled = "false";
    });
}

async function begin() {
    if (!isSecureContext || !navigator.serviceWorker) throw new Error("nothing is kept");
    await navigator.serviceWorker.register("/offline.js", { updateViaCache: "none" });
    const worker = (await navigator.serviceWorker.ready).active;
    const button = document.getElementById("keep-day");
    if (button) keeper(worker, button);
    tell(true);
    grows(worker);
    // What came before there was a worker, it has not seen; nor pictures that nobody has scrolled to.
    const addresses = [location.href, ...[...document.images].map((image) => image.src)];
    // What fails of it, the server being away, is kept the next time.
    await ask(worker, { asks: "keep", addresses, since: performance.timeOrigin }).catch(() => null);
    const into = document.getElementById("kept-list");
    if (into) await list(worker, into);
}

begin().catch(() => tell(false));
