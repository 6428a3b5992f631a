/* How are the items of the shelf listed, searched, copied, deleted, and imported from a file? */
(function () {
  "use strict";

  const shelf = window.crestline.shelf;
  const { make, button, put, ask, trouble, notice, clock, timeOf, count, openItem } = shelf;
  const MOST_IMPORT_BYTES = 32000000;
  const SEARCH_MS = 250;
  const view = { search: "", tag: "", page: 1 };
  let asked = 0; // number of the newest question for the list
  let searchTimer = null;

  function drawTools() {
    const place = document.getElementById("shelf-tools");
    if (!place || place.childElementCount) return;
    const search = make("input", {
      type: "search", id: "shelf-search", autocomplete: "off", maxlength: 200,
      oninput: () => {
        clearTimeout(searchTimer);
        searchTimer = setTimeout(() => {
          view.search = search.value;
          view.page = 1;
          refresh();
        }, SEARCH_MS);
      },
    });
    const tag = make("select", {
      id: "shelf-tag",
      onchange: () => {
        view.tag = tag.value;
        view.page = 1;
        refresh();
      },
    }, make("option", { value: "" }, "All tags"));
    const file = make("input", {
      type: "file", accept: "application/json,.json", hidden: true, id: "shelf-file",
      onchange: async () => {
        const chosen = file.files[0];
        if (chosen) await importFile(chosen);
        file.value = "";
      },
    });
    place.append(
      make("label", { for: search.id }, "Search"), search,
      make("label", { for: tag.id }, "Tag"), tag,
      make("span", { class: "shelf-gap" }),
      button("Import a file", () => file.click()), file,
      make("a", { class: "button", href: shelf.address + "/export", download: "" }, "Export all"));
  }

  function drawTags(tags) {
    const choice = document.getElementById("shelf-tag");
    choice.replaceChildren(
      make("option", { value: "" }, "All tags"),
      ...tags.map((each) => make("option", { value: each.tag }, each.tag + " (" + each.items + ")")));
    choice.value = view.tag;
    if (choice.value !== view.tag) { // its last item is gone
      view.tag = "";
      choice.value = "";
      refresh();
    }
  }

  async function refresh() {
    if (document.documentElement.dataset.page !== "shelf") return;
    drawTools();
    asked += 1;
    const mine = asked;
    const told = await ask("/items?" + new URLSearchParams(view));
    if (mine !== asked) return;
    const wrong = trouble(told);
    if (wrong) {
      put("shelf-list", make("p", { class: "shelf-wrong" }, wrong),
        button("Try again", refresh, { "data-key": "again" }));
      document.documentElement.dataset.shelf = "failed " + mine;
      return;
    }
    view.page = told.page;
    drawTags(told.tags);
    drawList(told);
    shelf.drawPicked();
    document.documentElement.dataset.shelf = "drawn " + mine;
  }

  function drawList(told) {
    if (!told.total) {
      const all = !view.search && !view.tag;
      put("shelf-list", make("p", {}, all
        ? "The shelf is empty. Save the scenario that you see on the Host page with " +
          "\u201cSave on the shelf\u201d, or import a file."
        : "Nothing on the shelf matches."));
      return;
    }
    const head = ["Compare", "Name", "Tags", "Changed", "Revisions", "Actions"];
    const table = make("table", { class: "shelf-table" },
      make("thead", {}, make("tr", {}, head.map((name) => make("th", { scope: "col" }, name)))),
      make("tbody", {}, told.items.map(row)));
    const turn = (step, label) => button(label, () => {
      view.page += step;
      refresh();
    }, {
      "data-key": label, disabled: view.page + step < 1 || view.page + step > told.pages,
    });
    const pages = told.pages > 1
      ? make("div", { class: "shelf-pages" }, turn(-1, "Newer"),
          make("span", {}, "Page " + told.page + " of " + told.pages + ", " +
            count(told.total, "scenario", "scenarios")), turn(1, "Older"))
      : make("p", { class: "soft" }, count(told.total, "scenario", "scenarios"));
    put("shelf-list", make("div", { class: "scroll" }, table), pages);
  }

  function row(item) {
    const check = make("input", {
      type: "checkbox", checked: shelf.isPicked(item.id), "data-key": "pick " + item.id,
      "aria-label": "Compare " + item.name, onchange: () => shelf.pick(item, check),
    });
    const act = (label, action) => button(label, () => action(item), {
      "data-key": label + " " + item.id, "aria-label": label + " " + item.name,
    });
    return make("tr", {},
      make("td", { class: "shelf-check" }, check),
      make("th", { scope: "row", dir: "auto" }, make("span", { class: "shelf-name" }, item.name),
        item.note ? make("span", { class: "shelf-note", dir: "auto" }, item.note) : null),
      make("td", {}, item.tags.map((tag) => make("span", { class: "shelf-tag", dir: "auto" }, tag))),
      make("td", {}, timeOf(item.changed_ms)),
      make("td", {}, button(count(item.revisions, "revision", "revisions"),
        () => shelf.showRevisions(item), {
          "data-key": "revisions " + item.id,
          "aria-label": count(item.revisions, "revision", "revisions") + " of " + item.name,
        })),
      make("td", { class: "shelf-actions" },
        act("Open", (each) => openItem(each, 0)), act("Edit", shelf.edit), act("Copy", duplicate),
        make("a", {
          class: "button", href: shelf.address + "/export?id=" + encodeURIComponent(item.id), download: "",
          "aria-label": "Export " + item.name,
        }, "Export"),
        act("Delete", remove)));
  }

  /* ---- what the buttons of a row do ---- */

  async function remove(item) {
    const told = await ask("/items/" + item.id + "/delete", { version: item.version });
    await refresh();
    if (told.changed) {
      notice(make("p", {}, item.name + " was " + (told.changed.deleted ? "deleted" : "changed") +
        " at " + clock(told.changed.at_ms) + ", after this list was drawn; look at it again."));
      return;
    }
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, wrong));
      return;
    }
    shelf.unpick(item.id);
    const undo = button("Undo", async () => {
      const back = await ask("/items/" + item.id + "/restore", {});
      await refresh();
      notice(make("p", { dir: "auto" }, trouble(back) || item.name + " is back on the shelf."));
    }, { "data-key": "undo" });
    notice(make("p", { dir: "auto" }, "Deleted: " + item.name + ". It is kept for 30 days."), undo);
    undo.focus();
  }

  async function duplicate(item) {
    const told = await ask("/items/" + item.id + "/duplicate", {});
    await refresh();
    notice(make("p", { dir: "auto" }, trouble(told) || "Copied: " + told.item.name + "."));
  }

  /* ---- import ---- */

  async function importFile(file) {
    if (file.size > MOST_IMPORT_BYTES) {
      notice(make("p", {}, "The file is larger than 32 MB."));
      return;
    }
    await importText(await file.text(), false);
  }

  async function importText(text, partly) {
    const told = await ask("/import" + (partly ? "?partly=yes" : ""), text);
    await refresh();
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, "Nothing was imported. " + wrong));
      return;
    }
    const parts = [];
    if (told.names.length) parts.push("Imported " + count(told.names.length, "scenario", "scenarios") + ".");
    else parts.push("Nothing was imported.");
    if (told.refused.length) {
      parts.push(" " + count(told.refused.length, "scenario was", "scenarios were") + " refused:");
    }
    const reasons = told.refused.slice(0, 20).map((each) =>
      make("li", { dir: "auto" }, each.name + ": " + each.reason));
    const more = told.refused.length - reasons.length;
    if (more > 0) reasons.push(make("li", {}, "and " + more + " more."));
    const others = told.refused.length && !told.names.length && told.able
      ? button("Import the other " + count(told.able, "scenario", "scenarios"),
          () => importText(text, true))
      : null;
    notice(make("p", {}, parts.join("")), reasons.length ? make("ul", {}, reasons) : null, others);
  }

  window.addEventListener("crestline-page", (event) => {
    if (event.detail !== "shelf") return;
    notice();
    refresh();
  });

  Object.assign(shelf, { refresh: refresh });
})();
