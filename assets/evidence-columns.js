/* What does a visitor say is in a log? (The form under the logs of part 2 of the Evidence page.)

   The server proposes what each column is; logs of the same make share one form. What only the
   visitor can know is asked, with what each answer would mean. */
(function () {
  "use strict";

  const WEIGH_MS = 150;
  const CPU = { encode_cores: "encode_base", cpu_cores: "cpu_base", host_cores: "host_base" };
  const KINDS = [
    ["core", "one core", "cores added up"],
    ["desktop", "all vCPUs of the desktop, together", "vCPUs of the desktop"],
    ["host", "all threads of the host, together", "threads of the host"],
  ];
  const GUESS = { desktop: 2, host: 64 }; // for the example, until the visitor has counted
  const COLUMN_HEADS = ["Column", "First readings", "What it is", "Why"];
  const UNITS = [
    ["percent", "per cent"], ["share", "a share from 0 to 1"], ["ms_per_s", "ms a second"],
  ];
  const ENCODINGS = ["utf-8", "utf-16", "cp1252", "iso8859-15", "cp1250", "cp1251", "shift_jis"];
  const page = window.crestlineEvidence;
  const { make, labelled, select, count, whenReleased } = page.tools;
  const answers = new Map(); // group -> mapping as it is being filled in
  const weighed = new Map(); // what answers mean, by the question put to the server

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
    whenReleased(page.draw);
  }

  /* ---- the form ---- */

  function meaningOf(mapping, column) {
    const found = Object.keys(page.known().meanings).find((meaning) => mapping[meaning] === column);
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
    const choices = [["", "not used"], ...Object.entries(page.known().meanings)];
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
    const formats = Object.entries(page.known().time_formats);
    const choices = [["", "choose"], ...formats.map(([key, words]) =>
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
      const reply = await page.ask("consequences", body);
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
            mapping.encoding || "", (value) => page.lookAgain(group.logs, value),
            { "data-key": group.key + "-encoding" })))));
  }

  window.crestlineColumns = {
    ENCODINGS: ENCODINGS,
    answers: answers,
    answersOf: answersOf,
    groupsOf: groupsOf, // logs of the same make
    openQuestion: openQuestion, // the first one that the visitor has not answered, or null
    form: form,
    mark: mark,
  };
})();
