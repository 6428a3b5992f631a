/* How does a visitor hand over logs, say what is in them, and have them read? (Part 2 of the
   Evidence page; app/evidence_reading.py answers.)

   Files go up one at a time as plain bytes. The server proposes what each column is; logs of the
   same make share one form. Reading is a job of the server, which is followed here and can be
   cancelled. What people wrote is put on the page as text, never as markup. Other scripts hear of
   what was done by the window's event "crestline-evidence": read, confirmed or removed. */
(function () {
  "use strict";

  const BASE = "/evidence-data";
  const POLL_MS = 200;
  const WEIGH_MS = 150;
  const CPU = { encode_cores: "encode_base", cpu_cores: "cpu_base", host_cores: "host_base" };
  const KINDS = [
    ["core", "one core", "cores added up"],
    ["desktop", "all vCPUs of the desktop, together", "vCPUs of the desktop"],
    ["host", "all threads of the host, together", "threads of the host"],
  ];
  const GUESS = { desktop: 2, host: 64 }; // for the example, until the visitor has counted
  const COLUMN_HEADS = ["column", "first readings", "what it is", "why"];
  const UNITS = [
    ["percent", "per cent"], ["share", "a share from 0 to 1"], ["ms_per_s", "ms a second"],
  ];
  const ENCODINGS = ["utf-8", "utf-16", "cp1252", "iso8859-15", "cp1250", "cp1251", "shift_jis"];
  let known = { logs: [], meanings: {}, time_formats: {} }; // as the server told last
  const answers = new Map(); // group -> mapping as it is being filled in
  const wrong = new Map(); // log -> error of its look or its reading
  let loaded = false;
  let busy = null; // what can be cancelled: a function, while something is under way
  let drawn = 0;
  const weighed = new Map(); // what answers mean, by the question put to the server
  let held = false; // whether a button of the mouse is down

  /* ---- small tools ---- */

  function make(tag, attributes, ...children) {
    const element = document.createElement(tag);
    Object.entries(attributes || {}).forEach(([name, value]) => {
      if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (value === true) element.setAttribute(name, "");
      else if (value !== false && value !== null && value !== undefined) {
        element.setAttribute(name, String(value));
      }
    });
    children.flat(Infinity).forEach((child) => {
      if (child !== null && child !== undefined) element.append(child);
    });
    return element;
  }

  function button(label, act, more) {
    return make("button", { type: "button", onclick: act, ...more }, label);
  }

  /* Replace what a place shows; what had the focus gets it again by its data-key. */
  function put(id, ...children) {
    const place = document.getElementById(id);
    if (!place) return;
    const within = place.contains(document.activeElement);
    const key = within ? document.activeElement.dataset.key : null;
    const unfolded = new Set(
      [...place.querySelectorAll("details[open][data-key]")].map((each) => each.dataset.key)
    );
    place.replaceChildren(...children.flat(Infinity).filter((child) => child !== null));
    place.querySelectorAll("details[data-key]").forEach((each) => {
      if (unfolded.has(each.dataset.key)) each.open = true;
    });
    if (!key) return;
    const again = [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === key);
    if (again) again.focus({ preventScroll: true });
  }

  async function ask(path, body) {
    const options = { headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.method = "POST";
      options.headers["Content-Type"] = "application/json";
      options.body = JSON.stringify(body);
    }
    try {
      return await (await fetch(path.startsWith("/") ? path : BASE + "/" + path, options)).json();
    } catch {
      return { failure: "The server does not answer. Try again in a moment." };
    }
  }

  /* What went wrong, in a sentence; null where nothing did. */
  function trouble(told) {
    if (told.failure) return told.failure;
    return told.error ? told.error.message : null;
  }

  function tellAll(step) {
    window.dispatchEvent(new CustomEvent("crestline-evidence", { detail: { step: step } }));
  }

  function count(number, one, many) {
    return number === 1 ? "1 " + one : number.toLocaleString("en") + " " + many;
  }

  function sizeOf(bytes) {
    if (bytes < 1024) return bytes + " bytes";
    if (bytes < 1024 * 1024) return (bytes / 1024).toFixed(0) + " KB";
    return (bytes / 1024 / 1024).toFixed(1) + " MB";
  }

  /* Draw once the mouse is let go: a button that is redrawn while it is pressed hears no click. */
  function whenReleased(act) {
    if (!held) act();
    else window.addEventListener("pointerup", () => setTimeout(act, 0), { once: true });
  }
  window.addEventListener("pointerdown", () => { held = true; }, true);
  ["pointerup", "pointercancel", "dragend"].forEach((name) => {
    window.addEventListener(name, () => { held = false; }, true);
  });

  let labels = 0;

  /* A label above or before its control. */
  function labelled(text, control, help) {
    labels += 1;
    if (!control.id) control.id = "evidence-field-" + labels;
    const told = help ? make("small", { class: "help", id: control.id + "-help" }, help) : null;
    if (told) control.setAttribute("aria-describedby", told.id);
    return make("div", { class: "evidence-field" },
      make("label", { for: control.id }, text), control, told);
  }

  function select(options, value, act, more) {
    const control = make("select", { onchange: (event) => act(event.target.value), ...more },
      options.map(([key, label]) =>
        make("option", { value: key, selected: key === value }, label)));
    control.value = value;
    return control;
  }

  /* ---- what is under way: a bar, words and a way out ---- */

  function progress(place, words, share, cancel) {
    const id = place + "-bar";
    let box = document.getElementById(id);
    if (words === null) {
      if (box) box.remove();
      return;
    }
    if (!box) {
      const bar = make("progress", { max: "1", "aria-label": "Progress" });
      box = make("div", { id: id, class: "evidence-progress" },
        make("span", { role: "status" }), bar, button("Cancel", () => busy && busy()));
      document.getElementById(place).append(box);
    }
    if (cancel) busy = cancel;
    box.querySelector("span").textContent = words;
    const bar = box.querySelector("progress");
    if (share === null) bar.removeAttribute("value");
    else bar.value = share;
  }

  /* Follow the job under way until it is over; shows it in a place and returns its last state. */
  async function follow(place) {
    const stop = () => ask("cancel", {});
    for (;;) {
      const told = await ask("/evidence/job");
      const job = told.job;
      if (trouble(told) || !job || job.state !== "running") {
        progress(place, null);
        busy = null;
        return job || { state: "failed", failure: trouble(told) || "There is nothing under way." };
      }
      progress(place, job.words || "Starting.", job.share > 0 ? job.share : null, stop);
      await new Promise((resolve) => setTimeout(resolve, POLL_MS));
    }
  }

  function notice(text, kind) {
    put("evidence-notice", text ? make("p", { class: kind || "evidence-wrong" }, text) : null);
  }

  /* ---- files ---- */

  async function upload(files) {
    if (busy) {
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
    busy = null;
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
    if (busy) return;
    notice("");
    progress("evidence-read-body", "Opening the demo trial.", null, () => ask("cancel", {}));
    const told = await ask("demo", {});
    if (trouble(told)) {
      progress("evidence-read-body", null);
      busy = null;
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
    if (busy) return;
    notice("");
    const groups = [];
    let open = null;
    groupsOf(known.logs).forEach((group) => {
      const fresh = group.logs.filter((log) => !log.readings || answers.has(group.key));
      if (!fresh.length) return;
      const asked = openQuestion(answersOf(group), group.look);
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
      mark(told.error);
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
      mark(failed[0].error);
    }
    tellAll("read");
  }

  /* Mark the answer that was refused. */
  function mark(error) {
    if (!error) return;
    const field = String(error.field || "").replace(/^mapping\./, "");
    document.querySelectorAll(".evidence-form [data-field]").forEach((place) => {
      const hit = place.dataset.field === field;
      place.classList.toggle("evidence-refused", hit);
      if (hit && place.closest("details")) place.closest("details").open = true;
    });
  }

  /* The first thing that only the visitor can say and has not said. */
  function openQuestion(mapping, look) {
    if (!mapping.time && !(mapping.step_s > 0)) {
      const words = "Say which column holds the time, or the seconds between rows.";
      return { field: "step_s", words: words };
    }
    if (mapping.time && !mapping.time_format) {
      return { field: "time_format", words: "Say how the time is written." };
    }
    for (const [meaning, field] of Object.entries(CPU)) {
      if (!mapping[meaning]) continue;
      const base = mapping[field];
      if (!base || !base.of) {
        return { field: field, words: "Say what \"" + mapping[meaning] + "\" is a percentage of." };
      }
      if (base.of !== "core" && !(base.processors >= 1)) {
        const what = base.of === "desktop" ? "vCPUs the desktop" : "threads the host";
        const words = "Say how many " + what + " of \"" + mapping[meaning] + "\" has.";
        return { field: field, words: words };
      }
    }
    const decimal = look.questions.some((each) => each.field === "decimal");
    if (decimal && !mapping.decimal) {
      return { field: "decimal", words: "Say which sign stands before the decimals." };
    }
    return null;
  }

  /* ---- groups: logs of the same make ---- */

  function groupsOf(logs) {
    const groups = new Map();
    logs.filter((log) => log.look).forEach((log) => {
      const key = log.look.group;
      if (!groups.has(key)) groups.set(key, { key: key, look: log.look, logs: [] });
      groups.get(key).logs.push(log);
    });
    return [...groups.values()];
  }

  function answersOf(group) {
    if (answers.has(group.key)) return answers.get(group.key);
    const given = group.logs.find((log) => log.mapping);
    return structuredClone(given ? given.mapping : group.look.mapping);
  }

  function answer(group, change) {
    const mapping = answersOf(group);
    change(mapping);
    answers.set(group.key, mapping);
    whenReleased(draw);
  }

  /* ---- the form ---- */

  function meaningOf(mapping, column) {
    const found = Object.keys(known.meanings).find((meaning) => mapping[meaning] === column);
    if (found) return found;
    const activity = Object.keys(mapping.counts).find((name) => mapping.counts[name] === column);
    return activity === undefined ? "" : "counts." + activity;
  }

  function setMeaning(mapping, column, meaning) {
    const before = meaningOf(mapping, column);
    if (before.startsWith("counts.")) delete mapping.counts[before.slice(7)];
    else if (before) {
      mapping[before] = null;
      if (CPU[before]) mapping[CPU[before]] = null;
      if (before === "time") mapping.time_format = null;
    }
    if (meaning.startsWith("counts.")) mapping.counts[meaning.slice(7)] = column;
    else if (meaning) {
      mapping[meaning] = column;
      if (CPU[meaning]) mapping[CPU[meaning]] = null; // another column, another answer
      if (meaning === "time") mapping.step_s = null;
    }
  }

  function activities(mapping) {
    let names = [];
    try {
      names = JSON.parse(window.crestline.scenario()).activities.map((each) => each.name);
    } catch {
      names = [];
    }
    return [...new Set([...Object.keys(mapping.counts), ...names])];
  }

  function form(group) {
    const mapping = answersOf(group);
    const names = group.logs.map((log) => log.name);
    const title = names.length === 1 ? names[0]
      : count(names.length, "log", "logs") + " with the same columns";
    const parts = [
      columnsTable(group, mapping),
      make("p", { class: "help" }, "Read as " + group.look.layout + "."),
      questions(group, mapping),
    ];
    const read = group.logs.every((log) => log.readings) && !answers.has(group.key);
    const attributes = { class: "evidence-form", "data-group": group.key };
    if (read) {
      return make("details", { ...attributes, "data-key": "form-" + group.key },
        make("summary", {}, "Answers given for " + title), parts);
    }
    return make("section", { ...attributes, "aria-label": "What is in " + title },
      make("h3", { dir: "auto" }, "What is in " + title + "?"),
      names.length > 1 ? make("p", { class: "help" }, names.join(", ")) : null, parts);
  }

  function columnsTable(group, mapping) {
    const choices = [["", "not used"], ...Object.entries(known.meanings)];
    activities(mapping).forEach((name) => choices.push(["counts." + name, "sessions in " + name]));
    const rows = group.look.columns.map((column, at) => {
      const meaning = meaningOf(mapping, column.name);
      const examples = group.look.first_rows.slice(0, 3).map((row) => row[at] || "(empty)");
      const control = select(choices, meaning, (value) => {
        answer(group, (changed) => setMeaning(changed, column.name, value));
      }, {
        "aria-label": "What \"" + column.name + "\" is", "data-key": group.key + "-column-" + at,
      });
      const proposed = column.meaning === (meaning || null) && meaning ? column.reason : "";
      return make("tr", {},
        make("th", { scope: "row" }, column.name,
          column.unit ? make("span", { class: "unit" }, " [" + column.unit + "]") : null),
        make("td", { class: "evidence-cells" }, examples.join(" · ")),
        make("td", {}, control),
        make("td", { class: "soft" }, proposed ? "proposed: " + proposed : ""));
    });
    return make("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": "Columns" },
      make("table", { class: "evidence-table" },
        make("thead", {}, make("tr", {}, COLUMN_HEADS.map((each) =>
          make("th", { scope: "col" }, each)))),
        make("tbody", {}, rows)));
  }

  function questions(group, mapping) {
    const parts = [];
    if (!mapping.time) {
      const box = numberBox(mapping.step_s, (value) =>
        answer(group, (changed) => { changed.step_s = value; }), group.key + "-step");
      parts.push(field("step_s", labelled("Seconds between rows", box,
        "No column holds the time: rows are taken to be so far apart.")));
    } else {
      parts.push(timeQuestion(group, mapping));
    }
    const decimal = group.look.questions.find((each) => each.field === "decimal");
    if (decimal) parts.push(field("decimal", choiceOf(group, mapping, decimal)));
    Object.keys(CPU).forEach((meaning) => {
      if (mapping[meaning]) parts.push(baseQuestion(group, mapping, meaning));
    });
    if (mapping.offload) parts.push(offloadWords(group, mapping));
    parts.push(more(group, mapping));
    return make("div", { class: "evidence-questions" }, parts);
  }

  function field(name, ...children) {
    return make("div", { "data-field": name }, children);
  }

  function numberBox(value, act, key) {
    return make("input", {
      type: "number", min: "0", step: "any", value: value === null ? "" : value, "data-key": key,
      onchange: (event) => act(event.target.value === "" ? null : Number(event.target.value)),
    });
  }

  function timeQuestion(group, mapping) {
    const asked = group.look.questions.find((each) => each.field === "time_format");
    const meant = Object.fromEntries((asked ? asked.choices : []).map((each) =>
      [each.value, each.consequence]));
    const choices = [["", "choose"], ...Object.entries(known.time_formats).map(([key, words]) =>
      [key, meant[key] ? words + " (" + meant[key] + ")" : words])];
    const control = select(choices, mapping.time_format || "", (value) =>
      answer(group, (changed) => { changed.time_format = value || null; }),
    { "data-key": group.key + "-time" });
    return field("time_format", labelled("How \"" + mapping.time + "\" is written", control,
      asked && !mapping.time_format ? asked.asks + " " + asked.because : null));
  }

  /* A question with a few answers, each with what it means. */
  function choiceOf(group, mapping, question) {
    const name = group.key + "-" + question.field;
    return make("fieldset", { class: "evidence-question" },
      make("legend", {}, question.asks),
      question.choices.map((choice) => make("label", { class: "evidence-choice" },
        make("input", {
          type: "radio", name: name, "data-key": name + "-" + choice.label,
          checked: JSON.stringify(mapping[question.field]) === JSON.stringify(choice.value),
          onchange: () => answer(group, (changed) => { changed[question.field] = choice.value; }),
        }),
        make("span", {}, choice.label), make("span", { class: "soft" }, choice.consequence))),
      make("p", { class: "help" }, question.because));
  }

  /* The question whose wrong answer ruins a trial: a percentage of what? */
  function baseQuestion(group, mapping, meaning) {
    const name = mapping[meaning];
    const slot = CPU[meaning];
    const column = group.look.columns.find((each) => each.name === name) || { example: 3 };
    const asked = group.look.questions.find((each) =>
      each.field === slot && column.meaning === meaning);
    const usual = asked && asked.choices[0].value ? asked.choices[0].value.unit : "percent";
    const unit = mapping[slot] ? mapping[slot].unit : usual;
    const likely = asked && asked.suggested ? asked.suggested.of : null;
    const key = group.key + "-" + slot;
    const told = [];
    const set = (change) => answer(group, (changed) => {
      const before = changed[slot] || { of: null, processors: null, unit: unit };
      changed[slot] = { ...before, ...change };
    });
    const choices = KINDS.map(([of, label, counted]) => {
      const chosen = mapping[slot] && mapping[slot].of === of;
      const radio = make("input", {
        type: "radio", name: key, checked: Boolean(chosen), "data-key": key + "-" + of,
        onchange: () => set({ of: of, processors: held(of) }),
      });
      const means = make("span", { class: "evidence-means" });
      told.push({ of: of, processors: () => held(of), place: means });
      const box = make("input", {
        type: "number", min: "1", max: "4096", step: "1", "aria-label": counted + " of " + name,
        placeholder: of === "core" ? "if added up" : "how many",
        "data-key": key + "-" + of + "-count",
        value: chosen && mapping[slot].processors ? mapping[slot].processors : "",
        oninput: () => weigh(column.example, unit, told, WEIGH_MS),
        onchange: () => set({ of: of, processors: held(of) }),
      });
      const line = make("div", { class: "evidence-choice", "data-of": of },
        make("label", {}, radio, label,
          likely === of ? make("em", {}, " (likely)") : null),
        box, means);
      return line;
    });
    function held(of) {
      const line = choices[KINDS.findIndex((each) => each[0] === of)];
      const box = line && line.querySelector("input[type=number]");
      const value = box ? Number(box.value) : 0;
      return box && Number.isInteger(value) && value >= 1 ? value : null;
    }
    const units = select(UNITS, unit, (value) => {
      if (mapping[slot]) set({ unit: value });
      else set({ of: null, unit: value });
    }, { "data-key": key + "-unit" });
    weigh(column.example, unit, told);
    const what = unit === "percent" ? "a percentage of" : "a part of";
    return field(slot, make("fieldset", { class: "evidence-question evidence-base" },
      make("legend", {}, "What is \"" + name + "\" " + what + "?"),
      make("p", { class: "help" }, asked ? asked.because
        : "A wrong answer makes every result wrong by the same factor."),
      choices, labelled("It is written as", units)));
  }

  /* Ask the server what an example reading means under each answer. */
  function weigh(example, unit, told, wait_ms) {
    const bases = told.map((each) => ({
      of: each.of, processors: each.of === "core" ? null : each.processors() || GUESS[each.of],
      unit: unit,
    }));
    const doubts = told.map((each) =>
      (each.of === "core" || each.processors() ? "" : " if there are " + GUESS[each.of]));
    const body = { reading: example === null ? 3 : example, bases: bases };
    const key = JSON.stringify(body);
    told.wanted = key; // what is typed further makes an answer under way out of date
    const show = (words) => words.forEach((each, at) => {
      if (each !== null && told.wanted === key) told[at].place.textContent = each + doubts[at];
    });
    if (weighed.has(key)) {
      show(weighed.get(key));
      return;
    }
    setTimeout(async () => {
      if (told.wanted !== key) return;
      const reply = await ask("consequences", body);
      if (!reply.consequences) return;
      weighed.set(key, reply.consequences);
      show(reply.consequences);
    }, wait_ms || 0);
  }

  function offloadWords(group, mapping) {
    const box = (slot, label) => {
      const input = make("input", {
        type: "text", value: mapping[slot].join(", "), autocomplete: "off",
        "data-key": group.key + "-" + slot,
        onchange: (event) => answer(group, (changed) => {
          changed[slot] = event.target.value.split(",").map((word) => word.trim())
            .filter((word) => word !== "");
        }),
      });
      return field(slot, labelled(label, input));
    };
    const asked = group.look.questions.find((each) => each.field === "on_words");
    return make("fieldset", { class: "evidence-question" },
      make("legend", {}, "Which words in \"" + mapping.offload + "\" say what?"),
      asked ? make("p", { class: "help" }, "Found: " +
        asked.choices.map((each) => each.label).join(", ") + ". " + asked.because) : null,
      make("div", { class: "evidence-pair" },
        box("on_words", "with card (commas between)"), box("off_words", "without card")));
  }

  function more(group, mapping) {
    const decimals = [["", "as found"], [".", "a point"], [",", "a comma"]];
    const clocks = [
      ["", "it was not put back"],
      ["second_hour_follows", "put back once; the second hour follows the first"],
      ["drop_second_hour", "put back once; leave the second hour out"],
    ];
    const set = (slot) => (value) => answer(group, (changed) => { changed[slot] = value || null; });
    return make("details", { "data-key": group.key + "-more" },
      make("summary", {}, "More about how it is written"),
      make("div", { class: "evidence-pair" },
        field("decimal", labelled("Sign before the decimals",
          select(decimals, mapping.decimal || "", set("decimal"),
            { "data-key": group.key + "-dec" }))),
        field("clock_change", labelled("The clock on the wall",
          select(clocks, mapping.clock_change || "", set("clock_change"),
            { "data-key": group.key + "-clock" }))),
        field("encoding", labelled("Encoding",
          select([["", "as found"], ...ENCODINGS.map((each) => [each, each])],
            mapping.encoding || "", (value) => lookAgain(group.logs, value),
            { "data-key": group.key + "-encoding" })))));
  }

  async function lookAgain(logs, encoding) {
    for (const log of logs) await look(log.id, encoding);
    await refresh();
    const again = known.logs.find((log) => log.id === logs[0].id);
    if (again && again.look) answers.set(again.look.group, structuredClone(again.look.mapping));
    draw();
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
        [["", "choose"], ...ENCODINGS.map((each) => [each, each])], "",
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
        make("thead", {}, make("tr", {}, ["log", "size", "what became of it", ""].map((each) =>
          make("th", { scope: "col" }, each)))),
        make("tbody", {}, logs.map(logRow))) : null,
      groups.map(form),
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

  /* What the other scripts of this page may use. */
  window.crestlineEvidence = {
    ask: ask, // ask("logs") or ask("toggles", body): JSON of /evidence-data/...
    trouble: trouble,
    follow: follow, // follow(id of a place): shows the job under way, returns its last state
    busy: () => busy !== null,
    logs: () => known.logs,
    refresh: refresh, // asks for the logs again and draws part 2
    tellAll: tellAll,
    tools: { make: make, button: button, put: put, labelled: labelled, select: select, count: count,
      whenReleased: whenReleased },
  };
})();
