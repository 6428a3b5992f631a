/* What do the scripts of the shelf share: parts of a page, questions, and what was opened?

   The server keeps the items (see app/pages/shelf.py). What people wrote is put on the page as
   text, never as markup. An item that is opened is remembered in this tab with the version that
   was seen, so that a save on top of somebody else's is told. */
(function () {
  "use strict";

  const OPENED = "crestline-shelf-opened"; // in sessionStorage: id, version, name, revision
  const TOLD_MS = 12000;
  const ADDRESS = "/shelf-data";
  const { make, button, count } = window.crestline;
  let toldTimer = null;

  function put(id, ...children) {
    const place = document.getElementById(id);
    if (!place) return;
    const focused = document.activeElement && document.activeElement.dataset.key;
    place.replaceChildren(...children.flat(Infinity).filter((child) => child !== null));
    if (!focused || document.activeElement !== document.body) return;
    const again = [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === focused);
    if (again) again.focus();
  }

  async function ask(path, body) {
    const options = { headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.method = "POST";
      options.headers["Content-Type"] = "application/json";
      options.body = typeof body === "string" ? body : JSON.stringify(body);
    }
    try {
      return await (await fetch(ADDRESS + path, options)).json();
    } catch {
      return { failure: "The server does not answer. Try again in a moment." };
    }
  }

  function moment(ms) {
    return new Date(ms).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
  }

  function clock(ms) {
    const then = new Date(ms);
    if (then.toDateString() !== new Date().toDateString()) return moment(ms);
    return then.toLocaleTimeString(undefined, { timeStyle: "short" });
  }

  function timeOf(ms) {
    return make("time", { datetime: new Date(ms).toISOString() }, moment(ms));
  }

  function changedWords(changed) {
    return changed.message.replace("{time}", () => clock(changed.at_ms));
  }

  /* What went wrong, in a sentence; null where nothing did. */
  function trouble(told) {
    if (told.failure) return told.failure;
    if (told.error) return told.error.message;
    if (told.gone) return told.gone;
    if (told.changed) return changedWords(told.changed);
    return null;
  }

  function notice(...children) {
    put("shelf-notice", ...children);
  }

  /* A sentence that is seen on every page for a while; the Shelf page says the same at leisure. */
  function tell(text) {
    clearTimeout(toldTimer);
    let place = document.getElementById("shelf-told");
    if (!place) {
      place = make("div", { id: "shelf-told", role: "status" });
      document.body.append(place);
    }
    const close = button("Close", () => place.replaceChildren());
    place.replaceChildren(make("span", {}, text), close);
    toldTimer = setTimeout(() => {
      if (!place.contains(document.activeElement)) place.replaceChildren();
    }, TOLD_MS);
  }

  function save(name, type, text) {
    const address = URL.createObjectURL(new Blob([text], { type: type }));
    saveFrom(name, address);
    setTimeout(() => URL.revokeObjectURL(address), 10000);
  }

  function saveFrom(name, address) {
    const link = make("a", { href: address, download: name });
    document.body.append(link);
    link.click();
    link.remove();
  }

  /* ---- the item that was opened in this tab ---- */

  function opened() {
    try {
      return JSON.parse(window.sessionStorage.getItem(OPENED));
    } catch {
      return null;
    }
  }

  function remember(item, revision) {
    const kept = { id: item.id, version: item.version, name: item.name, revision: revision };
    window.sessionStorage.setItem(OPENED, JSON.stringify(kept));
  }

  function forget() {
    window.sessionStorage.removeItem(OPENED);
  }

  const openScenario = window.crestline.open;
  window.crestline.open = (query, page) => {
    forget(); // a scenario that comes from elsewhere is no revision of the item
    openScenario(query, page);
  };
  window.addEventListener("popstate", () => {
    const shown = window.crestline.query();
    if (window.location.search !== (shown ? "?" + shown : "")) forget();
  });
  const arrival = performance.getEntriesByType("navigation")[0];
  if (arrival && arrival.type === "navigate") forget(); // an address of its own was opened

  async function openItem(item, number) {
    const told = await ask("/items/" + item.id + "/revisions/" + number);
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, wrong));
      return;
    }
    document.querySelectorAll("dialog.shelf-dialog").forEach((dialog) => dialog.close());
    openScenario(told.query);
    remember(told.item, told.number);
    tell("Opened from the shelf: " + told.item.name + ", revision " + told.number + ".");
  }

  window.addEventListener("crestline-page", (event) => {
    const told = document.getElementById("shelf-told");
    if (told && event.detail === "shelf") told.replaceChildren();
  });

  /* What the other scripts of the shelf use; they add their own. */
  window.crestline.shelf = {
    address: ADDRESS,
    make: make, // make(tag, attributes, ...children)
    button: button, // button(label, act, attributes)
    put: put, // put(id, ...children) keeps the focus on what has the same data-key
    ask: ask, // ask(path, body) gives the answer, or what went wrong in words
    trouble: trouble,
    clock: clock,
    timeOf: timeOf,
    count: count,
    notice: notice,
    tell: tell,
    save: save,
    saveFrom: saveFrom,
    opened: opened,
    remember: remember,
    openItem: openItem, // openItem(item, number of the revision; 0 for the newest)
  };
})();
