/* With which tools do parts 1, 4 and 5 of the Evidence page build forms, tables, charts and paper?

   Labels come from the server (app/words_trial.py). A chart's picture and numbers are asked for
   with the question that it answers; sheets for paper are filled when the browser prints. */
(function () {
  "use strict";

  const BASE = "/evidence-data/";
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const root = document.documentElement;
  const element = window.crestline.make;
  let words = null;

  function find(id) {
    return document.getElementById(id);
  }

  /* Count what was done, for who waits for it. */
  function counted(name) {
    root.dataset[name] = String(Number(root.dataset[name] || 0) + 1);
  }

  /* A table from {head, rows}; its first column names the row. It scrolls by itself. */
  function table(spec, label) {
    const made = element("table", { class: "trial-table" });
    const head = made.createTHead().insertRow();
    spec.head.forEach((text) => head.append(element("th", { scope: "col", text: text })));
    const body = made.createTBody();
    spec.rows.forEach((row) => {
      const line = body.insertRow();
      row.forEach((text, i) => {
        line.append(element(i ? "td" : "th", { text: text, scope: i ? null : "row" }));
      });
    });
    const about = { class: "scroll", tabindex: "0", role: "region", "aria-label": label };
    return element("div", about, made);
  }

  function list(lines, className) {
    const points = lines.map((line) => element("li", { text: line }));
    return element("ul", { class: className || "trial-list" }, ...points);
  }

  function button(name, given) {
    const [label, about] = words.buttons[name];
    const own = { type: "button", title: about, text: label, "data-trial": name };
    return element("button", Object.assign(own, given || {}));
  }

  /* A labelled box or list of choices: {name, label, unit, help, type, value, choices, wide}. */
  function field(spec) {
    const id = "trial-" + spec.name;
    const unit = spec.unit && spec.unit !== "-" ? [element("span", {
      class: "unit", text: " [" + spec.unit + "]" })] : [];
    const label = element("label", { for: id, text: spec.label }, ...unit);
    const about = spec.help ? id + "-help" : null;
    let control;
    if (spec.choices) {
      control = element("select", { id: id, name: spec.name, "aria-describedby": about });
      spec.choices.forEach(([value, text]) => {
        control.append(element("option", { value: value, text: text }));
      });
      if (spec.value !== undefined) control.value = spec.value;
    } else {
      control = element("input", {
        id: id, name: spec.name, type: spec.type || "number", step: "any", value: spec.value,
        "aria-describedby": about,
      });
    }
    const help = spec.help ? [element("small", { class: "help", id: about, text: spec.help })] : [];
    const kind = spec.wide ? "trial-field wide" : "trial-field";
    return element("div", { class: kind }, label, control, ...help);
  }

  /* What a box holds: a number, or null where it is empty. */
  function numberIn(name) {
    const box = document.getElementById("trial-" + name);
    const text = box ? box.value.trim() : "";
    return text === "" ? null : Number(text);
  }

  function valueOf(name) {
    return document.getElementById("trial-" + name).value;
  }

  class Refusal extends Error {
    constructor(told) {
      super(told.message);
      this.field = told.field;
    }
  }

  async function answered(response) {
    const answer = await response.json();
    if (answer.gone) throw Object.assign(new Refusal(answer.error), { gone: true });
    if (answer.error) throw new Refusal(answer.error);
    if (answer.failure) throw new Error(answer.failure);
    return answer;
  }

  async function send(path, question) {
    try {
      return await fetch(path.startsWith("/") ? path : BASE + path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
    } catch (error) {
      throw new Error("The server does not answer; try again.");
    }
  }

  async function ask(path, question) {
    return answered(await send(path, Object.assign({ theme: window.crestline.theme() }, question)));
  }

  function draw(id, figure) {
    return window.Plotly.react(id, figure.data, figure.layout, CONFIG);
  }

  /* A chart with its caption and its two tools. */
  function chart(name, data) {
    const title = words.titles[name];
    const tools = ["picture", "csv"].map((tool) =>
      button(tool, { "data-chart": name, "aria-label": words.buttons[tool][0] + ": " + title })
    );
    const head = element("div", { class: "chart-head" }, element("h3", { text: title }),
      element("div", { class: "chart-tools" }, ...tools));
    const place = { id: "chart-trial-" + name, class: "chart", role: "group", "aria-label": title };
    return element("figure", { id: "figure-trial-" + name },
      element("figcaption", {}, head, ...(data || [])), element("div", place));
  }

  async function saveCsv(path, question) {
    const response = await send("csv/" + path, question);
    if ((response.headers.get("Content-Type") || "").includes("json")) await answered(response);
    const named = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition") || "");
    const link = element("a", { href: URL.createObjectURL(await response.blob()) });
    link.download = named ? named[1] : path + ".csv";
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  async function savePicture(name, question) {
    const made = await ask("picture/" + name, question);
    await window.crestlinePictures.save(made.chart, made.data);
  }

  /* Do something for a button; what goes wrong is told where `place` is. */
  async function doing(pressed, place, work) {
    if (pressed && pressed.getAttribute("aria-busy") === "true") return;
    if (pressed) pressed.setAttribute("aria-busy", "true");
    window.crestline.setText(place, "");
    try {
      await work();
    } catch (error) {
      window.crestline.setText(place, error.message);
    }
    if (pressed) pressed.removeAttribute("aria-busy");
  }

  async function loadWords() {
    if (words === null) words = await answered(await fetch(BASE + "trial-words"));
    return words;
  }

  /* ---- paper: the page's own sheets ---- */

  /* A sheet: filled before the browser prints, seen on paper only. */
  function sheet(name) {
    const id = "paper-" + name;
    let found = document.getElementById(id);
    if (!found) {
      found = element("section", { id: id, class: "paper", "aria-label": "On paper" });
      document.getElementById("page-evidence").append(found);
    }
    return found;
  }

  const papers = {}; // name: function that fills the sheet and returns its title, or null
  let wanted = null;
  let title = null;

  function beforePrint() {
    if (root.dataset.page !== "evidence") return;
    const filled = (each) => papers[each] && papers[each].is();
    const name = wanted || ["report", "run-sheet"].find(filled);
    if (!name || !filled(name)) return;
    document.body.classList.add("print-" + name);
    title = document.title;
    document.title = "Crestline: " + papers[name].fill(sheet(name));
  }

  function afterPrint() {
    if (title === null) return;
    document.title = title;
    title = null;
    document.body.classList.remove("print-report", "print-run-sheet");
  }

  function print(name) {
    wanted = name;
    window.print();
    wanted = null;
  }

  window.addEventListener("beforeprint", beforePrint);
  window.addEventListener("afterprint", afterPrint);

  window.crestlineTrial = {
    find: find, counted: counted, element: element, table: table, list: list, button: button,
    field: field, numberIn: numberIn, valueOf: valueOf, ask: ask, draw: draw, chart: chart,
    saveCsv: saveCsv, savePicture: savePicture, doing: doing, loadWords: loadWords,
    papers: papers, print: print,
  };
})();
