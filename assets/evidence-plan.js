/* How does a visitor plan a trial, and print its run sheet?

   Part 1 of the Evidence page. Its form is made here from the labels that the server sends
   (app/words_trial.py); what it shares with parts 4 and 5 is in window.crestlineTrial. */
(function () {
  "use strict";

  const BASE = "/evidence-data/";
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const root = document.documentElement;
  let words = null;
  let planned = null; // the question that the plan shown answers
  let told = null; // its answer

  /* ---- what parts 1, 4 and 5 share ---- */

  function element(name, given, ...children) {
    const made = document.createElement(name);
    Object.entries(given || {}).forEach(([key, value]) => {
      if (key === "text") made.textContent = value;
      else if (value === true) made.setAttribute(key, "");
      else if (value !== false && value !== null && value !== undefined) {
        made.setAttribute(key, value);
      }
    });
    made.append(...children);
    return made;
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
    return element(
      "ul", { class: className || "trial-list" }, ...lines.map((line) => element("li", { text: line }))
    );
  }

  function button(name, given) {
    const [label, about] = words.buttons[name];
    const own = { type: "button", title: about, text: label, "data-trial": name };
    return element("button", Object.assign(own, given || {}));
  }

  /* A labelled box or list of choices: {name, label, unit, help, type, value, choices}. */
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
    return element("div", { class: "trial-field" }, label, control, ...help);
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
    const name = wanted || ["report", "run-sheet"].find((each) => papers[each] && papers[each].is());
    if (!name || !papers[name] || !papers[name].is()) return;
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
    element: element, table: table, list: list, button: button, field: field, numberIn: numberIn,
    valueOf: valueOf, ask: ask, answered: answered, draw: draw, chart: chart, saveCsv: saveCsv,
    savePicture: savePicture, doing: doing, loadWords: loadWords, papers: papers, print: print,
    logs: (logs) => offerLogs(logs),
  };

  /* ---- part 1 ---- */

  function activities() {
    const text = window.crestline.scenario();
    return text ? JSON.parse(text).activities : [];
  }

  function activityBoxes() {
    const boxes = activities().map((each, i) => {
      const id = "trial-activity-" + i;
      const moves = each.frame_rate_hz > 0;
      const box = element("input", {
        type: "checkbox", id: id, name: "activity", value: each.name, checked: moves,
      });
      return element("label", { for: id, class: "trial-tick" }, box, element("span", { text: each.name }));
    });
    return boxes;
  }

  function fillActivities() {
    const place = document.getElementById("trial-activities");
    const names = activities().map((each) => each.name).join("\n");
    if (!place || place.dataset.names === names) return;
    place.dataset.names = names;
    place.replaceChildren(...activityBoxes());
  }

  function spec(name, more) {
    const [label, unit, help] = words.plan[name];
    return field(Object.assign({ name: name, label: label, unit: unit, help: help }, more));
  }

  function unitOfColumn() {
    return words.columns[valueOf("column")][1];
  }

  function follow() {
    const guess = valueOf("pilot") === "";
    ["sd", "carry", "interval_s"].forEach((name) => {
      document.getElementById("trial-" + name).closest(".trial-field").hidden = !guess;
    });
    const unit = valueOf("goal") === "blocks" ? "blocks" : unitOfColumn();
    [["amount", unit], ["sd", unitOfColumn()]].forEach(([name, shown]) => {
      document.querySelector("label[for=trial-" + name + "] .unit").textContent = " [" + shown + "]";
    });
  }

  function build() {
    const place = document.getElementById("evidence-plan-body");
    const ticks = element("fieldset", { class: "trial-ticks" },
      element("legend", { text: words.plan.activities[0] }),
      element("div", { id: "trial-activities" }));
    const columns = Object.entries(words.columns).map(([name, told]) => [name, told[0]]);
    const goals = Object.entries(words.goals).map(([name, told]) => [name, told[0]]);
    const orders = words.orders.map((name) => [name, name]);
    const boxes = element("div", { class: "trial-fields" },
      spec("goal", { choices: goals }),
      spec("amount", { value: 0.05, unit: "cores" }),
      field({ name: "column", label: "Measured", choices: columns }),
      spec("pilot", { choices: [["", "a guess"]] }),
      spec("sd", { value: 0.05 }), spec("carry", { value: 0.8 }), spec("interval_s", { value: 1 }),
      spec("block_s", { value: 60 }), spec("drop_s", { value: 5 }), spec("settle_s", { value: 60 }),
      spec("order", { choices: orders }), spec("seed", { value: 1 }));
    const form = element("form", { id: "trial-form" }, ticks, boxes,
      element("div", { class: "tools" }, button("plan", { type: "submit" })),
      element("p", { id: "trial-plan-error", class: "error", role: "alert" }));
    const shown = element("div", { id: "trial-plan", hidden: true },
      element("p", { id: "trial-answer", class: "answer", role: "status" }),
      element("div", { id: "trial-lines" }), element("div", { id: "trial-strips" }), chart("power"),
      element("details", { class: "group" }, element("summary", { text: "Run sheet" }),
        element("div", { id: "trial-sheet" })),
      element("div", { class: "tools" }, button("run-sheet")));
    place.replaceChildren(form, shown);
    fillActivities();
    follow();
    form.addEventListener("change", follow);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const pressed = form.querySelector("[data-trial=plan]");
      doing(pressed, "trial-plan-error", () => plan(question()));
    });
    shown.addEventListener("click", (event) => {
      const pressed = event.target.closest("[data-trial]");
      if (!pressed) return;
      const does = pressed.dataset.trial;
      if (does === "run-sheet") print("run-sheet");
      if (does === "csv") doing(pressed, "trial-plan-error", () => saveCsv("power", planned));
      if (does === "picture") doing(pressed, "trial-plan-error", () => savePicture("power", planned));
    });
  }

  function question() {
    const pilot = valueOf("pilot");
    const noise = pilot === ""
      ? { sd: numberIn("sd"), carry: numberIn("carry"), interval_s: numberIn("interval_s") }
      : { log: Number(pilot) };
    noise.column = valueOf("column");
    const ticked = [...document.querySelectorAll("#trial-activities input:checked")];
    return {
      activities: ticked.map((box) => box.value), noise: noise, goal: valueOf("goal"),
      amount: numberIn("amount"), block_s: numberIn("block_s"), drop_s: numberIn("drop_s"),
      settle_s: numberIn("settle_s"), order: valueOf("order"), seed: numberIn("seed"),
    };
  }

  async function plan(asked) {
    const answer = await ask("plan", asked);
    planned = asked;
    told = Object.assign(answer, { drawn: window.crestline.theme() });
    show();
  }

  /* Each block of the order as a box: filled with the card, hollow and dashed without. */
  function strip(each) {
    const inWords = each.states.map((on) => (on ? "with" : "without")).join(", ");
    const blocks = each.states.map((on) => element("i", { class: on ? "on" : "off" }));
    const bar = element("span", { class: "strip", role: "img", "aria-label": inWords }, ...blocks);
    return element("div", { class: "strip-row" }, element("span", { text: each.activity }), bar);
  }

  function show() {
    const find = (id) => document.getElementById("trial-" + id);
    find("plan").hidden = false;
    find("answer").textContent = told.answer;
    find("lines").replaceChildren(list(told.lines));
    const key = element("p", { class: "help strip-key" },
      element("i", { class: "on" }), " with card ", element("i", { class: "off" }), " without card");
    find("strips").replaceChildren(...told.order.map(strip), key);
    find("sheet").replaceChildren(
      element("h3", { text: "Before it begins" }), list(told.checklist),
      element("h3", { text: "Blocks" }), table(told.sheet, "Run sheet"),
      element("h3", { text: "Mind" }), list(told.cautions));
    draw("chart-trial-power", told.figure);
    root.dataset.trialPlanned = String(Number(root.dataset.trialPlanned || 0) + 1);
  }

  papers["run-sheet"] = {
    is: () => told !== null,
    fill: (place) => {
      const checks = told.checklist.map((line) => element("li", {},
        element("span", { class: "check-box" }), element("span", { text: line })));
      place.replaceChildren(
        element("h1", { text: "Run sheet of a trial" }),
        element("p", { class: "paper-answer", text: told.answer }),
        list(told.lines),
        element("h2", { text: "Before it begins" }), element("ul", { class: "checks" }, ...checks),
        element("h2", { text: "Mind" }), list(told.cautions),
        element("h2", { text: "Blocks" }), table(told.sheet, "Run sheet"),
        element("p", { class: "paper-caution", text: words.caution }));
      return "run sheet of a trial";
    },
  };

  function offerLogs(logs) {
    const choices = document.getElementById("trial-pilot");
    if (!choices) return;
    const before = choices.value;
    const options = logs.map((log) =>
      element("option", { value: String(log.log), text: "pilot log " + log.name })
    );
    choices.replaceChildren(element("option", { value: "", text: "a guess" }), ...options);
    choices.value = logs.some((log) => String(log.log) === before) ? before : "";
    follow();
  }

  async function start() {
    if (root.dataset.page !== "evidence" || document.getElementById("trial-form")) return;
    if (!document.getElementById("evidence-plan-body")) {
      setTimeout(start, 50); // the framework has not drawn the page yet
      return;
    }
    await loadWords();
    if (!document.getElementById("trial-form")) build();
  }

  window.addEventListener("crestline-page", start);
  window.crestline.onAnswer((lane) => {
    if (lane === "curve") fillActivities();
    if (lane === "next" && told !== null && told.drawn !== window.crestline.theme()) {
      plan(planned).catch(() => {}); // in the other look
    }
  });
})();
