/* What does the browser print? A proposal sheet of the last complete result, always in light.

   A complete result is kept once its last answer is painted. When the browser is about to print,
   from its own menu or from the button, the hidden sheet is filled and its charts are drawn. */
(function () {
  "use strict";

  const WIDE = 500; // of a chart; on paper it is scaled to half the width of the page
  const HIGH = 300;
  const READY_MS = 10000;
  const crestline = window.crestline;
  const root = document.documentElement;
  let kept = null; // the last complete result
  let link = null; // query of the last curves, null where they are too long for one
  let title = null; // of the page, while it prints
  let drawings = []; // what each chart of the sheet promises, while it prints

  function element(name, text) {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    return made;
  }

  function current() {
    const seen = root.dataset;
    return kept !== null && kept.scenario === crestline.scenario() && kept.sequence === seen.asked;
  }

  function keep(lane, answer) {
    if (lane === "curve") link = answer.query;
    const seen = root.dataset;
    const sequence = String(answer.sequence);
    if (lane !== "next" || seen.paintedcurve !== sequence || seen.asked !== sequence) return;
    const texts = {};
    document.querySelectorAll("#sheet [data-copied]").forEach((copy) => {
      texts[copy.dataset.copied] = document.getElementById(copy.dataset.copied).textContent;
    });
    kept = {
      sequence: sequence,
      scenario: crestline.scenario(),
      figures: Object.assign({}, crestline.figures),
      texts: texts,
      values: document.querySelector(".now-table").cloneNode(true),
      lines: answer.lines,
      sheet: answer.sheet,
      link: link,
      pinned: crestline.pin() !== null,
    };
  }

  function table(head, rows) {
    const made = element("table");
    const first = made.createTHead().insertRow();
    head.forEach((text) => {
      const cell = element("th", text);
      cell.scope = "col";
      first.append(cell);
    });
    const body = made.createTBody();
    rows.forEach((row) => {
      const line = body.insertRow();
      row.forEach((text, i) => {
        const cell = element(i === 0 ? "th" : "td", text);
        if (i === 0) cell.scope = "row";
        line.append(cell);
      });
    });
    return made;
  }

  function section(titled, content) {
    const made = element("div");
    made.append(element("h3", titled), content);
    return made;
  }

  function fill(sheet) {
    const part = (name) => document.getElementById("sheet-" + name);
    const date = { day: "numeric", month: "long", year: "numeric" };
    part("date").textContent = new Date().toLocaleDateString("en-GB", date);
    part("unfinished").textContent = current() ? "" : sheet.dataset.unfinished;
    part("name").textContent = kept.sheet.name;
    sheet.querySelectorAll("[data-copied]").forEach((copy) => {
      copy.textContent = kept.texts[copy.dataset.copied];
    });
    sheet.querySelector(".key [data-means=pinned]").hidden = !kept.pinned;
    const card = JSON.parse(kept.scenario).accelerator.cards > 0;
    sheet.querySelector(".key [data-means=offloaded]").hidden = !card;
    const values = kept.values.cloneNode(true);
    values.querySelectorAll("[id]").forEach((cell) => cell.removeAttribute("id"));
    part("values").replaceChildren(values);
    part("what-if").replaceChildren(...kept.lines.map((line) => element("li", line)));
    part("groups").replaceChildren(
      ...kept.sheet.groups.map((group) => {
        const list = element("dl");
        group.rows.forEach(([label, value]) => {
          const row = element("div");
          row.append(element("dt", label), element("dd", value));
          list.append(row);
        });
        return section(group.title, list);
      })
    );
    part("tables").replaceChildren(
      ...kept.sheet.tables.map((each) => section(each.title, table(each.head, each.rows)))
    );
    part("tables").firstElementChild.className = "habits";
    const address = window.location.origin + "/" + (kept.link ? "?" + kept.link : "");
    part("link").textContent = kept.link === null ? sheet.dataset.toolong : "Open it live: " + address;
  }

  /* Colours of the dark look give way to those of the light one. */
  function inLight(figure, colours) {
    let text = JSON.stringify(figure);
    Object.entries(colours).forEach(([dark, light]) => {
      text = text.replaceAll('"' + dark + '"', '"' + light + '"');
    });
    return JSON.parse(text);
  }

  function drawCharts(sheet) {
    const colours = JSON.parse(sheet.dataset.light);
    sheet.querySelectorAll("[data-plot]").forEach((place) => {
      const figure = kept.figures[place.dataset.plot];
      const light = inLight({ data: figure.data, layout: figure.layout }, colours);
      const size = { width: WIDE, height: HIGH, autosize: false, uirevision: "paper" };
      const layout = Object.assign(light.layout, size);
      layout.showlegend = false; // the sheet has keys of its own
      layout.margin.t = 14;
      const still = { staticPlot: true, responsive: false };
      drawings.push(window.Plotly.newPlot(place, light.data, layout, still)); // is there at once
      place.querySelectorAll(".main-svg").forEach((drawing) => {
        drawing.setAttribute("viewBox", "0 0 " + WIDE + " " + HIGH); // scales with the paper
      });
    });
  }

  function before() {
    const sheet = document.getElementById("sheet");
    if (!sheet || kept === null || root.dataset.page !== "host") return;
    root.dataset.printing = "yes"; // laid out beside the window, so that text can be measured
    fill(sheet);
    drawCharts(sheet);
    title = document.title;
    document.title = "Crestline: " + kept.sheet.name; // browsers name the PDF after it
  }

  function after() {
    if (title === null) return;
    document.title = title;
    title = null;
    delete root.dataset.printing;
    const places = [...document.querySelectorAll("#sheet [data-plot]")];
    drawings.forEach((drawn, i) => drawn.finally(() => window.Plotly.purge(places[i])));
    drawings = [];
  }

  /* Waits for the answers under way, then opens the browser's print dialog. */
  function print(button) {
    const since = performance.now();
    button.setAttribute("aria-busy", "true");
    function look() {
      const invalid = document.getElementById("results").classList.contains("stale");
      if (!current() && !invalid && performance.now() - since < READY_MS) {
        setTimeout(look, 50);
        return;
      }
      button.removeAttribute("aria-busy");
      window.print();
    }
    look();
  }

  crestline.onAnswer(keep);
  crestline.actions.print = print;
  window.addEventListener("beforeprint", before);
  window.addEventListener("afterprint", after);
})();
