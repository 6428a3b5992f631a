/* What did the card change, and how high are the peaks? (Part 4 of the Evidence page.)

   Effects are worked out on the server as a job once logs are read and confirmed; everything else
   is asked for when it is wanted. The report of both is set here for paper. */
(function () {
  "use strict";

  const root = document.documentElement;
  const trial = window.crestlineTrial;
  const { element, find, counted } = trial;
  const asText = (id, text) => window.crestline.setText(id, text);
  let words = null;
  let shown = null; // what the server told of the effects last
  let report = null; // of the effects shown
  let look = null; // in which the charts are drawn
  let asking = false;
  let again = false;
  let stopped = false; // the visitor cancelled; asked again only by a button

  function buildEffect() {
    const body = find("evidence-effect-body");
    const share = element("label", { class: "trial-tick" },
      element("input", { type: "checkbox", id: "trial-share" }),
      element("span", { text: "in % of without card" }));
    const columns = trial.field({ name: "effect-column", label: "Shown", choices: [] });
    const [, dropUnit, dropHelp] = words.plan.drop_s;
    const form = element("form", { id: "effect-form", class: "trial-fields" },
      trial.field({ name: "effect-drop", label: words.plan.drop_s[0], unit: dropUnit,
        help: dropHelp, value: 5 }),
      trial.field({ name: "effect-block", label: words.plan.block_s[0], unit: "s",
        help: "Empty: read off each log." }),
      element("div", { class: "tools" }, trial.button("effect", { type: "submit" })));
    const choices = element("div", { class: "trial-fields" }, columns, share);
    const forest = trial.chart("forest", [choices]);
    const work = element("div", { id: "effect-work", hidden: true },
      element("div", { id: "effect-sentences", role: "status" }), form,
      element("div", { class: "effect-forest" }, forest),
      element("div", { class: "table-head" }, element("h3", { text: "Effect, log by log" }),
        trial.button("csv", { "data-table": "effects", "aria-label": "Numbers: effects" })),
      element("div", { id: "effect-table" }),
      element("div", { id: "effect-warnings" }),
      element("details", { class: "group" },
        element("summary", { text: "The same difference by other roads" }),
        element("p", { class: "help", text: "The headline is that of the blocks. The others are " +
          "checks: pairs and fours widen with a drift, single readings (HAC, bootstrap) are " +
          "often too narrow." }),
        element("div", { id: "effect-checks" })),
      element("div", { class: "table-head" }, element("h3", { text: "Peaks" }),
        trial.button("csv", { "data-table": "peaks", "aria-label": "Numbers: peaks" })),
      element("form", { id: "peak-form", class: "trial-fields" }),
      element("div", { id: "peak-table" }),
      element("details", { class: "group", id: "peak-mind" }, element("summary"),
        element("div", { id: "peak-warnings" })),
      element("div", { class: "tools" }, trial.button("report")));
    body.replaceChildren(
      element("p", { id: "effect-nothing", class: "soft", text: words.nothing.effect }),
      element("p", { id: "effect-error", class: "error", role: "alert" }),
      element("div", { id: "effect-progress" }), work);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      stopped = false;
      refresh(true);
    });
    find("peak-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const pressed = event.target.querySelector("[data-trial=peaks]");
      trial.doing(pressed, "effect-error", () => countPeaks(thresholds()));
    });
    forest.addEventListener("change", () => {
      trial.doing(null, "effect-error", () => showForest());
    });
    body.addEventListener("click", pressedInEffect);
  }

  function pressedInEffect(event) {
    const pressed = event.target.closest("[data-trial]");
    if (!pressed) return;
    const does = pressed.dataset.trial;
    const doing = (work) => trial.doing(pressed, "effect-error", work);
    if (does === "csv") {
      doing(() => trial.saveCsv(pressed.dataset.table || "effects", {}));
    } else if (does === "picture") {
      doing(() => trial.savePicture("forest", forestQuestion()));
    } else if (does === "report") {
      doing(async () => {
        await loadReport();
        trial.print("report");
      });
    }
  }

  function forestQuestion() {
    const column = trial.valueOf("effect-column");
    return { column: column || (shown && shown.column), share: find("trial-share").checked };
  }

  async function showForest() {
    const told = await trial.ask("effect-shown", forestQuestion());
    if (told.figure) await showColumn(told);
  }

  /* The chart and the tables of the column that is shown. */
  async function showColumn(told) {
    find("effect-table").replaceChildren(trial.table(told.effects.table, "Effects"));
    find("effect-checks").replaceChildren(trial.table(told.effects.checks, "Checks"));
    await drawForest(told);
  }

  async function drawForest(told) {
    const place = find("chart-trial-forest");
    const lines = told.figure.layout.yaxis.tickvals.length;
    place.style.height = Math.max(220, 120 + 44 * lines) + "px";
    await trial.draw("chart-trial-forest", told.figure);
    window.Plotly.Plots.resize(place);
  }

  /* Ask what is known; where effects are due, have them worked out first. */
  async function refresh(anew) {
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    do {
      again = false;
      asText("effect-error", "");
      try {
        let told = await trial.ask("effect-shown", forestQuestion());
        if ((anew || (!told.effects && !stopped)) && told.confirmed) {
          if (await workOut()) told = await trial.ask("effect-shown", forestQuestion());
        }
        if (!again) await show(told);
      } catch (error) {
        if (again) continue; // logs or switches were changed meanwhile
        if (error.gone) await show({ effects: null, logs: [], host_logs: [], confirmed: 0 });
        else asText("effect-error", error.message);
      }
      anew = false;
    } while (again);
    asking = false;
    counted("trialShown");
  }

  /* Start the job and follow it; tell whether it was done. */
  async function workOut() {
    const question = {
      drop_s: trial.numberIn("effect-drop"), block_s: trial.numberIn("effect-block"),
    };
    for (let tries = 0; tries < 20; tries += 1) {
      try {
        await trial.ask("effect", question);
        break;
      } catch (error) {
        const busy = error.field === "evidence" && !error.gone; // another job is under way
        if (!busy || tries === 19) throw error;
        await window.crestlineEvidence.follow("effect-progress");
        await new Promise((resolve) => setTimeout(resolve, 200)); // until it has made room
      }
    }
    const job = await window.crestlineEvidence.follow("effect-progress");
    if (job.state === "cancelled") {
      stopped = true;
      asText("effect-error", "Cancelled: no effect was worked out.");
      find("effect-work").hidden = false;
    }
    if (job.state === "failed") {
      if (job.error && job.error.field === "effect") again = true; // switches were changed
      else throw new Error(job.failure || job.error.message);
    }
    return job.state === "done";
  }

  async function show(told) {
    shown = told;
    report = null;
    trial.logs(told.logs);
    const effects = told.effects;
    find("effect-nothing").hidden = effects !== null || stopped;
    if (!stopped) find("effect-work").hidden = effects === null;
    window.crestlineModel.show(told);
    if (effects === null) return;
    stopped = false;
    find("effect-sentences").replaceChildren(
      ...effects.sentences.map((line) => element("p", { text: line }))
    );
    const choice = find("trial-effect-column");
    choice.replaceChildren(...effects.columns.map((each) =>
      element("option", { value: each.name, text: each.label })
    ));
    choice.value = told.column || "";
    document.querySelector(".effect-forest").hidden = told.figure === null;
    const minded = [...effects.warnings, ...effects.notes];
    find("effect-warnings").replaceChildren(
      ...(minded.length
        ? [element("h3", { text: "What to mind" }), trial.list(minded, "trial-list warnings")] : [])
    );
    look = window.crestline.theme();
    if (told.figure) await showColumn(told);
    await countPeaks(null);
    await loadReport();
  }

  function thresholds() {
    const boxes = [...find("peak-form").querySelectorAll("input")];
    return Object.fromEntries(
      boxes.map((box) => [box.name.replace("peak-", ""), trial.numberIn(box.name)])
    );
  }

  async function countPeaks(given) {
    const told = await trial.ask("peaks", {
      scenario: window.crestline.scenario(), thresholds: given,
    });
    find("peak-form").replaceChildren(
      ...told.thresholds.map((each) => trial.field({
        name: "peak-" + each.column, label: "Threshold, " + each.label, unit: "cores",
        value: each.value,
      })),
      element("div", { class: "tools" }, trial.button("peaks", { type: "submit" })));
    find("peak-table").replaceChildren(trial.table(told.table, "Peaks"));
    find("peak-warnings").replaceChildren(trial.list(told.warnings, "trial-list warnings"));
    find("peak-mind").hidden = !told.warnings.length;
    find("peak-mind").querySelector("summary").textContent =
      "What to mind about the peaks (" + told.warnings.length + ")";
    report = null;
    counted("trialPeaks");
  }

  /* ---- the report ---- */

  async function loadReport() {
    if (report === null) {
      report = await trial.ask("report", { scenario: window.crestline.scenario() });
    }
    counted("trialReport");
  }

  function onPaper(section) {
    const kinds = { "new-page": section.new_page, "in-line": section.in_line, even: section.even };
    const names = Object.keys(kinds).filter((name) => kinds[name]);
    const made = element("div", { class: names.join(" ") || null });
    made.append(element("h2", { text: section.title }));
    (section.paragraphs || []).forEach((text) => made.append(element("p", { text: text })));
    if (section.list) made.append(trial.list(section.list));
    if (section.table) made.append(trial.table(section.table, section.title));
    if (section.figure) {
      const high = 86 + 17 * section.lines;
      const place = element("div", { class: "paper-plot", style: "aspect-ratio: 700 / " + high });
      made.append(place);
      drawStill(place, section.figure, 700, high);
    }
    return made;
  }

  /* Drawn at once, and scaled with the paper. */
  function drawStill(place, figure, width, height) {
    const layout = Object.assign({}, figure.layout, {
      width: width, height: height, autosize: false,
    });
    drawings.push(() => {
      window.Plotly.newPlot(place, figure.data, layout, { staticPlot: true, responsive: false });
      place.querySelectorAll(".main-svg").forEach((drawing) => {
        drawing.setAttribute("viewBox", "0 0 " + width + " " + height);
      });
    });
  }

  let drawings = [];

  trial.papers.report = {
    is: () => report !== null,
    fill: (place) => {
      drawings = [];
      place.replaceChildren(
        element("div", { class: "paper-head" }, element("p", { text: "Crestline: trial report" }),
          element("p", { text: report.date })),
        element("h1", { text: report.title }),
        element("p", { class: "soft", text: report.about }),
        element("div", { class: "paper-answer" },
          ...report.answer.map((line) => element("p", { text: line }))),
        ...report.sections.map(onPaper));
      drawings.forEach((draw) => draw()); // once the places are in the page
      return "trial report";
    },
  };

  /* ---- when ---- */

  async function start() {
    if (root.dataset.page !== "evidence" || find("effect-nothing")) return;
    if (!find("evidence-effect-body")) {
      setTimeout(start, 50); // the framework has not drawn the page yet
      return;
    }
    words = await trial.loadWords();
    if (find("effect-nothing")) return;
    buildEffect();
    window.crestlineModel.build(words);
    refresh();
  }

  window.addEventListener("crestline-page", start);
  window.addEventListener("crestline-evidence", () => {
    stopped = false;
    if (find("effect-nothing")) refresh();
  });
  window.crestline.onAnswer((lane) => {
    if (lane !== "next" || !shown || look === null || look === window.crestline.theme()) return;
    look = window.crestline.theme();
    if (shown.effects) showForest().catch(() => {}); // in the other look
  });
})();
