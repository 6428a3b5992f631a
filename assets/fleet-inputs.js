/* How is a fleet typed in, pasted from a spreadsheet or read from a file?

   The controls are drawn anew where a list gets longer or shorter; a number that is typed changes
   the fleet in place. Every control knows the path by which the server names its field, so that a
   refusal marks the right one. */
(function () {
  "use strict";

  const fleet = window.crestline.fleet;
  const { make, button, about } = fleet;
  let former = null; // the sites before a table was read
  let notes = []; // what was left out of the table, or what is wrong with it
  let refused = false; // whether the notes say what is wrong
  let pasted = "";
  const open = { table: false, more: false, explained: false };

  function valueAt(path) {
    return path.reduce((at, name) => (at === undefined || at === null ? at : at[name]), fleet.data());
  }

  function setAt(path, value) {
    const holder = path.slice(0, -1).reduce((at, name) => at[name], fleet.data());
    if (value === undefined) delete holder[path.at(-1)];
    else holder[path.at(-1)] = value;
  }

  /* ["choices", 0, "host", "cores"] as the server writes it: choices[0].host.cores */
  function written(path) {
    return path
      .map((name, at) => (typeof name === "number" ? "[" + name + "]" : (at ? "." : "") + name))
      .join("");
  }

  function box(path, label, kind, more) {
    const value = valueAt(path);
    return make("input", {
      type: kind, value: value === undefined || value === null ? "" : value,
      step: kind === "number" ? "any" : null, "aria-label": label, "data-path": written(path),
      "data-key": written(path), autocomplete: "off",
      onchange: (event) => heard(event.target, path, kind), ...more,
    });
  }

  function heard(input, path, kind) {
    const text = input.value.trim();
    if (kind === "text") {
      input.value = text;
      setAt(path, text);
    } else if (text === "" && !input.validity.badInput) {
      setAt(path, path[2] === "sessions" ? undefined : null);
    } else setAt(path, input.validity.badInput ? "not a number" : Number(text));
    fleet.changed();
    if (path.at(-1) === "name" || path.at(-1) === "currency") draw();
  }

  /* ---- sites ---- */

  function strangers() {
    const found = new Set();
    fleet.data().sites.forEach((site) => {
      Object.keys(site.sessions).forEach((name) => {
        if (!fleet.roles().includes(name)) found.add(name);
      });
    });
    return [...found];
  }

  function sitesGroup() {
    const page = about().page;
    const sites = fleet.data().sites;
    const lost = strangers();
    const columns = [...fleet.roles(), ...lost];
    const total = (site) => Object.values(site.sessions).reduce((sum, n) => sum + (n || 0), 0);
    const head = make("tr", {},
      make("th", { scope: "col" }, "Site"),
      columns.map((name) => make("th", { scope: "col", dir: "auto" }, name,
        lost.includes(name) ? make("span", { class: "error" }, "not in the scenario") : null)),
      make("th", { scope: "col" }, make("span", { class: "hidden-label" }, page.remove)));
    const rows = sites.map((site, at) => make("tr", {},
      make("th", { scope: "row" },
        box(["sites", at, "name"], "Name of site " + (at + 1), "text", { title: total(site)
          .toLocaleString("en") + " sessions" })),
      columns.map((name) => make("td", {}, box(["sites", at, "sessions", name],
        "Sessions at " + site.name + ": " + name, "number", { min: 0 }))),
      make("td", {}, button("\u00d7", () => removeSite(at), {
        class: "remove", "aria-label": page.remove + " " + site.name, "data-key": "remove " + at,
        disabled: sites.length === 1,
      }))));
    return make("fieldset", { class: "group open-group" },
      make("legend", {}, page.sites),
      make("small", { class: "help" }, about().sites_help),
      make("small", { class: "error", id: "fleet-error-sites", role: "alert" }),
      lost.length ? button(page.remove_roles, removeStrangers, { "data-key": "strangers" }) : null,
      make("div", { class: "scroll" }, make("table", { class: "edit-table fleet-sites-table" },
        make("thead", {}, head), make("tbody", {}, rows))),
      make("div", { class: "adder" }, button(page.add_site, addSite, {
        "data-key": "add site", disabled: sites.length >= about().most_sites,
      })),
      tableReader());
  }

  function free(name, list) {
    const taken = list.map((each) => each.name);
    for (let at = 1; ; at += 1) {
      const tried = at === 1 ? name : name + " " + at;
      if (!taken.includes(tried)) return tried;
    }
  }

  function addSite() {
    const sites = fleet.data().sites;
    sites.push({ name: free("New site", sites), sessions: {} });
    draw();
    focus("sites[" + (sites.length - 1) + "].name");
    fleet.changed();
  }

  function removeSite(at) {
    fleet.data().sites.splice(at, 1);
    draw();
    focus("sites[" + Math.min(at, fleet.data().sites.length - 1) + "].name");
    fleet.changed();
  }

  function removeStrangers() {
    fleet.data().sites.forEach((site) => {
      strangers().forEach((name) => delete site.sessions[name]);
    });
    draw();
    fleet.changed();
  }

  function tableReader() {
    const page = about().page;
    const area = make("textarea", {
      id: "fleet-paste", rows: 5, "aria-label": "Table of sessions", "data-key": "paste",
      "aria-describedby": "fleet-paste-help", spellcheck: "false",
      oninput: (event) => {
        pasted = event.target.value;
      },
      onpaste: () => setTimeout(() => readText(), 0),
    });
    area.value = pasted;
    const picker = make("input", {
      type: "file", id: "fleet-file", accept: ".csv,.tsv,.txt,text/csv,text/plain", hidden: true,
      onchange: (event) => {
        const files = [...event.target.files];
        event.target.value = "";
        if (files.length) readFile(files[0]);
      },
    });
    const details = make("details", {
      class: "fleet-table-reader", open: open.table,
      ontoggle: (event) => {
        open.table = event.target.open;
      },
      ondragover: (event) => event.preventDefault(),
      ondrop: (event) => {
        event.preventDefault();
        const [file] = event.dataTransfer.files;
        if (file) readFile(file);
      },
    },
    make("summary", {}, "Paste or upload a table"),
    make("p", { class: "help", id: "fleet-paste-help" }, about().paste_help),
    area,
    make("div", { class: "adder" },
      button(page.read_table, readText, { "data-key": "read table" }),
      button(page.choose_file, () => picker.click(), { "data-key": "file" }),
      former ? button(page.undo, undo, { "data-key": "undo" }) : null),
    picker,
    make("div", { id: "fleet-table-notes", role: "status", class: refused ? "error" : "" },
      notes.map((note) => make("p", {}, note))));
    return details;
  }

  async function readTable(what) {
    let told;
    try {
      const scenario = window.crestline.scenario();
      told = await fleet.post("/fleet/table", { scenario: scenario, ...what });
    } catch {
      told = { failure: "The server does not answer; the table was not read." };
    }
    refused = Boolean(told.failure || told.error);
    if (refused) {
      notes = [told.failure || told.error.message];
      draw();
      return;
    }
    former = structuredClone(fleet.data().sites);
    const sites = told.sites.length;
    const people = told.sites.reduce(
      (sum, site) => sum + Object.values(site.sessions).reduce((a, b) => a + b, 0), 0);
    notes = [
      "Read " + sites + (sites === 1 ? " site" : " sites") + " with " +
        people.toLocaleString("en") + " sessions.",
      ...told.notes,
    ];
    pasted = "";
    fleet.data().sites = told.sites;
    draw();
    fleet.changed();
  }

  function readText() {
    if (pasted.trim()) readTable({ text: pasted });
  }

  async function readFile(file) {
    if (file.size > about().most_file_bytes) {
      notes = [file.name + " is larger than " + about().most_file_bytes.toLocaleString("en") +
        " bytes; a table of sessions has a row for each site."];
      refused = true;
      draw();
      return;
    }
    const bytes = new Uint8Array(await file.arrayBuffer());
    let text = "";
    for (let at = 0; at < bytes.length; at += 8192) {
      text += String.fromCharCode(...bytes.subarray(at, at + 8192));
    }
    readTable({ name: file.name, base64: btoa(text) });
  }

  function undo() {
    fleet.data().sites = former;
    former = null;
    notes = [];
    draw();
    fleet.changed();
  }

  /* ---- growth, spare hosts, money ---- */

  function unitOf(field) {
    const currency = fleet.data().currency;
    return field.money ? field.unit.replace("of the currency", currency) : field.unit;
  }

  function generalGroup() {
    const rows = about().general.filter((field) => !field.path.startsWith("spare.")).map((field) =>
      row(field.label, unitOf(field), field.help,
        box([field.path], field.label, "number")));
    rows.splice(3, 0, spareRow());
    rows.push(row(about().currency, "", about().currency_help,
      box(["currency"], about().currency, "text", { maxlength: 20 })));
    return make("fieldset", { class: "group open-group" },
      make("legend", {}, about().page.general),
      make("small", { class: "error", id: "fleet-error-general", role: "alert" }),
      rows);
  }

  function row(label, unit, help, ...controls) {
    return make("div", { class: "fleet-row", title: help },
      make("span", {}, label, unit ? make("span", { class: "unit" }, " [" + unit + "]") : null),
      controls);
  }

  function spareRow() {
    const share = fleet.data().spare.share_pct !== undefined;
    const name = share ? "share_pct" : "hosts";
    const fields = about().general.filter((field) => field.path.startsWith("spare."));
    const kind = make("select", {
      "aria-label": "Spare hosts are given as", "data-key": "spare kind",
      onchange: (event) => {
        const asShare = event.target.value === "share_pct";
        fleet.data().spare = asShare ? { share_pct: 10 } : { hosts: 1 };
        draw();
        fleet.changed();
      },
    }, make("option", { value: "hosts", selected: !share }, "hosts"),
    make("option", { value: "share_pct", selected: share }, "% of those needed"));
    const label = fields[0].label;
    const help = fields.map((field) => field.help).join(" ");
    return row(label, "", help, make("span", { class: "fleet-pair" },
      box(["spare", name], label, "number", { min: 0 }), kind));
  }

  /* ---- host choices ---- */

  function choicesGroup() {
    const page = about().page;
    const choices = fleet.data().choices;
    const head = make("tr", {}, make("th", { scope: "col" }, "Host"),
      choices.map((choice, at) => make("th", { scope: "col" },
        make("span", { class: "fleet-letter" }, "ABCDEFGH"[at]),
        box(["choices", at, "name"], "Name of host choice " + (at + 1), "text"))));
    const line = (field) => make("tr", { title: field.help },
      make("th", { scope: "row" }, field.label,
        make("span", { class: "unit" }, " [" + unitOf(field) + "]")),
      choices.map((choice, at) => make("td", {}, box(
        ["choices", at, ...field.path.split(".")], choice.name + ": " + field.label, "number"))));
    const table = (fields, top) => make("div", { class: "scroll" },
      make("table", { class: "edit-table fleet-choices-table" },
        make("thead", { class: top ? "" : "hidden-label" }, top ? head : plainHead(choices)),
        make("tbody", {}, fields.map(line), top ? buttons(choices) : null)));
    return make("fieldset", { class: "group open-group" },
      make("legend", {}, page.choices),
      make("small", { class: "help" }, "Each is planned with its cards and without. Prices and " +
        "powers are placeholders until you fill in your own."),
      make("small", { class: "error", id: "fleet-error-choices", role: "alert" }),
      table(about().choice, true),
      make("div", { class: "adder" }, button(page.add_choice, () => addChoice(null), {
        "data-key": "add choice", disabled: choices.length >= about().most_choices,
      })),
      make("details", {
        open: open.more,
        ontoggle: (event) => {
          open.more = event.target.open;
        },
      }, make("summary", {}, page.more), table(about().more, false)));
  }

  function plainHead(choices) {
    return make("tr", {}, make("th", { scope: "col" }, "Host"),
      choices.map((choice) => make("th", { scope: "col" }, choice.name)));
  }

  function buttons(choices) {
    const page = about().page;
    return make("tr", {}, make("th", { scope: "row" },
      make("span", { class: "hidden-label" }, "Change the list")),
    choices.map((choice, at) => make("td", {}, make("span", { class: "fleet-pair" },
      button(page.copy, () => addChoice(at), {
        "aria-label": page.copy + " " + choice.name, "data-key": "copy " + at,
        disabled: choices.length >= about().most_choices,
      }),
      button("\u00d7", () => removeChoice(at), {
        class: "remove", "aria-label": page.remove + " " + choice.name,
        "data-key": "drop " + at, disabled: choices.length === 1,
      })))));
  }

  function addChoice(from) {
    const choices = fleet.data().choices;
    const made = structuredClone(from === null ? about().new_choice : choices[from]);
    made.name = free(made.name, choices);
    choices.splice(from === null ? choices.length : from + 1, 0, made);
    fleet.forgetChoice();
    draw();
    focus("choices[" + choices.indexOf(made) + "].name");
    fleet.changed();
  }

  function removeChoice(at) {
    fleet.data().choices.splice(at, 1);
    fleet.forgetChoice();
    draw();
    focus("choices[" + Math.min(at, fleet.data().choices.length - 1) + "].name");
    fleet.changed();
  }

  /* ---- all of it ---- */

  function head() {
    const page = about().page;
    const name = JSON.parse(window.crestline.scenario()).name;
    const link = make("a", {
      href: "/" + window.location.search, "data-key": "people",
      onclick: (event) => {
        event.preventDefault();
        document.getElementById("go-host").click();
      },
    }, name);
    return make("div", { class: "fleet-head" },
      make("h2", {}, page.title),
      make("p", {}, page.about),
      make("p", {}, page.people, link, "."),
      button(page.example, toExample, {
        id: "fleet-to-example", "data-key": "example",
        hidden: window.crestline.beside("fleet") === null,
      }));
  }

  function toExample() {
    former = null;
    notes = [];
    fleet.toExample();
  }

  function explained() {
    const fields = [...about().general, ...about().choice, ...about().more];
    const told = fields.flatMap((field) => [make("dt", {}, field.label),
      make("dd", {}, field.help)]);
    return make("details", {
      class: "explained", open: open.explained,
      ontoggle: (event) => {
        open.explained = event.target.open;
      },
    }, make("summary", {}, about().page.explained), make("dl", {}, told));
  }

  function draw() {
    const place = document.getElementById("fleet-controls");
    if (!place || fleet.data() === null) return;
    const active = document.activeElement;
    const key = place.contains(active) ? active.dataset.key : null;
    const top = place.scrollTop;
    place.replaceChildren(head(), sitesGroup(), generalGroup(), choicesGroup(), explained());
    place.scrollTop = top;
    if (lastError) mark(lastError);
    if (!key) return;
    const same = [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === key);
    if (same) same.focus();
  }

  function focus(path) {
    const found = [...document.querySelectorAll("#fleet-controls [data-path]")]
      .find((each) => each.dataset.path === path);
    if (!found) return;
    found.focus();
    if (found.type === "text") found.select();
  }

  /* ---- what is wrong ---- */

  let lastError = null;

  function clearErrors() {
    lastError = null;
    unmark();
    window.crestline.setText("fleet-stale", "");
    document.getElementById("fleet-results").classList.remove("stale");
  }

  function unmark() {
    ["sites", "general", "choices"].forEach((group) => {
      window.crestline.setText("fleet-error-" + group, "");
    });
    document.querySelectorAll("#fleet-controls [aria-invalid]").forEach((input) => {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    });
  }

  function mark(error) {
    unmark();
    const field = error.field || "";
    const group = field.startsWith("sites") ? "sites"
      : field.startsWith("choices") ? "choices" : "general";
    window.crestline.setText("fleet-error-" + group, error.message);
    document.querySelectorAll("#fleet-controls [data-path]").forEach((input) => {
      const path = input.dataset.path;
      if (path !== field && !(field === "spare" && path.startsWith("spare."))) return;
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", "fleet-error-" + group);
    });
  }

  function showError(error) {
    lastError = error;
    mark(error);
    window.crestline.setText("fleet-stale", "Showing the last valid result. " + error.message);
    document.getElementById("fleet-results").classList.add("stale");
  }

  Object.assign(fleet, { drawInputs: draw, showError: showError, clearErrors: clearErrors });
})();
