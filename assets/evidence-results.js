/* What did the card change, how high are the peaks, and what does the model make of it?

   Parts 4 and 5 of the Evidence page. Effects are worked out on the server as a job once logs are
   read and confirmed; everything else is asked for when it is wanted. Nothing measured is put into
   the address: only accepted changes reach the scenario. */
(function () {
  "use strict";

  const root = document.documentElement;
  const trial = window.crestlineTrial;
  const element = trial.element;
  const asText = (id, text) => window.crestline.setText(id, text);
  let words = null;
  let shown = null; // what the server told of the effects last
  let report = null; // of the effects shown
  let look = null; // in which the charts are drawn
  let asking = false;
  let again = false;
  let stopped = false; // the visitor cancelled; asked again only by a button
  let proposal = null; // {question, changes} of the list of changes shown
  let marks = []; // of the newest curves: numbers that were measured
  const asked = {}; // question behind each chart that may be saved

  function find(id) {
    return document.getElementById(id);
  }

  function counted(name) {
    root.dataset[name] = String(Number(root.dataset[name] || 0) + 1);
  }

  /* ---- part 4: effect and peaks ---- */

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
    const forest = trial.chart("forest", [element("div", { class: "trial-fields" }, columns, share)]);
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
    showHost(told);
    const effects = told.effects;
    find("effect-nothing").hidden = effects !== null || stopped;
    if (!stopped) find("effect-work").hidden = effects === null;
    clearChanges();
    find("model-desktop").hidden = effects === null || !effects.columns.length;
    find("model-nothing").hidden = effects !== null || told.host_logs.length > 0;
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
    const kinds = [section.new_page ? "new-page" : "", section.in_line ? "in-line" : ""];
    const made = element("div", { class: kinds.join(" ").trim() || null });
    made.append(element("h2", { text: section.title }));
    (section.paragraphs || []).forEach((text) => made.append(element("p", { text: text })));
    if (section.list) made.append(trial.list(section.list));
    if (section.table) made.append(trial.table(section.table, section.title));
    if (section.figure) {
      const high = 92 + 20 * section.lines;
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

  /* ---- part 5: back to the model ---- */

  function buildModel() {
    const body = find("evidence-model-body");
    const clock = (name) => [
      trial.field({ name: name + "-clock", label: "Clock held while measured", unit: "GHz",
        help: "Empty: that of the scenario's host." }),
      trial.field({ name: name + "-ipc", label: "Work per clock, relative", unit: "-",
        help: "Empty: that of the scenario's host." }),
    ];
    const arms = [["software", "without card"], ["offloaded", "with card"]];
    body.replaceChildren(
      element("p", { id: "model-nothing", class: "soft", text: words.nothing.model }),
      element("p", { id: "model-error", class: "error", role: "alert" }),
      element("div", { id: "model-desktop", hidden: true },
        element("h3", { text: "From the desktop's logs" }),
        element("form", { id: "changes-form", class: "trial-fields" },
          trial.field({ name: "role", label: "The desktop measured was that of", choices: [] }),
          ...clock("desktop"),
          element("div", { class: "tools" }, trial.button("changes", { type: "submit" })))),
      element("div", { id: "model-host", hidden: true },
        element("h3", { text: "From a host's log" }),
        element("form", { id: "host-form", class: "trial-fields" },
          trial.field({ name: "host-log", label: "Log", choices: [] }),
          trial.field({ name: "arm", label: "Taken", choices: arms }),
          trial.field({ name: "base", label: "CPU of the host without sessions", unit: "cores",
            help: "Empty: estimated too." }),
          trial.field({ name: "counted", label: "A core of the log is", choices: [
            ["threads", "a hardware thread"], ["cores", "a whole core"]] }),
          trial.field({ name: "tolerance", label: "Allowed difference", unit: "%", value: 10 }),
          ...clock("host")),
        element("div", { class: "tools" }, trial.button("demands"), trial.button("compare"),
          trial.button("changes", { "data-source": "demands", id: "host-changes" }))),
      element("div", { id: "model-demands", hidden: true },
        element("p", { id: "demands-sentence", role: "status" }),
        element("div", { class: "table-head" }, element("h3", { text: "Demand of one session" }),
          trial.button("csv", { "data-table": "demands", "aria-label": "Numbers: demands" })),
        element("div", { id: "demands-table" }), element("div", { id: "demands-warnings" }),
        trial.chart("residuals")),
      element("div", { id: "model-compared", hidden: true },
        element("p", { id: "compared-sentence", class: "answer", role: "status" }),
        element("div", { id: "compared-table" }), trial.chart("quantiles"),
        element("div", { id: "compared-lines" })),
      element("form", { id: "apply-form", hidden: true },
        element("fieldset", { class: "trial-ticks" },
          element("legend", { text: "Changes to the scenario" }),
          element("div", { id: "changes" })),
        element("div", { id: "changes-notes" }),
        element("div", { class: "tools" }, trial.button("apply", { type: "submit" }))));
    find("changes-form").addEventListener("submit", (event) => {
      event.preventDefault();
      propose(event.submitter, "effects");
    });
    find("host-form").addEventListener("submit", (event) => event.preventDefault());
    find("host-form").addEventListener("change", (event) => {
      if (event.target.id === "trial-host-log") followHost();
      clearHost();
    });
    find("apply-form").addEventListener("submit", (event) => {
      event.preventDefault();
      trial.doing(event.submitter, "model-error", apply);
    });
    body.addEventListener("click", pressedInModel);
  }

  function pressedInModel(event) {
    const pressed = event.target.closest("button[data-trial]");
    if (!pressed) return;
    const does = pressed.dataset.trial;
    const doing = (work) => trial.doing(pressed, "model-error", work);
    if (does === "demands") doing(estimate);
    if (does === "compare") doing(compare);
    if (does === "changes" && pressed.dataset.source) propose(pressed, "demands");
    if (does === "csv") {
      const chart = { residuals: "demands", quantiles: "compared" }[pressed.dataset.chart];
      doing(() => trial.saveCsv(pressed.dataset.table || chart, {}));
    }
    if (does === "picture") doing(() => trial.savePicture(pressed.dataset.chart, {}));
  }

  function fillRoles() {
    const text = window.crestline.scenario();
    const choice = find("trial-role");
    if (!choice || !text) return;
    const roles = JSON.parse(text).roles;
    const told = roles.map((role) => role.name + ": " + role.displays + " x " + role.display);
    if (choice.dataset.told === JSON.stringify(told)) return;
    const before = choice.value;
    choice.replaceChildren(
      ...told.map((line, i) => element("option", { value: String(i), text: line }))
    );
    choice.value = choice.dataset.told && before < roles.length ? before : usualRole(roles);
    choice.dataset.told = JSON.stringify(told);
  }

  /* The first role with one display of 1920x1080, which a trial's desktop mostly has. */
  function usualRole(roles) {
    const at = roles.findIndex((role) => role.displays === 1 && role.display === "1920x1080");
    return String(Math.max(at, 0));
  }

  function showHost(told) {
    const choice = find("trial-host-log");
    find("model-host").hidden = !told.host_logs.length;
    const before = choice.value;
    choice.replaceChildren(...told.host_logs.map((log) =>
      element("option", { value: String(log.log), text: log.name })
    ));
    if (told.host_logs.some((log) => String(log.log) === before)) choice.value = before;
    clearHost();
    followHost();
  }

  function hostLog() {
    return shown.host_logs.find((log) => String(log.log) === trial.valueOf("host-log"));
  }

  function followHost() {
    const log = hostLog();
    if (!log) return;
    if (log.arm) find("trial-arm").value = log.arm;
    document.querySelector("#model-host [data-trial=demands]").disabled = !log.counts;
    find("host-changes").disabled = !log.counts;
    document.querySelector("#model-host [data-trial=compare]").disabled = !log.sessions;
  }

  function clearHost() {
    find("model-demands").hidden = true;
    find("model-compared").hidden = true;
    clearChanges();
  }

  function clearChanges() {
    proposal = null;
    find("apply-form").hidden = true;
  }

  function hostQuestion() {
    return {
      scenario: window.crestline.scenario(), log: Number(trial.valueOf("host-log")),
      arm: trial.valueOf("arm"), base_cores: trial.numberIn("base"),
      counted: trial.valueOf("counted"), tolerance_pct: trial.numberIn("tolerance"),
      clock_ghz: trial.numberIn("host-clock"), relative_ipc: trial.numberIn("host-ipc"),
    };
  }

  async function estimate() {
    asked.demands = hostQuestion();
    const told = await trial.ask("demands", asked.demands);
    asText("demands-sentence", told.sentence);
    find("demands-table").replaceChildren(trial.table(told.table, "Demands"));
    find("demands-warnings").replaceChildren(trial.list(told.warnings, "trial-list warnings"));
    find("model-demands").hidden = false;
    await trial.draw("chart-trial-residuals", told.figure);
    counted("trialDemands");
  }

  async function compare() {
    asked.compared = hostQuestion();
    const told = await trial.ask("compare", asked.compared);
    asText("compared-sentence", told.sentence);
    find("model-compared").dataset.verdict = told.verdict;
    find("compared-table").replaceChildren(trial.table(told.table, "Predicted and measured"));
    find("compared-lines").replaceChildren(trial.list([...told.warnings, ...told.lines]));
    find("model-compared").hidden = false;
    await trial.draw("chart-trial-quantiles", told.figure);
    counted("trialCompared");
  }

  function propose(pressed, source) {
    trial.doing(pressed, "model-error", async () => {
      const own = {
        scenario: window.crestline.scenario(), role: Number(trial.valueOf("role")),
        clock_ghz: trial.numberIn("desktop-clock"), relative_ipc: trial.numberIn("desktop-ipc"),
      };
      const question = Object.assign(source === "demands" ? hostQuestion() : own, { source: source });
      const told = await trial.ask("changes", question);
      proposal = { question: question, changes: told.changes };
      find("changes").replaceChildren(...told.changes.map((change) => {
        const box = element("input", { type: "checkbox", value: change.id, checked: change.ticked });
        return element("label", { class: "trial-tick" }, box, element("span", { text: change.sentence }));
      }));
      if (!told.changes.length) {
        find("changes").replaceChildren(element("p", { text: "No change can be proposed." }));
      }
      find("changes-notes").replaceChildren(trial.list(told.notes, "trial-list warnings"));
      find("apply-form").hidden = false;
      find("apply-form").scrollIntoView({ block: "nearest" });
      counted("trialProposed");
    });
  }

  async function apply() {
    const ticked = [...find("changes").querySelectorAll("input:checked")];
    const question = Object.assign({}, proposal.question, {
      accepted: ticked.map((box) => Number(box.value)),
    });
    const told = await trial.ask("apply", question);
    clearChanges();
    if (told.query === null) { // too long for a link
      document.querySelector("nav [data-page=host]").click();
      window.crestline.openEdited(told.scenario);
      return;
    }
    const pin = window.crestline.pin();
    const pinned = pin === null ? "" : "pin=" + encodeURIComponent(pin) + "&";
    window.crestline.open(pinned + (told.query || (pinned ? "v=1" : "")));
    window.scrollTo(0, 0);
  }

  /* ---- when ---- */

  async function start() {
    if (root.dataset.page !== "evidence" || find("effect-nothing")) return;
    if (!find("evidence-effect-body") || !find("evidence-model-body")) {
      setTimeout(start, 50); // the framework has not drawn the page yet
      return;
    }
    words = await trial.loadWords();
    if (find("effect-nothing")) return;
    buildEffect();
    buildModel();
    fillRoles();
    refresh();
  }

  window.addEventListener("crestline-page", start);
  window.addEventListener("crestline-evidence", () => {
    stopped = false;
    if (find("effect-nothing")) refresh();
  });
  /* On the Host page: which numbers were measured, beside their boxes. */
  function markMeasured(marks) {
    const told = Object.fromEntries((marks || []).map((mark) => ["measured-" + mark.path, mark]));
    document.querySelectorAll("#controls .measured").forEach((place) => {
      const mark = told[place.id];
      const text = mark ? mark.told : "";
      if (place.textContent === text) return;
      place.textContent = text;
      place.title = mark ? mark.about : "";
    });
  }

  window.crestline.onAnswer((lane, answer) => {
    if (lane === "curve") {
      fillRoles();
      marks = answer.measured;
      markMeasured(marks);
      setTimeout(() => markMeasured(marks), 500); // the framework may have drawn the boxes anew
    }
    if (lane !== "next" || !shown || look === null || look === window.crestline.theme()) return;
    look = window.crestline.theme();
    if (shown.effects) showForest().catch(() => {});
    if (!find("model-demands").hidden) estimate().catch(() => {});
    if (!find("model-compared").hidden) compare().catch(() => {});
  });
})();
