/* What does the model make of the measurements? (Part 5 of the Evidence page.)

   Measured costs are proposed as changes of the scenario, and a host's log is held against what
   the model predicts. Nothing measured is put into the address: only accepted changes reach the
   scenario. */
(function () {
  "use strict";

  const trial = window.crestlineTrial;
  const { element, find, counted } = trial;
  const asText = (id, text) => window.crestline.setText(id, text);
  let hosts = []; // the logs of a host, as the server told last
  let look = null; // in which the charts are drawn
  let proposal = null; // {question, changes} of the list of changes shown

  function buildModel(words) {
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
          trial.field({ name: "role", label: "The desktop measured was that of", choices: [],
            wide: true }),
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

  function showHost() {
    const choice = find("trial-host-log");
    find("model-host").hidden = !hosts.length;
    const before = choice.value;
    choice.replaceChildren(...hosts.map((log) =>
      element("option", { value: String(log.log), text: log.name })
    ));
    if (hosts.some((log) => String(log.log) === before)) choice.value = before;
    clearHost();
    followHost();
  }

  function hostLog() {
    return hosts.find((log) => String(log.log) === trial.valueOf("host-log"));
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
    const told = await trial.ask("demands", hostQuestion());
    asText("demands-sentence", told.sentence);
    find("demands-table").replaceChildren(trial.table(told.table, "Demands"));
    find("demands-warnings").replaceChildren(trial.list(told.warnings, "trial-list warnings"));
    find("model-demands").hidden = false;
    await trial.draw("chart-trial-residuals", told.figure);
    counted("trialDemands");
  }

  async function compare() {
    const told = await trial.ask("compare", hostQuestion());
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
      const asked = source === "demands" ? hostQuestion() : own;
      const question = Object.assign(asked, { source: source });
      const told = await trial.ask("changes", question);
      proposal = { question: question, changes: told.changes };
      find("changes").replaceChildren(...told.changes.map((change) => {
        const about = { type: "checkbox", value: change.id, checked: change.ticked };
        const sentence = element("span", { text: change.sentence });
        return element("label", { class: "trial-tick" }, element("input", about), sentence);
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

  /* What is known of the logs has changed. */
  function show(told) {
    const effects = told.effects;
    hosts = told.host_logs;
    look = window.crestline.theme();
    showHost();
    find("model-desktop").hidden = effects === null || !effects.columns.length;
    find("model-nothing").hidden = effects !== null || hosts.length > 0;
  }

  window.crestline.onAnswer((lane) => {
    if (lane === "curve") fillRoles();
    if (lane !== "next" || look === null || look === window.crestline.theme()) return;
    look = window.crestline.theme();
    if (!find("model-demands").hidden) estimate().catch(() => {}); // in the other look
    if (!find("model-compared").hidden) compare().catch(() => {});
  });

  window.crestlineModel = {
    build: (words) => {
      buildModel(words);
      fillRoles();
    },
    show: show, // show(what the server told of the effects)
  };
})();
