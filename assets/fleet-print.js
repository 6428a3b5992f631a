/* What does the browser print of a fleet? A sheet of the last answer, its charts drawn in light.

   As on the Host page (assets/host-print.js) it is filled when the browser is about to print. */
(function () {
  "use strict";

  const WIDE = 500; // of a chart; on paper it is scaled to half the width of the page
  const HIGH = 255;
  const READY_MS = 15000;
  const SITE_COLUMNS = [0, 1, 2, 3, 7, 8, 9, 10, 12, 13, 14, 16]; // of the table, that fit on paper
  const root = document.documentElement;
  const fleet = window.crestline.fleet;
  const { make } = fleet;
  let drawings = [];
  let title = null;

  function copied(id) {
    return [...document.getElementById(id).children].map((child) => {
      const copy = child.cloneNode(true);
      [copy, ...copy.querySelectorAll("[id], [tabindex], [data-key]")].forEach((each) =>
        ["id", "tabindex", "data-key"].forEach((name) => each.removeAttribute(name)));
      return copy;
    });
  }

  function plainTable(head, rows) {
    const line = (row) => make("tr", {}, row.map((text, at) =>
      make(at ? "td" : "th", at ? {} : { scope: "row" }, text)));
    const top = head.some((text) => text)
      ? make("thead", {}, make("tr", {}, head.map((text) => make("th", { scope: "col" }, text))))
      : null;
    return make("table", {}, top, make("tbody", {}, rows.map(line)));
  }

  function section(told) {
    return [make("h2", {}, told.title), plainTable(told.head, told.rows)];
  }

  function chart(name) {
    const figure = fleet.figures[name];
    if (!figure || document.getElementById("chart-" + name).hidden) return null;
    return make("div", {}, make("h2", {}, about().titles[name]),
      make("p", {}, document.getElementById("takeaway-" + name).textContent),
      make("div", { class: "sheet-plot", "data-fleetplot": name }));
  }

  function about() {
    return fleet.about();
  }

  function sites(plan) {
    const pick = (row) => SITE_COLUMNS.map((at) => row[at]);
    return [
      make("h2", {}, about().page.by_site + " on " + plan.choices[plan.choice]),
      make("div", { class: "fleet-wide" },
        plainTable(pick(plan.sites.head), plan.sites.rows.map(pick))),
    ];
  }

  function fill(sheet, plan) {
    const date = new Date().toLocaleDateString("en-GB",
      { day: "numeric", month: "long", year: "numeric" });
    const stale = document.getElementById("fleet-stale").textContent;
    const told = fleet.event();
    const shown = told !== null && told.rows && told.rows.length ? told : null;
    sheet.replaceChildren(...[
      make("div", { class: "sheet-head" }, make("p", {}, "Crestline: a fleet of hosts"),
        make("p", {}, date)),
      make("h1", {}, plan.scenario),
      stale ? make("p", {}, stale) : null,
      make("div", { class: "sheet-answer" },
        make("p", { class: "sheet-sentence" }, plan.sentence),
        [...plan.more, ...plan.told].map((text) => make("p", {}, text)),
        shown ? make("p", {}, shown.sentence) : null),
      copied("fleet-overall"),
      make("div", { class: "fleet-sheet-key" }, make("span", {}, "without cards"),
        make("span", {}, "with cards")),
      make("div", { class: "fleet-sheet-charts" },
        ["fleet-hosts", "fleet-cost", "fleet-map"].map(chart).filter(Boolean),
        make("div", {}, copied("fleet-break-even"))),
      make("div", { class: "fleet-sheet-inputs" },
        sites(plan),
        make("div", { class: "fleet-sheet-pair" },
          plan.inputs.slice(0, 2).map((each) => make("div", {}, section(each)))),
        plan.inputs.slice(2).map(section),
        make("div", { class: "fleet-sheet-last" },
          make("h2", {}, "What the numbers rest on"),
          plan.notes.map((text) => make("p", {}, text)),
          make("p", {}, about().caution),
          make("p", { class: "soft" }, document.getElementById("fleet-link-note").textContent ||
            "Open it live: " + window.location.href))),
    ].flat(Infinity).filter(Boolean));
  }

  function inLight(figure) {
    let text = JSON.stringify({ data: figure.data, layout: figure.layout });
    const colours = JSON.parse(document.getElementById("sheet").dataset.light);
    Object.entries(colours).forEach(([dark, light]) => {
      text = text.replaceAll('"' + dark + '"', '"' + light + '"');
    });
    return JSON.parse(text);
  }

  function before() {
    const sheet = document.getElementById("fleet-sheet");
    const plan = fleet.plan();
    if (!sheet || plan === null || root.dataset.page !== "fleet") return;
    root.dataset.fleetprinting = "yes";
    fill(sheet, plan);
    sheet.querySelectorAll("[data-fleetplot]").forEach((place) => {
      const light = inLight(fleet.figures[place.dataset.fleetplot]);
      const size = { width: WIDE, height: HIGH, autosize: false, uirevision: "paper" };
      const still = { staticPlot: true, responsive: false };
      const layout = Object.assign(light.layout, size);
      drawings.push([place, window.Plotly.newPlot(place, light.data, layout, still)]);
      place.querySelectorAll(".main-svg").forEach((drawing) => {
        drawing.setAttribute("viewBox", "0 0 " + WIDE + " " + HIGH);
        drawing.setAttribute("width", "100%");
        drawing.setAttribute("height", "100%");
      });
    });
    title = document.title;
    document.title = "Crestline: fleet, " + plan.scenario;
  }

  function after() {
    if (title === null) return;
    document.title = title;
    title = null;
    delete root.dataset.fleetprinting;
    const drawn = drawings;
    drawings = [];
    drawn.forEach(([place, promise]) => promise.finally(() => window.Plotly.purge(place)));
    Promise.allSettled(drawn.map((each) => each[1])).then(() => {
      if (title === null) document.getElementById("fleet-sheet").replaceChildren();
    });
  }

  function isDone() {
    const seen = root.dataset;
    return ["fleetplan", "fleetmap", "fleetevent"].every((name) => seen[name] === seen.fleetasked);
  }

  window.crestline.actions["fleet-print"] = (pressed) => {
    const since = performance.now();
    pressed.setAttribute("aria-busy", "true");
    function look() {
      if (!isDone() && performance.now() - since < READY_MS) {
        setTimeout(look, 50);
        return;
      }
      pressed.removeAttribute("aria-busy");
      window.print();
    }
    look();
  };
  window.addEventListener("beforeprint", before);
  window.addEventListener("afterprint", after);
})();
