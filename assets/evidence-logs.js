/* How does a visitor hand over logs and have them read? (Part 2 of the Evidence page;
   app/evidence_reading.py answers.)

   Files go up one at a time as plain bytes. evidence-columns.js asks what is in them; then they
   are read, and every row that was left out is listed with its reason. */
(function () {
  "use strict";

  const page = window.crestlineEvidence;
  const { BASE, ask, trouble, progress, follow, tellAll } = page;
  const { make, button, put, labelled, select, count } = page.tools;
  const columns = window.crestlineColumns;
  const { answers, answersOf, groupsOf } = columns;
  let known = { logs: [], meanings: {}, time_formats: {} }; // as the server told last
  const wrong = new Map(); // log -> error of its look or its reading
  let loaded = false;
  let drawn = 0;

  function notice(text, kind) {
    put("evidence-notice", text ? make("p", { class: kind || "evidence-wrong" }, text) : null);
  }

  /* ---- files ---- */

  async function upload(files) {
    if (page.busy()) {
      notice("Something is under way; wait for it, or cancel it.");
      return;
    }
    notice("");
    const list = [...files];
    const fresh = [];
    let stopped = false;
    for (let at = 0; at < list.length && !stopped; at += 1) {
      const told = await send(list[at], at, list.length, () => {
        stopped = true;
      });
      if (told.log) fresh.push(told.log.id);
      else if (!stopped) notice(trouble(told));
    }
    progress("evidence-read-body", null);
    page.free();
    if (stopped) notice("Cancelled.", "evidence-told");
    await refresh();
    for (let at = 0; at < fresh.length; at += 1) {
      progress("evidence-read-body", "Looking at the logs.", at / fresh.length);
      await look(fresh[at]);
    }
    progress("evidence-read-body", null);
    await refresh();
    const form = document.querySelector(".evidence-form");
    if (form && fresh.length) form.scrollIntoView({ block: "nearest" });
  }

  function send(file, at, of, onStop) {
    return new Promise((resolve) => {
      const request = new XMLHttpRequest();
      request.open("POST", BASE + "/upload?name=" + encodeURIComponent(file.name));
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.responseType = "json";
      const place = of > 1 ? " (" + (at + 1) + " of " + of + ")" : "";
      const words = "Sending " + file.name + place + ".";
      const stop = () => {
        onStop();
        request.abort();
      };
      progress("evidence-read-body", words, 0, stop);
      request.upload.addEventListener("progress", (event) => {
        if (event.lengthComputable) {
          progress("evidence-read-body", words, event.loaded / event.total, stop);
        }
      });
      request.addEventListener("load", () => resolve(request.response || {
        failure: file.name + " was not taken; it may be too large.",
      }));
      request.addEventListener("error", () => resolve({
        failure: file.name + " could not be sent. Try again in a moment.",
      }));
      request.addEventListener("abort", () => resolve({ failure: "Cancelled." }));
      request.send(file);
    });
  }

  async function look(log, encoding) {
    const body = { log: log, scenario: window.crestline.scenario(), encoding: encoding || null };
    const told = await ask("look", body);
    if (told.look) wrong.delete(log);
    else wrong.set(log, told.error || { message: trouble(told) });
  }

  async function demo() {
    if (page.busy()) return;
    notice("");
    progress("evidence-read-body", "Opening the demo trial.", null, () => ask("cancel", {}));
    const told = await ask("demo", {});
    if (trouble(told)) {
      progress("evidence-read-body", null);
      page.free();
      notice(trouble(told));
      return;
    }
    await finish();
  }

  async function removeAll() {
    if (!window.confirm("Remove all logs, answers and results of this visit?")) return;
    const told = await ask("remove", { all: true });
    if (trouble(told)) notice(trouble(told));
    answers.clear();
    wrong.clear();
    await refresh();
    notice("Your data has been removed.", "evidence-told");
    tellAll("removed");
  }

  async function removeLog(log) {
    const told = await ask("remove", { log: log.id });
    if (trouble(told)) notice(trouble(told));
    wrong.delete(log.id);
    await refresh();
    tellAll(known.logs.length ? "read" : "removed");
  }

  /* ---- reading ---- */

  let reads = 0;

  async function readAll() {
    await read();
    reads += 1;
    document.documentElement.dataset.evidenceRead = String(reads); // a sign that it is over
  }

  async function read() {
    if (page.busy()) return;
    notice("");
    const groups = [];
    let open = null;
    groupsOf(known.logs).forEach((group) => {
      const fresh = group.logs.filter((log) => !log.readings || answers.has(group.key));
      if (!fresh.length) return;
      const asked = columns.openQuestion(answersOf(group), group.look);
      if (asked) open = open || { group: group, asked: asked };
      else groups.push({ logs: fresh.map((log) => log.id), mapping: answersOf(group) });
    });
    if (open) {
      notice(open.asked.words);
      const control = document.querySelector(
        "[data-group='" + open.group.key + "'] [data-field='" + open.asked.field + "'] " +
          ":is(input, select)"
      );
      if (control) control.focus();
      return;
    }
    if (!groups.length) return;
    const told = await ask("read", { groups: groups });
    if (trouble(told)) {
      notice(trouble(told));
      columns.mark(told.error);
      return;
    }
    await finish();
  }

  async function finish() {
    const job = await follow("evidence-read-body");
    if (job.state === "done") {
      (job.result.read || []).forEach((log) => wrong.delete(log));
      (job.result.failed || []).forEach((each) => wrong.set(each.log, each.error));
      answers.clear();
    }
    await refresh();
    if (job.state === "failed") notice(job.failure || job.error.message);
    if (job.state === "cancelled") notice("Cancelled; nothing more was read.", "evidence-told");
    const failed = (job.result && job.result.failed) || [];
    if (failed.length) {
      notice(failed[0].error.message);
      columns.mark(failed[0].error);
    }
    tellAll("read");
  }

  async function lookAgain(logs, encoding) {
    for (const log of logs) await look(log.id, encoding);
    await refresh();
    const again = known.logs.find((log) => log.id === logs[0].id);
    if (again && again.look) answers.set(again.look.group, structuredClone(again.look.mapping));
    draw();
  }

  function sizeOf(bytes) {
    if (bytes < 1024) return bytes + " bytes";
    if (bytes < 1024 * 1024) return (bytes / 1024).toFixed(0) + " KB";
    return (bytes / 1024 / 1024).toFixed(1) + " MB";
  }

  /* ---- the list of logs, and what became of their rows ---- */

  function logRow(log) {
    const error = wrong.get(log.id);
    let state = "waits to be looked at";
    if (log.readings) {
      state = log.readings.kept + (log.readings.says ? ", says when offload was on" : "");
    } else if (log.look) {
      state = "about " + count(log.look.rows_about, "row", "rows") + "; answers needed";
    }
    const doubts = log.readings
      ? log.readings.findings.filter((each) => each.action === "contradicts") : [];
    const cells = [make("div", {}, state)];
    if (error) cells.push(make("div", { class: "evidence-wrong" }, error.message));
    if (error && !log.look) {
      cells.push(labelled("Look again, written in", select(
        [["", "choose"], ...columns.ENCODINGS.map((each) => [each, each])], "",
        (value) => value && lookAgain([log], value), { "data-key": "again-" + log.id })));
    }
    doubts.forEach((each) => cells.push(make("div", { class: "evidence-doubt" },
      make("strong", {}, "In doubt: "), each.sentence)));
    if (log.readings) cells.push(report(log));
    return make("tr", {},
      make("th", { scope: "row", dir: "auto" }, log.name,
        log.demo ? make("span", { class: "unit" }, " invented") : null),
      make("td", { class: "evidence-size" }, sizeOf(log.bytes)),
      make("td", {}, cells),
      make("td", {}, button("Remove", () => removeLog(log),
        { "aria-label": "Remove " + log.name, "data-key": "remove-" + log.id })));
  }

  /* Every row that was dropped, repaired or noted, with its reason. */
  function report(log) {
    const lines = log.readings.findings.map((each) => make("li", {}, each.sentence,
      each.count > 5 ? make("div", { class: "help" }, "Rows " + each.rows + ".") : null));
    if (!lines.length) return make("div", { class: "help" }, "Nothing was dropped or repaired.");
    const address = BASE + "/findings.csv?log=" + encodeURIComponent(log.id);
    return make("details", { "data-key": "report-" + log.id },
      make("summary", {}, count(lines.length, "finding", "findings") + " on its rows"),
      make("p", { class: "help" }, "Read as " + log.readings.layout + "."),
      make("ul", {}, lines),
      make("a", { href: address, download: "crestline-rows.csv", class: "button" },
        "Every row concerned, as CSV"));
  }

  function draw() {
    const logs = known.logs;
    const groups = groupsOf(logs);
    const waiting = logs.some((log) => log.look && !log.readings) || answers.size > 0;
    put("evidence-logs",
      logs.length ? make("table", { class: "evidence-table evidence-logs" },
        make("thead", {}, make("tr", {}, ["Log", "Size", "What became of it", ""].map((each) =>
          make("th", { scope: "col" }, each)))),
        make("tbody", {}, logs.map(logRow))) : null,
      groups.map(columns.form),
      waiting ? make("div", { class: "evidence-tools" }, button("Read these logs", readAll,
        { class: "main", "data-key": "read" })) : null);
    document.getElementById("evidence-remove").hidden = !logs.length;
    drawn += 1;
    document.documentElement.dataset.evidence = String(drawn);
  }

  async function refresh() {
    const told = await ask("logs");
    if (trouble(told)) {
      notice(trouble(told));
      return;
    }
    known = told;
    draw();
  }

  /* ---- the frame of part 2 ---- */

  function frame() {
    const body = document.getElementById("evidence-read-body");
    if (!body || body.childElementCount) return Boolean(body);
    const picker = make("input", {
      type: "file", multiple: true, hidden: true, id: "evidence-files",
      onchange: (event) => {
        const files = [...event.target.files];
        event.target.value = "";
        upload(files);
      },
    });
    const zone = make("div", { class: "evidence-drop", role: "group", "aria-label": "Logs" },
      make("p", {}, "Drop logs here, or"),
      button("Choose files", () => picker.click(), { class: "main" }),
      button("Open the demo trial", demo),
      button("Remove my data", removeAll, { id: "evidence-remove", hidden: true }),
      picker);
    const carries = (event) => event.dataTransfer && event.dataTransfer.types.includes("Files");
    zone.addEventListener("dragover", (event) => {
      if (!carries(event)) return;
      event.preventDefault();
      event.dataTransfer.dropEffect = "copy";
      zone.classList.add("over");
    });
    zone.addEventListener("dragleave", () => zone.classList.remove("over"));
    zone.addEventListener("drop", (event) => {
      zone.classList.remove("over");
      if (!carries(event)) return;
      event.preventDefault();
      upload(event.dataTransfer.files);
    });
    body.append(zone, make("div", { id: "evidence-notice", role: "alert" }),
      make("div", { id: "evidence-logs" }));
    return true;
  }

  async function show() {
    if (loaded || document.documentElement.dataset.page !== "evidence" || !frame()) return;
    loaded = true;
    await refresh();
    const told = await ask("/evidence/job");
    const work = told.job && told.job.state === "running" ? told.job.task : "";
    if (work === "read_logs" || work === "read_demo") {
      await finish();
      return;
    }
    if (known.logs.some((log) => log.readings)) tellAll("read");
    if (known.logs.some((log) => log.spells && log.spells.confirmed)) tellAll("confirmed");
  }

  window.addEventListener("crestline-page", show);
  new MutationObserver((_, watcher) => {
    if (!document.getElementById("evidence-read-body")) return;
    watcher.disconnect();
    show();
  }).observe(document.documentElement, { childList: true, subtree: true });

  Object.assign(page, {
    known: () => known,
    logs: () => known.logs,
    refresh: refresh, // asks for the logs again and draws part 2
    draw: draw,
    lookAgain: lookAgain,
  });
})();
