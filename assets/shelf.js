/* How are scenarios saved, found again and compared in the browser?

   The server keeps them (see app/pages/shelf.py); this draws the Shelf page and the dialogs. What
   people wrote is put on the page as text, never as markup. An item that is opened is remembered
   in this tab with the version that was seen, so that a save on top of somebody else's is told. */
(function () {
  "use strict";

  const BASE = "/shelf-data";
  const OPENED = "crestline-shelf-opened"; // in sessionStorage: id, version, name, revision
  const MOST_COMPARED = 4;
  const MOST_IMPORT_BYTES = 32000000;
  const SEARCH_MS = 250;
  const TOLD_MS = 12000;
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const view = { search: "", tag: "", page: 1 };
  const picked = new Map(); // id -> name, in the order of picking
  let asked = 0; // number of the newest question for the list
  let compared = null; // the answer that is shown
  let comparing = 0;
  let arm = "offloaded";
  let toldTimer = null;

  /* ---- small tools ---- */

  function make(tag, attributes, ...children) {
    const element = document.createElement(tag);
    Object.entries(attributes || {}).forEach(([name, value]) => {
      if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (value === true) element.setAttribute(name, "");
      else if (value !== false && value !== null) element.setAttribute(name, String(value));
    });
    children.flat(Infinity).forEach((child) => {
      if (child !== null && child !== undefined) element.append(child);
    });
    return element;
  }

  function button(label, act, more) {
    return make("button", { type: "button", onclick: act, ...more }, label);
  }

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
      return await (await fetch(BASE + path, options)).json();
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

  function count(number, one, many) {
    return number === 1 ? "1 " + one : number.toLocaleString("en") + " " + many;
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
  window.crestline.open = (query) => {
    forget(); // a scenario that comes from elsewhere is no revision of the item
    openScenario(query);
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

  /* ---- dialogs ---- */

  let labels = 0;

  function field(label, input, help) {
    labels += 1;
    input.id = "shelf-field-" + labels;
    const told = help ? make("small", { class: "help", id: input.id + "-help" }, help) : null;
    if (told) input.setAttribute("aria-describedby", told.id);
    return make("div", { class: "shelf-field" },
      make("label", { for: input.id }, label), input, told);
  }

  /* Show a dialog; `act` is given the dialog's way to tell what is wrong. */
  function dialog(title, parts, actLabel, act) {
    labels += 1;
    const heading = make("h2", { id: "shelf-dialog-" + labels, dir: "auto" }, title);
    const alert = make("div", { class: "shelf-alert", role: "alert" });
    const cancel = button(act ? "Cancel" : "Close", () => box.close());
    const go = act ? make("button", { type: "submit", class: "main" }, actLabel) : null;
    const form = make("form", {},
      parts, alert, make("div", { class: "shelf-buttons" }, go, cancel));
    const box = make("dialog", { class: "shelf-dialog", "aria-labelledby": heading.id },
      heading, form);
    box.addEventListener("close", () => box.remove());
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (!act || go.disabled) return;
      go.disabled = true;
      alert.replaceChildren();
      await act((...children) => alert.replaceChildren(...children), box);
      go.disabled = false;
    });
    document.body.append(box);
    box.showModal();
    return box;
  }

  function textInput(value, longest) {
    return make("input", { type: "text", value: value, maxlength: longest, autocomplete: "off" });
  }

  function tagList(text) {
    return text.split(",").map((tag) => tag.trim()).filter((tag) => tag !== "");
  }

  function labelFields(item) {
    const name = textInput(item.name, 120);
    const tags = textInput(item.tags.join(", "), 600);
    const note = make("textarea", { rows: 4, maxlength: 5000 });
    note.value = item.note;
    return {
      parts: [
        field("Name", name),
        field("Tags", tags, "Words with commas between them."),
        field("Note", note),
      ],
      read: () => ({ name: name.value, tags: tagList(tags.value), note: note.value }),
    };
  }

  /* Save the scenario that the Host page shows. */
  function shelve() {
    const scenario = window.crestline.scenario();
    if (scenario === null) return;
    const known = opened();
    const fresh = labelFields({ name: JSON.parse(scenario).name, tags: [], note: "" });
    const words = textInput("", 500);
    const revisionPart = make("div", {},
      field("What changed", words, "May stay empty: what differs is written down then."));
    const freshPart = make("div", {}, fresh.parts);
    let asRevision = known !== null;
    const choices = [];
    function choose(value) {
      asRevision = value;
      revisionPart.hidden = !asRevision;
      freshPart.hidden = asRevision;
    }
    if (known) {
      const radio = (label, value) => {
        const input = make("input",
          { type: "radio", name: "where", checked: value, onchange: () => choose(value) });
        return make("label", { class: "shelf-choice", dir: "auto" }, input, label);
      };
      choices.push(make("fieldset", { class: "shelf-where" },
        make("legend", {}, "Save as"),
        radio("a new revision of " + known.name, true), radio("a new item", false)));
    }
    choose(asRevision);

    function done(told, box) {
      remember(told.item, told.item.revisions);
      box.close();
      tell("Saved on the shelf: " + told.item.name + ", revision " + told.item.revisions + ".");
      refresh();
    }

    async function saveFresh(label, wrong, box) {
      const told = await ask("/items", { scenario: scenario, ...label });
      if (told.item) done(told, box);
      else wrong(make("p", {}, trouble(told)));
    }

    dialog("Save on the shelf", [...choices, revisionPart, freshPart], "Save", async (wrong, box) => {
      if (!asRevision) {
        await saveFresh(fresh.read(), wrong, box);
        return;
      }
      const body = { scenario: scenario, version: known.version, words: words.value };
      const told = await ask("/items/" + known.id + "/revisions", body);
      if (told.item) {
        done(told, box);
        return;
      }
      const children = [make("p", {}, trouble(told))];
      if (told.changed || told.gone) {
        const copy = {
          name: (known.name.slice(0, 113) + " (copy)"), tags: [], note: "",
          words: "Saved as a copy of " + known.name + ".",
        };
        children.push(button("Save as a copy", () => saveFresh(copy, wrong, box)));
      }
      const inAddress = document.getElementById("link-note").textContent === "";
      if (told.changed && !told.changed.deleted && inAddress) {
        children.push(button("Open the newer one", () => openItem(known, 0)));
        children.push(make("p", { class: "help" },
          "Your own scenario stays one step back in the browser's history."));
      }
      wrong(...children);
    });
  }
  window.crestline.actions.shelve = shelve;

  function edit(item) {
    const form = labelFields(item);
    let version = item.version;
    dialog("Name, tags and note of " + item.name, form.parts, "Save", async (wrong, box) => {
      const told = await ask("/items/" + item.id + "/relabel", { version: version, ...form.read() });
      if (told.item) {
        const known = opened();
        if (known && known.id === item.id && known.version === version) {
          remember(told.item, known.revision);
        }
        if (picked.has(item.id)) picked.set(item.id, told.item.name);
        box.close();
        refresh();
        return;
      }
      const children = [make("p", {}, trouble(told))];
      if (told.changed && !told.changed.deleted) {
        version = told.changed.version;
        const newer = await ask("/items/" + item.id + "/revisions");
        children[0].textContent = "It was changed at " + clock(told.changed.at_ms) +
          " since you opened it. Save again to replace what it says now:";
        if (newer.item) {
          children.push(make("dl", {}, [
            ["Name", newer.item.name], ["Tags", newer.item.tags.join(", ") || "none"],
            ["Note", newer.item.note || "none"],
          ].map(([name, value]) => [make("dt", {}, name), make("dd", { dir: "auto" }, value)])));
        }
      }
      wrong(...children);
    });
  }

  async function showRevisions(item) {
    const told = await ask("/items/" + item.id + "/revisions");
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, wrong));
      return;
    }
    const rows = told.revisions.map((each) =>
      make("li", {},
        make("div", {}, make("strong", {}, "Revision " + each.number), ", ", timeOf(each.saved_ms)),
        make("div", { class: "shelf-words", dir: "auto" }, each.words),
        button("Open", () => openItem(item, each.number),
          { "aria-label": "Open revision " + each.number })));
    dialog("Revisions of " + item.name, [make("ol", { class: "shelf-revisions" }, rows)]);
  }

  async function remove(item) {
    const told = await ask("/items/" + item.id + "/delete", { version: item.version });
    await refresh();
    if (told.changed) {
      notice(make("p", {}, item.name + " was " + (told.changed.deleted ? "deleted" : "changed") +
        " at " + clock(told.changed.at_ms) + " since this list was drawn; look at it again."));
      return;
    }
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, wrong));
      return;
    }
    unpick(item.id);
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
    if (told.names.length) parts.push("Imported " + count(told.names.length, "item", "items") + ".");
    else parts.push("Nothing was imported.");
    if (told.refused.length) {
      parts.push(" Refused " + count(told.refused.length, "item", "items") + ":");
    }
    const reasons = told.refused.slice(0, 20).map((each) =>
      make("li", { dir: "auto" }, each.name + ": " + each.reason));
    const more = told.refused.length - reasons.length;
    if (more > 0) reasons.push(make("li", {}, "and " + more + " more."));
    const others = told.refused.length && !told.names.length && told.able
      ? button("Import the other " + count(told.able, "item", "items"),
          () => importText(text, true))
      : null;
    notice(make("p", {}, parts.join("")), reasons.length ? make("ul", {}, reasons) : null, others);
  }

  /* ---- the list ---- */

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
      make("a", { class: "button", href: BASE + "/export", download: "" }, "Export all"));
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
    drawPicked();
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
            count(told.total, "item", "items")), turn(1, "Older"))
      : make("p", { class: "soft" }, count(told.total, "item", "items"));
    put("shelf-list", make("div", { class: "scroll" }, table), pages);
  }

  function row(item) {
    const check = make("input", {
      type: "checkbox", checked: picked.has(item.id), "data-key": "pick " + item.id,
      "aria-label": "Compare " + item.name, onchange: () => pick(item, check),
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
        () => showRevisions(item), {
          "data-key": "revisions " + item.id,
          "aria-label": count(item.revisions, "revision", "revisions") + " of " + item.name,
        })),
      make("td", { class: "shelf-actions" },
        act("Open", (each) => openItem(each, 0)), act("Edit", edit), act("Duplicate", duplicate),
        make("a", {
          class: "button", href: BASE + "/export?id=" + encodeURIComponent(item.id), download: "",
          "aria-label": "Export " + item.name,
        }, "Export"),
        act("Delete", remove)));
  }

  /* ---- side by side ---- */

  function pick(item, check) {
    if (check.checked && picked.size >= MOST_COMPARED) {
      check.checked = false;
      notice(make("p", {}, "Up to four can be compared; take one away first."));
      return;
    }
    if (check.checked) picked.set(item.id, item.name);
    else picked.delete(item.id);
    drawPicked();
  }

  function unpick(id) {
    picked.delete(id);
    const check = [...document.querySelectorAll("#shelf-list [data-key]")]
      .find((each) => each.dataset.key === "pick " + id);
    if (check) check.checked = false;
    drawPicked();
  }

  function drawPicked() {
    if (!picked.size) {
      put("shelf-picked");
      clearComparison();
      return;
    }
    const before = document.getElementById("shelf-needed");
    const needed = make("input", {
      type: "number", id: "shelf-needed", min: 1, step: 1, "data-key": "needed",
      value: before ? before.value : "", placeholder: "the largest of them",
      onkeydown: (event) => {
        if (event.key === "Enter") compare(false);
      },
    });
    const chips = [...picked].map(([id, name]) =>
      make("li", { dir: "auto" }, name + " ", button("Remove", () => unpick(id), {
        "aria-label": "Remove " + name, "data-key": "unpick " + id,
      })));
    put("shelf-picked",
      make("ul", { class: "shelf-chips" }, chips),
      make("div", { class: "shelf-tools" },
        make("label", { for: needed.id }, "Sessions on all hosts together"), needed,
        button("Compare", () => compare(false), { class: "main", "data-key": "compare" }),
        compared ? button("Table as CSV", saveTable, { "data-key": "csv" }) : null,
        compared ? button("Chart as picture", savePicture, { "data-key": "picture" }) : null),
      make("div", { id: "shelf-compare-wrong", role: "alert", class: "shelf-wrong" }));
  }

  function clearComparison() {
    compared = null;
    put("shelf-table");
    ["shelf-figure", "shelf-hint"].forEach((id) => {
      const part = document.getElementById(id);
      if (part) part.hidden = id === "shelf-figure";
    });
  }

  async function compare(again) {
    const typed = document.getElementById("shelf-needed").value.trim();
    comparing += 1;
    const mine = comparing;
    const told = await ask("/compare", {
      ids: [...picked.keys()],
      needed: typed === "" ? null : Number(typed),
      theme: window.crestline.theme(),
    });
    if (mine !== comparing) return;
    const wrong = trouble(told);
    if (wrong) {
      put("shelf-compare-wrong", make("p", {}, wrong));
      return;
    }
    compared = told;
    drawPicked();
    drawComparison();
    if (!again) document.getElementById("shelf-compare").scrollIntoView();
    document.documentElement.dataset.compared = String(mine);
  }

  function drawComparison() {
    const body = [];
    let section = null;
    compared.rows.forEach((each) => {
      if (each.section !== section) {
        section = each.section;
        body.push(make("tr", { class: "shelf-heading" }, make("th",
          { scope: "colgroup", colspan: compared.names.length + 1 }, section)));
      }
      const label = make("th", { scope: "row", dir: "auto" }, each.label,
        each.unit ? make("span", { class: "unit" }, " [" + each.unit + "]") : null);
      body.push(make("tr", {}, label, each.cells.map((cell) =>
        make("td", { dir: "auto" }, cell))));
    });
    const names = compared.names.map((name) => make("th", { scope: "col", dir: "auto" }, name));
    put("shelf-table", make("div", {
      class: "scroll", tabindex: 0, role: "region", "aria-label": "Comparison table",
    }, make("table", { class: "shelf-table compared" },
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "What"), names)),
      make("tbody", {}, body))));
    document.getElementById("shelf-figure").hidden = false;
    document.getElementById("shelf-hint").hidden = true;
    const radios = compared.arms.map((each) => {
      const input = make("input", {
        type: "radio", name: "shelf-arm", checked: each.arm === arm, "data-key": "arm " + each.arm,
        onchange: () => {
          arm = each.arm;
          drawChart();
        },
      });
      return make("label", { class: "shelf-choice" }, input, each.label);
    });
    put("shelf-arms", make("fieldset", { class: "shelf-where" },
      make("legend", {}, "Curves"), radios));
    drawChart();
  }

  function chosenArm() {
    return compared.arms.find((each) => each.arm === arm);
  }

  function drawChart() {
    const chosen = chosenArm();
    window.crestline.setText("shelf-takeaway", chosen.takeaway);
    window.Plotly.react("chart-shelf", chosen.figure.data, chosen.figure.layout, CONFIG);
  }

  function saveTable() {
    save("crestline-comparison.csv", "text/csv;charset=utf-8", compared.csv);
  }

  function lines(text, longest) {
    const found = [""];
    text.split(" ").forEach((word) => {
      const last = found.length - 1;
      if (found[last] && (found[last] + " " + word).length > longest) found.push(word);
      else found[last] += (found[last] ? " " : "") + word;
    });
    return found.join("<br>");
  }

  async function savePicture() {
    const chosen = chosenArm();
    const sheet = structuredClone(chosen.picture);
    const corner = { xref: "paper", yref: "paper", x: 0, xanchor: "left", align: "left",
      showarrow: false };
    const large = sheet.layout.font.size + 5;
    Object.assign(sheet.layout, {
      margin: { l: 100, r: 40, t: 110, b: 160 },
      font: { ...sheet.layout.font, size: large },
      annotations: [
        ...sheet.layout.annotations,
        { ...corner, text: document.querySelector("#shelf-figure h3").textContent, y: 1,
          yanchor: "bottom", yshift: 66, font: { size: large + 8 } },
        { ...corner, text: lines(chosen.takeaway, 140), y: 1, yanchor: "bottom", yshift: 12 },
        { ...corner, text: lines(compared.caution, 150), y: 0, yanchor: "top", yshift: -90,
          font: { size: large - 3 } },
      ],
    });
    const size = { format: "png", width: 1600, height: 900, scale: 2 };
    saveFrom("crestline-comparison.png", await window.Plotly.toImage(sheet, size));
  }

  /* ---- when ---- */

  function comparesAgain() {
    if (compared && document.documentElement.dataset.page === "shelf") compare(true);
  }
  new MutationObserver(comparesAgain).observe(document.documentElement,
    { attributeFilter: ["data-look"] });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", comparesAgain);
  window.addEventListener("crestline-page", (event) => {
    const told = document.getElementById("shelf-told");
    if (told && event.detail === "shelf") told.replaceChildren();
    if (event.detail !== "shelf") return;
    notice();
    refresh();
    if (compared) window.dispatchEvent(new Event("resize"));
  });
})();
