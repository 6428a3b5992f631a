/* How does a visitor check, correct and confirm when offload was on? (Part 3 of the Evidence page.)

   The server draws one column of a log with its spells shaded, thinned to what a screen can show,
   for the stretch of time that is in view. Over the chart lie handles, one a switch: drag them, or
   move them with the arrow keys; the list below has the same switches as number boxes. Every
   change goes to the server, which answers with the new view. */
(function () {
  "use strict";

  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: false };
  const MOST_HANDLES = 60; // in view; with more, nobody could tell them apart
  const MARGIN = { l: 62, r: 18, t: 30, b: 48 }; // of the figure, app/figures/log.py
  const STATES = [["1", "with card"], ["0", "without card"], ["-1", "not used"]];
  const KEY_STEPS = { ArrowLeft: -1, ArrowRight: 1 };
  let shown = null; // the view that is drawn
  let chosen = null; // id of the log
  let column = null;
  let adding = false; // the next click on the chart adds a switch
  let asked = 0;
  let drawn = 0;

  const page = () => window.crestlineEvidence;
  const tools = () => window.crestlineEvidence.tools;
  const readLogs = () => page().logs().filter((log) => log.readings);

  /* ---- asking ---- */

  function query(more) {
    return { column: column, theme: window.crestline.theme(), ...more };
  }

  async function load(window_s) {
    if (chosen === null) return;
    asked += 1;
    const mine = asked;
    const more = window_s ? { from_s: window_s[0], to_s: window_s[1] } : {};
    const given = new URLSearchParams({ log: chosen, ...query(more) });
    if (column === null) given.delete("column");
    const told = await page().ask("view?" + given);
    if (mine === asked) accept(told);
  }

  async function change(body) {
    asked += 1;
    const mine = asked;
    const more = shown ? { from_s: shown.from_s, to_s: shown.to_s } : {};
    const told = await page().ask("toggles", { log: chosen, view: query(more), ...body });
    if (mine !== asked) return;
    const had = shown && shown.summary && shown.summary.confirmed;
    if (!accept(told)) return;
    await page().refresh();
    tools().whenReleased(drawLogs);
    if (had) page().tellAll("read"); // what followed from the confirmed switches is gone
  }

  function accept(told) {
    const wrong = page().trouble(told);
    say(wrong || "");
    if (wrong) {
      drawList();
      return false;
    }
    shown = told;
    column = told.column;
    tools().whenReleased(draw);
    return true;
  }

  function say(text) {
    const told = text ? tools().make("p", { class: "evidence-wrong" }, text) : null;
    tools().put("toggles-notice", told);
  }

  /* ---- which log ---- */

  function stateOf(log) {
    const spells = log.spells;
    if (!spells) return "not read";
    const counted = tools().count(spells.switches, "switch", "switches");
    if (spells.confirmed) return "confirmed, " + counted;
    if (spells.origin === "none" && !spells.edited) return "not marked";
    const found = spells.origin === "log" ? "from the log" : "found";
    const from = spells.edited ? "changed by you" : found;
    return counted + " " + from + ", to be confirmed";
  }

  function drawLogs() {
    const { make, button, put, count } = tools();
    const logs = readLogs();
    const open = logs.filter((log) => log.spells && !log.spells.confirmed &&
      (log.spells.rows_on > 0 || log.spells.rows_off > 0));
    const saying = open.filter((log) => log.spells.origin === "log" && !log.spells.edited);
    put("toggles-logs",
      make("ul", { class: "evidence-picks", "aria-label": "Logs" }, logs.map((log) =>
        make("li", {}, button([
          make("span", { dir: "auto" }, log.name),
          make("span", { class: "soft" }, stateOf(log)),
        ], () => choose(log.id), {
          "aria-pressed": String(log.id === chosen), "data-key": "pick-" + log.id,
          "data-confirmed": log.spells && log.spells.confirmed ? "yes" : "no",
        })))),
      saying.length > 1 ? make("p", {}, button(
        "Confirm the " + count(saying.length, "log that says", "logs that say") +
          " when offload was on",
        () => confirm(saying.map((log) => log.id)), { "data-key": "confirm-all" })) : null);
  }

  function choose(log) {
    if (log !== chosen) column = null;
    chosen = log;
    adding = false;
    drawLogs();
    load(null);
  }

  async function confirm(logs) {
    const told = await page().ask("toggles", { action: "confirm", logs: logs });
    const wrong = page().trouble(told);
    say(wrong || "");
    if (wrong) return;
    if (shown && told.summaries[shown.log]) shown.summary = told.summaries[shown.log];
    await page().refresh();
    drawLogs();
    drawState();
    page().tellAll("confirmed");
  }

  /* ---- the chart ---- */

  function frame() {
    const { make, put } = tools();
    if (document.getElementById("toggles-chart")) return;
    put("evidence-toggles-body",
      make("div", { id: "toggles-logs" }),
      make("div", { id: "toggles-notice", role: "alert" }),
      make("div", { id: "toggles-state" }),
      make("div", { id: "toggles-tools", class: "evidence-tools" }),
      make("div", { class: "log-chart" },
        make("div",
          { id: "toggles-chart", class: "chart", role: "group", "aria-label": "The log" }),
        make("div", { id: "toggles-handles", class: "log-handles" })),
      make("p", { id: "toggles-hint", class: "help" }),
      make("div", { id: "toggles-list" }),
      make("div", { id: "toggles-find" }));
    new ResizeObserver(placeHandles).observe(document.getElementById("toggles-chart"));
    document.getElementById("toggles-handles").addEventListener("click", addByClick);
  }

  function draw() {
    const chart = document.getElementById("toggles-chart");
    const figure = shown.figure;
    figure.layout.uirevision = [shown.log, shown.column, shown.from_s, shown.to_s].join(" ");
    const fresh = !chart.data;
    window.Plotly.react(chart, figure.data, figure.layout, CONFIG).then(() => {
      if (fresh) {
        chart.on("plotly_relayout", zoomed);
        chart.on("plotly_doubleclick", () => load(null));
      }
      mark();
    });
    drawState();
    drawTools();
    drawHandles();
    drawList();
    drawFind();
  }

  function zoomed(event) {
    const from = event["xaxis.range[0]"];
    const to = event["xaxis.range[1]"];
    if (from !== undefined && to !== undefined) load([Number(from), Number(to)]);
  }

  function mark() {
    drawn += 1;
    document.documentElement.dataset.toggles = String(drawn);
  }

  function seconds(value) {
    return Number(value).toLocaleString("en", { maximumFractionDigits: 3 });
  }

  function drawState() {
    const { make, button, put, count } = tools();
    if (!shown || !shown.summary) return;
    const told = shown.summary;
    const notes = told.notes.map((note) => make("p", { class: "soft" }, note));
    const used = count(told.rows_on, "reading", "readings") + " with card, " +
      told.rows_off.toLocaleString("en") + " without, " + told.rows_unknown.toLocaleString("en") +
      " not used; " + count(told.switches, "switch", "switches") + ".";
    const known = told.rows_on > 0 || told.rows_off > 0;
    const act = told.confirmed
      ? make("p", { class: "evidence-confirmed", role: "status" }, "Confirmed: it was so.")
      : button("Confirm: it was so", () => confirm([chosen]),
        { class: "main", disabled: !known, "data-key": "confirm" });
    put("toggles-state", make("p", {}, used), notes,
      make("div", { class: "evidence-tools" }, act,
        told.edited ? button("Back to what was found", () => change({ action: "reset" }),
          { "data-key": "reset" }) : null));
  }

  function drawTools() {
    const { button, put, select, make } = tools();
    const log = readLogs().find((each) => each.id === shown.log);
    if (!log) return;
    const columns = log.readings.columns.map((each) => [each.column, each.label]);
    const span = shown.to_s - shown.from_s;
    const at = (from, to) => () => load([from, to]);
    put("toggles-tools",
      make("label", {}, "Shown: ", select(columns, shown.column, (value) => {
        column = value;
        load([shown.from_s, shown.to_s]);
      }, { "data-key": "column" })),
      button("Whole log", () => load(null), { "data-key": "whole" }),
      button("Zoom in", at(shown.from_s + span / 4, shown.to_s - span / 4), { "data-key": "in" }),
      button("Zoom out", at(shown.from_s - span / 2, shown.to_s + span / 2), { "data-key": "out" }),
      button("Earlier", at(Math.max(0, shown.from_s - span / 2),
        Math.max(0, shown.from_s - span / 2) + span), { "data-key": "earlier" }),
      button("Later", at(shown.from_s + span / 2, shown.to_s + span / 2), { "data-key": "later" }),
      button(adding ? "Click on the chart ..." : "Add a switch by clicking", () => {
        adding = !adding;
        drawTools();
        drawHandles();
      }, { "aria-pressed": String(adding), "data-key": "add" }),
      button("Picture", () => save("savePicture"),
        { title: "Save this chart as PNG", "aria-label": "Picture: the log", "data-key": "png" }),
      button("Numbers", () => save("saveCsv"), { title: "Save the readings in view as CSV",
        "aria-label": "Numbers: the log", "data-key": "csv" }));
  }

  async function save(how) {
    say("");
    const asked_for = { log: chosen, ...query({ from_s: shown.from_s, to_s: shown.to_s }) };
    try {
      await window.crestlineTrial[how]("log", asked_for);
    } catch (error) {
      say(error.message);
    }
  }

  /* ---- handles over the chart ---- */

  function plotWidth() {
    const chart = document.getElementById("toggles-chart");
    return chart ? chart.clientWidth - MARGIN.l - MARGIN.r : 0;
  }

  function timeAt(x) {
    const share = Math.min(Math.max((x - MARGIN.l) / plotWidth(), 0), 1);
    return shown.from_s + share * (shown.to_s - shown.from_s);
  }

  function place(handle, at_s) {
    const share = (at_s - shown.from_s) / (shown.to_s - shown.from_s);
    handle.style.left = MARGIN.l + share * plotWidth() + "px";
  }

  function placeHandles() {
    if (!shown) return;
    document.querySelectorAll("#toggles-handles button").forEach((handle) => {
      place(handle, Number(handle.dataset.at));
    });
  }

  function switches() {
    return shown.spells.filter((spell) => spell.row > 0 &&
      spell.at_s >= shown.from_s && spell.at_s <= shown.to_s);
  }

  function drawHandles() {
    const { make, put } = tools();
    const all = switches();
    const few = shown.spells_here - 1 <= MOST_HANDLES;
    const layer = document.getElementById("toggles-handles");
    layer.classList.toggle("adding", adding);
    put("toggles-handles", few ? all.map((spell) => {
      const words = { 1: "to with card", 0: "to without card", "-1": "to not used" }[spell.state];
      const handle = make("button", {
        type: "button", class: "log-handle", role: "slider", "data-at": spell.at_s,
        "data-row": spell.row, "data-key": "handle-" + (spell.number - 1),
        "aria-label": "Switch " + (spell.number - 1) + ", " + words,
        "aria-valuemin": 0, "aria-valuemax": shown.last_s, "aria-valuenow": spell.at_s,
        "aria-valuetext": seconds(spell.at_s) + " s",
        title: "Switch " + (spell.number - 1) + ", " + words + ", at " + seconds(spell.at_s) + " s",
        onpointerdown: (event) => drag(event, spell), onkeydown: (event) => pressed(event, spell),
      });
      place(handle, spell.at_s);
      return handle;
    }) : null);
    const hint = few
      ? "Drag across the chart to zoom in. Drag a switch by its handle, or move it with the " +
        "arrow keys (with Shift by ten readings); Delete takes it away."
      : tools().count(shown.spells_here - 1, "switch", "switches") +
        " in view: zoom in to move them.";
    document.getElementById("toggles-hint").textContent = "Under a solid line: with card. Under " +
      "a dotted line: without. Grey: not used. " + hint;
  }

  function drag(event, spell) {
    if (event.button !== 0) return;
    event.preventDefault();
    const handle = event.currentTarget;
    const left = document.getElementById("toggles-chart").getBoundingClientRect().left;
    handle.focus();
    handle.setPointerCapture(event.pointerId);
    let at_s = spell.at_s;
    const move = (moved) => {
      at_s = timeAt(moved.clientX - left);
      place(handle, at_s);
      handle.title = seconds(Math.round(at_s)) + " s";
    };
    const end = (ended) => {
      handle.removeEventListener("pointermove", move);
      handle.removeEventListener("pointerup", end);
      handle.removeEventListener("pointercancel", end);
      if (ended.type === "pointerup" && at_s !== spell.at_s) {
        change({ action: "move", row: spell.row, to_s: at_s });
      } else place(handle, spell.at_s);
    };
    handle.addEventListener("pointermove", move);
    handle.addEventListener("pointerup", end);
    handle.addEventListener("pointercancel", end);
  }

  function pressed(event, spell) {
    if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      change({ action: "remove", row: spell.row });
      return;
    }
    const step = KEY_STEPS[event.key];
    if (!step) return;
    event.preventDefault();
    const by = step * shown.interval_s * (event.shiftKey ? 10 : 1);
    change({ action: "move", row: spell.row, to_s: Math.max(0, spell.at_s + by) });
  }

  function addByClick(event) {
    if (!adding || event.target.id !== "toggles-handles") return;
    const left = event.currentTarget.getBoundingClientRect().left;
    adding = false;
    change({ action: "add", at_s: timeAt(event.clientX - left) });
  }

  /* ---- the same as a list of number boxes ---- */

  function drawList() {
    const { make, button, put, select, labelled, count } = tools();
    if (!shown) return;
    const rows = shown.spells.map((spell) => {
      const first = spell.row === 0;
      const begin = first ? seconds(spell.at_s) : make("input", {
        type: "number", min: "0", step: "any", value: spell.at_s,
        "aria-label": "Spell " + spell.number + " begins, in s", "data-key": "at-" + spell.number,
        onchange: (event) => change({
          action: "move", row: spell.row,
          to_s: event.target.value === "" ? null : Number(event.target.value),
        }),
      });
      return make("tr", {},
        make("th", { scope: "row" }, String(spell.number)),
        make("td", {}, begin), make("td", {}, seconds(spell.until_s)),
        make("td", {}, select(STATES, String(spell.state), (value) =>
          change({ action: "state", row: spell.row, state: Number(value) }),
        { "aria-label": "State in spell " + spell.number, "data-key": "state-" + spell.number })),
        make("td", {}, first ? null : button("Remove",
          () => change({ action: "remove", row: spell.row }),
          { "aria-label": "Remove the switch at " + seconds(spell.at_s) + " s",
            "data-key": "remove-" + spell.number })));
    });
    const left = shown.spells_here - shown.spells.length;
    const at = make("input", { type: "number", min: "0", step: "any", "data-key": "new-at" });
    const heads = ["Spell", "From [s]", "To [s]", "Offload", ""];
    put("toggles-list",
      make("details", { "data-key": "spells", open: shown.spells_here <= 24 },
        make("summary", {}, count(shown.spells_here, "spell", "spells") + " in view, as a list"),
        make("div", { class: "scroll evidence-spells", tabindex: "0", role: "group",
          "aria-label": "Spells" },
          make("table", { class: "evidence-table" },
            make("thead", {}, make("tr", {}, heads.map((each) =>
              make("th", { scope: "col" }, each)))),
            make("tbody", {}, rows))),
        left > 0 ? make("p", { class: "help" },
          count(left, "more", "more") + ": zoom in to list them.") : null,
        make("div", { class: "evidence-line" },
          labelled("A further switch at [s]", at),
          button("Add it", () => change({
            action: "add", at_s: at.value === "" ? null : Number(at.value),
          }), { "data-key": "add-at" }))));
  }

  /* ---- looking again with other settings ---- */

  function drawFind() {
    const { make, button, put, select, labelled } = tools();
    const log = readLogs().find((each) => each.id === shown.log);
    if (!log) return;
    const cpu = log.readings.columns.filter((each) => /_cores$/.test(each.column))
      .map((each) => [each.column, each.label]);
    if (!cpu.length) {
      put("toggles-find");
      return;
    }
    const told = shown.summary;
    const searched = cpu.some((each) => each[0] === told.column) ? told.column : cpu[0][0];
    const where = select(cpu, searched, () => null, { "data-key": "find-column" });
    const dwell = make("input", {
      type: "number", min: "0.1", step: "any", value: told.least_dwell_s, "data-key": "find-dwell",
    });
    put("toggles-find", make("details", { "data-key": "find" },
      make("summary", {}, "Look for switches in the readings"),
      make("p", { class: "help" }, "The lower of two levels is taken for offload on. What is " +
        "marked now is replaced."),
      make("div", { class: "evidence-line" },
        labelled("Look in", where),
        labelled("Each spell lasts at least [s]", dwell),
        button("Find switches", () => find(where.value, Number(dwell.value)),
          { "data-key": "find-go" }))));
  }

  async function find(where, least_dwell_s) {
    if (page().busy()) return;
    const body = { log: chosen, action: "find", column: where, least_dwell_s: least_dwell_s };
    const told = await page().ask("toggles", body);
    say(page().trouble(told) || "");
    if (page().trouble(told)) return;
    const job = await page().follow("toggles-find");
    if (job.state === "failed") say(job.failure || job.error.message);
    await page().refresh();
    drawLogs();
    await load([shown.from_s, shown.to_s]);
    page().tellAll("read");
  }

  /* ---- following what happens elsewhere ---- */

  function begin() {
    const logs = readLogs();
    const body = document.getElementById("evidence-toggles-body");
    if (!body) return;
    if (!logs.length) {
      shown = null;
      chosen = null;
      body.replaceChildren();
      mark();
      return;
    }
    frame();
    if (!logs.some((log) => log.id === chosen)) {
      const open = logs.find((log) => log.spells && !log.spells.confirmed);
      choose((open || logs[0]).id);
    } else {
      drawLogs();
      load(shown ? [shown.from_s, shown.to_s] : null);
    }
  }

  window.addEventListener("crestline-evidence", (event) => {
    if (event.detail.step !== "confirmed") begin();
    else if (!shown && readLogs().length) begin();
  });
  window.addEventListener("crestline-page", (event) => {
    if (event.detail === "evidence" && shown) load([shown.from_s, shown.to_s]);
  });
  const looks = new MutationObserver(() => {
    if (shown) load([shown.from_s, shown.to_s]);
  });
  looks.observe(document.documentElement, { attributes: true, attributeFilter: ["data-look"] });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    if (shown) load([shown.from_s, shown.to_s]);
  });
})();
