/* How is the answer about a fleet shown, and how do its numbers and pictures leave the page? */
(function () {
  "use strict";

  const fleet = window.crestline.fleet;
  const { make, button, about } = fleet;
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const painted = {}; // what stands in each part, so that what stays is not drawn again
  let plan = null;
  let event = null;
  let ofHost = null; // which events the Host page's host can meet

  function put(id, key, ...children) {
    const text = JSON.stringify(key);
    if (painted[id] === text) return;
    painted[id] = text;
    const place = document.getElementById(id);
    const active = document.activeElement;
    const kept = place.contains(active) ? active.dataset.key : null;
    place.replaceChildren(...children.flat(Infinity).filter((child) => child !== null));
    if (!kept) return;
    const same = [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === kept);
    if (same) same.focus();
  }

  function scrolling(label, table) {
    return make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": label },
      table);
  }

  function cells(row, first) {
    return row.map((text, at) => make(at < first ? "th" : "td",
      at < first ? { scope: at ? null : "row", dir: "auto" } : {}, text));
  }

  function overall(told) {
    const unit = (text) => (text ? make("span", { class: "unit" }, " [" + text + "]") : null);
    const groups = make("tr", {}, make("td", {}), told.groups.map((group) =>
      make("th", { scope: "colgroup", colspan: group.arms.length, dir: "auto" }, group.name)));
    const arms = make("tr", {}, make("th", { scope: "col" }, "All sites"),
      told.groups.flatMap((group) => group.arms.map((arm) =>
        make("th", { scope: "col", class: "fleet-" + arm.arm }, arm.label,
          arm.cheapest ? make("strong", { class: "fleet-cheapest" }, "costs least") : null))));
    const rows = told.rows.map((row) => make("tr", {},
      make("th", { scope: "row" }, row.label, unit(row.unit)),
      row.cells.map((cell) => make("td", {}, cell))));
    return [
      make("h2", {}, about().page.overall),
      scrolling(about().page.overall, make("table", { class: "fleet-table" },
        make("thead", {}, groups, arms), make("tbody", {}, rows))),
    ];
  }

  function sites(told, name) {
    const title = about().page.by_site;
    const head = make("tr", {}, told.head.map((text) => make("th", { scope: "col" }, text)));
    const rows = told.rows.map((row) => make("tr", {}, cells(row, 1)));
    return [
      make("h2", {}, title, make("span", { class: "soft" }, " on " + name)),
      scrolling(title, make("table", { class: "fleet-table fleet-wide" },
        make("thead", {}, head), make("tbody", {}, rows))),
    ];
  }

  function breakEven(told) {
    const title = about().page.break_even;
    const head = make("tr", {}, told.head.map((text, at) => make("th", { scope: "col" },
      at ? text : text.replace(title, "").trim())));
    return [
      make("h2", {}, title),
      make("p", { class: "soft" }, "Below it, cards pay for themselves over the horizon."),
      scrolling(title, make("table", { class: "fleet-table" }, make("thead", {}, head),
        make("tbody", {}, told.rows.map((row) => make("tr", {}, cells(row, 1)))))),
    ];
  }

  function years(told, name) {
    const title = about().page.by_year;
    const groups = make("tr", {}, make("td", { colspan: told.head.length }),
      told.groups.map((group) => make("th", { scope: "colgroup", colspan: told.columns.length },
        group)));
    const head = make("tr", {}, [...told.head, ...told.groups.flatMap(() => told.columns)]
      .map((text) => make("th", { scope: "col" }, text)));
    return [
      make("h2", {}, title, make("span", { class: "soft" }, " on " + name + ", all sites")),
      scrolling(title, make("table", { class: "fleet-table" }, make("thead", {}, groups, head),
        make("tbody", {}, told.rows.map((row) => make("tr", {}, cells(row, 1)))))),
    ];
  }

  function chosen(id, label, options, at, act) {
    const select = make("select", { id: id, "data-key": id, onchange: act },
      options.map((text, i) => make("option", { value: i, selected: i === at }, text)));
    return [make("label", { for: id }, label), select];
  }

  function closer(told) {
    const page = about().page;
    return make("div", { class: "fleet-closer" },
      chosen("fleet-choice", page.closer, told.choices, told.choice,
        (change) => fleet.look(Number(change.target.value))),
      chosen("fleet-role", page.role, told.roles, told.roles.indexOf(told.role),
        (change) => fleet.move(told.roles[Number(change.target.value)])));
  }

  /* ---- events ---- */

  function eventPart() {
    if (plan === null) return;
    const text = window.crestline.beside("if");
    const key = text === null ? null : text.split("~")[0];
    const shown = event !== null && event.event === key && key !== null ? event : null;
    put("fleet-event", shown, shown ? eventTold(shown) : null);
  }

  /* The buttons are shared with the Host page, whose host meets other events than the choice that
     is looked at here. */
  function offer() {
    const onPage = document.documentElement.dataset.page === "fleet";
    const told = onPage && plan !== null ? plan.events : ofHost;
    if (told !== null) window.crestline.events.offer(told);
  }

  function eventTold(told) {
    if (told.refused) return make("p", { class: "error" }, told.refused);
    const rows = told.rows.map((row) => make("tr", {},
      make("th", { scope: "row", dir: "auto" }, row.site), make("td", {}, row.arm),
      row.cells.length ? row.cells.map((cell) => make("td", {}, cell))
        : make("td", { colspan: 5 }),
      make("td", { class: row.holds ? "fleet-holds" : "fleet-missed" }, row.verdict)));
    return [
      make("p", { class: "fleet-event-sentence" }, told.sentence),
      make("p", { class: "soft" }, told.note),
      told.limited ? make("p", {}, told.limited) : null,
      scrolling("Sites after the event", make("table", { class: "fleet-table" },
        make("thead", {}, make("tr", {}, about().event_head.map((text) =>
          make("th", { scope: "col" }, text)))),
        make("tbody", {}, rows))),
    ];
  }

  function showEventError(error) {
    event = { event: (window.crestline.beside("if") || "").split("~")[0], refused: error.message };
    eventPart();
  }

  /* ---- painting ---- */

  function draw(figures) {
    Object.entries(figures).forEach(([name, figure]) => {
      const text = JSON.stringify(figure);
      if (painted["chart-" + name] === text) return;
      painted["chart-" + name] = text;
      document.getElementById("chart-" + name).hidden = false;
      window.Plotly.react("chart-" + name, figure.data, figure.layout, CONFIG);
      window.crestline.fleet.figures[name] = figure;
    });
  }

  function takeaways(told) {
    Object.entries(told).forEach(([name, text]) => {
      window.crestline.setText("takeaway-" + name, text);
    });
  }

  function paintPlan(told) {
    plan = told;
    const name = told.choices[told.choice];
    window.crestline.setText("fleet-sentence", told.sentence);
    put("fleet-more", [told.more, told.told], told.more.map((text) => make("p", {}, text)),
      told.told.map((text) => make("p", { class: "error" }, text)));
    put("fleet-overall", told.overall, overall(told.overall));
    put("fleet-closer", [told.choices, told.choice, told.roles, told.role], closer(told));
    put("fleet-break-even", told.break_even, breakEven(told.break_even));
    put("fleet-sites", [told.sites, name], sites(told.sites, name));
    put("fleet-years", [told.years, name], years(told.years, name));
    put("fleet-notes", told.notes, make("h2", {}, "What the numbers rest on"),
      make("ul", {}, told.notes.map((text) => make("li", {}, text))));
    takeaways(told.takeaways);
    draw(told.figures);
    offer();
    eventPart();
  }

  function paint(lane, told) {
    if (lane === "plan") paintPlan(told);
    if (lane === "map") {
      takeaways(told.takeaways);
      document.getElementById("chart-fleet-map").hidden = Boolean(told.refused);
      if (told.refused) delete painted["chart-fleet-map"];
      draw(told.figures);
      const select = document.getElementById("fleet-role");
      const at = plan ? plan.roles.indexOf(told.role) : -1;
      if (select && at >= 0) select.value = String(at);
    }
    if (lane === "event") {
      event = told;
      eventPart();
    }
  }

  /* ---- numbers and pictures ---- */

  async function busily(pressed, work, what) {
    if (pressed.getAttribute("aria-busy") === "true" || fleet.data() === null) return;
    pressed.setAttribute("aria-busy", "true");
    try {
      await work();
      fleet.tell("");
    } catch (error) {
      const why = error instanceof TypeError ? "the server does not answer." : error.message;
      fleet.tell(what + " could not be saved: " + why);
    }
    pressed.removeAttribute("aria-busy");
  }

  function saveNumbers(pressed, path) {
    busily(pressed, async () => {
      const response = await fetch(path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(fleet.question()),
      });
      if (!response.ok) throw new Error((await response.json()).error.message);
      const told = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition"));
      const address = URL.createObjectURL(await response.blob());
      window.crestline.shelf.saveFrom(told[1], address);
      setTimeout(() => URL.revokeObjectURL(address), 60000);
    }, "The numbers");
  }

  function savePictures(pressed, wanted) {
    busily(pressed, async () => {
      const told = await fleet.post("/fleet/pictures", fleet.question());
      if (told.error || told.failure) throw new Error(told.failure || told.error.message);
      const charts = told.charts.filter((chart) => !wanted || chart.name === wanted);
      if (!charts.length) throw new Error("there is no such chart for this host choice.");
      if (wanted) await window.crestlinePictures.save(charts[0], told);
      else await window.crestlinePictures.saveAll(charts, told, "crestline-fleet-pictures.zip");
    }, "The picture");
  }

  Object.assign(window.crestline.actions, {
    "fleet-numbers": (pressed) =>
      saveNumbers(pressed, "/numbers/" + pressed.dataset.chart + ".csv"),
    "fleet-table": (pressed) => saveNumbers(pressed, "/numbers/fleet-sites.csv"),
    "fleet-document": (pressed) => saveNumbers(pressed, "/api/fleet"),
    "fleet-picture": (pressed) => savePictures(pressed, pressed.dataset.chart),
    "fleet-pictures": (pressed) => savePictures(pressed, null),
  });
  window.addEventListener("crestline-beside", (heard) => {
    if (heard.detail === "if") eventPart();
  });
  window.addEventListener("crestline-page", offer);
  window.crestline.onAnswer((lane, answer) => {
    if (lane !== "curve") return;
    ofHost = answer.events || null;
    offer();
  });
  Object.assign(fleet, {
    paint: paint, showEventError: showEventError, figures: {}, plan: () => plan,
    event: () => event,
  });
})();
