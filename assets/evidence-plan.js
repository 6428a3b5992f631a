/* How does a visitor plan a trial, and print its run sheet? (Part 1 of the Evidence page.) */
(function () {
  "use strict";

  const root = document.documentElement;
  const trial = window.crestlineTrial;
  const { element, table, list, button, field, numberIn, valueOf, ask, draw, chart, doing, counted,
    papers } = trial;
  let words = null;
  let planned = null; // the question that the plan shown answers
  let told = null; // its answer

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
      const name = element("span", { text: each.name });
      return element("label", { for: id, class: "trial-tick" }, box, name);
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
      const place = document.querySelector("label[for=trial-" + name + "] .unit");
      place.textContent = " [" + shown + "]";
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
      spec("goal", { choices: goals, wide: true }),
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
      const save = { csv: trial.saveCsv, picture: trial.savePicture }[does];
      if (does === "run-sheet") trial.print("run-sheet");
      if (save) doing(pressed, "trial-plan-error", () => save("power", planned));
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
    const [on, off] = ["on", "off"].map((name) => element("i", { class: name }));
    const key = element("p", { class: "help strip-key" }, on, " with card ", off, " without card");
    find("strips").replaceChildren(...told.order.map(strip), key);
    find("sheet").replaceChildren(
      element("h3", { text: "Before it begins" }), list(told.checklist),
      element("h3", { text: "Blocks" }), table(told.sheet, "Run sheet"),
      element("h3", { text: "Mind" }), list(told.cautions));
    draw("chart-trial-power", told.figure);
    counted("trialPlanned");
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

  trial.logs = offerLogs; // logs that were read may serve as a pilot

  async function start() {
    if (root.dataset.page !== "evidence" || document.getElementById("trial-form")) return;
    if (!document.getElementById("evidence-plan-body")) {
      setTimeout(start, 50); // the framework has not drawn the page yet
      return;
    }
    words = await trial.loadWords();
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
