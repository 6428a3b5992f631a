/* How sure is the answer, and what should be measured next?

   The section on the Host page asks the server to work out many draws of the uncertain inputs,
   shows how far it is, and then what most draws have in common. The result belongs to the inputs
   it was asked for: once others are shown it stays, marked as of earlier inputs, and the bands
   leave the charts (the server draws them only for the very scenario they are of). When the same
   inputs come back, so does the result. The form is that of host-sure-form.js. */
(function () {
  "use strict";

  const BASE = "/sure/";
  const POLL_MS = 250;
  const CONFIG = { displayModeBar: false, responsive: true };
  const crestline = window.crestline;
  const form = window.crestlineSure;
  const { element, button, wrong, question } = form;
  const root = document.documentElement;
  const asker = Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) =>
    byte.toString(16).padStart(2, "0")).join("");
  let words = null;
  let shown = null; // {key, question, told} of the result on the page
  let working = null; // {key, question} of what is being worked out
  let answer = null; // which answer the ranking is of
  let look = null; // in which the ranking is drawn
  let looked = 0; // counts questions whether a result is known; the newest counts

  function find(name) {
    return document.getElementById("sure-" + name);
  }

  async function ask(path, question) {
    let response;
    try {
      response = await fetch(BASE + path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
    } catch (error) {
      throw new Error(words.texts.unreachable);
    }
    if (!(response.headers.get("Content-Type") || "").includes("json")) return response;
    const told = await response.json();
    if (told.failure) throw new Error(told.failure);
    if (told.error) throw Object.assign(new Error(told.error.message), { field: told.error.field });
    return told;
  }

  function build() {
    if (words !== null || !find("form")) return;
    words = form.build();
    buildResult();
    find("questions").addEventListener("submit", (event) => {
      event.preventDefault();
      start();
    });
    find("questions").addEventListener("change", changed);
    document.getElementById("sure").addEventListener("click", pressed);
  }

  function buildResult() {
    const texts = words.texts;
    const name = (tool) => words.buttons[tool][0] + ": " + words.ranking;
    find("result").replaceChildren(
      element("p", { id: "sure-earlier", class: "stale-mark", role: "status" }),
      element("div", { class: "sure-body" },
        element("div", { id: "sure-sentences", role: "status" }),
        element("div", { class: "sure-halves" },
          element("div", {},
            element("div", { class: "chart-head" },
              element("h3", { text: "What most draws have in common" }),
              element("div", { class: "chart-tools" },
                button("table", { "aria-label": "Numbers: What most draws have in common" }))),
            element("div", {
              class: "scroll", tabindex: "0", role: "region", "aria-label": "Ranges of the draws",
            }, element("table", { id: "sure-table", class: "now-table" })),
            element("div", { id: "sure-about", class: "help" })),
          element("figure", {},
            element("figcaption", {},
              element("div", { class: "chart-head" },
                element("h3", { text: words.ranking }),
                element("div", { class: "chart-tools" },
                  button("picture", { "aria-label": name("picture") }),
                  button("ranking", { "aria-label": name("ranking") }))),
              element("div", { class: "sure-choice" },
                element("label", { for: "sure-answer", text: texts.answer }),
                element("select", { id: "sure-answer" })),
              element("p", { id: "sure-next" })),
            element("div", {
              id: "chart-sure", class: "chart", role: "group", "aria-label": words.ranking,
            }),
            element("p", { id: "sure-explained", class: "help" }),
            element("p", { id: "sure-trial", hidden: true },
              element("a", {
                href: "/evidence", text: texts.evidence, "data-sure": "evidence",
              }))))));
    find("answer").addEventListener("change", () => {
      answer = find("answer").value;
      doing(null, () => show(shown.key, shown.question));
    });
  }

  /* ---- ask, wait, show ---- */

  async function doing(pressed, work) {
    if (pressed) pressed.setAttribute("aria-busy", "true");
    try {
      wrong(null);
      await work();
    } catch (error) {
      wrong(error);
    }
    if (pressed) pressed.removeAttribute("aria-busy");
  }

  function start() {
    if (working !== null || crestline.scenario() === null) return;
    doing(find("start"), async () => {
      const asked = question();
      crestline.setText("sure-note", "");
      working = { key: null, question: JSON.stringify(asked), cancelled: false };
      try {
        const told = await ask("start", Object.assign({ asker: asker }, asked));
        form.keep();
        crestline.setText("sure-note", told.note);
        working.key = told.key;
        await follow(told, asked);
      } finally {
        working = null;
        progress(null);
      }
    });
  }

  async function follow(first, asked) {
    let told = first;
    while (told.state === "running") {
      progress(told);
      await new Promise((resolve) => setTimeout(resolve, POLL_MS));
      if (!working.cancelled) told = await ask("state", { key: working.key, asker: asker });
      if (working.cancelled) return crestline.setText("sure-note", words.texts.cancelled);
      if (told.state === "cancelled") { // by another page that asked the same
        told = await ask("start", Object.assign({ asker: asker }, asked));
      }
    }
    if (told.state === "failed") throw new Error(told.message);
    if (told.state !== "done") throw new Error(words.texts.gone);
    answer = null;
    await show(working.key, working.question);
    crestline.setSure(JSON.stringify(question()) === shown.question ? shown.key : null);
    mark();
  }

  async function cancel() {
    if (working === null || working.cancelled) return;
    working.cancelled = true;
    await ask("cancel", { key: working.key, asker: asker });
  }

  function progress(told) {
    const place = find("progress");
    find("start").disabled = told !== null;
    root.dataset.sure = told === null ? "rests" : "works";
    if (told === null) {
      place.replaceChildren();
      return;
    }
    if (!place.firstChild) {
      place.append(element("div", { class: "sure-progress" },
        element("span", { role: "status" }),
        element("progress", { max: "1", "aria-label": "Progress" }),
        button("cancel")));
    }
    place.querySelector("span").textContent = told.words;
    const bar = place.querySelector("progress");
    if (told.share > 0) bar.value = told.share;
    else bar.removeAttribute("value");
  }

  async function show(key, text) {
    const asked = { key: key, theme: crestline.theme(), answer: answer };
    const told = await ask("result", asked);
    look = asked.theme;
    shown = { key: key, question: text, told: told };
    answer = told.answer;
    const lines = (texts) => texts.map((line) => element("p", { text: line }));
    find("sentences").replaceChildren(...lines(told.sentences));
    fillTable(told.table);
    find("about").replaceChildren(...lines(told.about));
    find("answer").replaceChildren(...told.choices.map(([value, label]) =>
      element("option", { value: value, text: label, selected: value === answer })));
    crestline.setText("sure-next", told.measure_next);
    crestline.setText("sure-explained", told.explained);
    find("trial").hidden = !told.by_trial;
    find("result").hidden = false;
    const { data, layout } = told.ranking;
    await window.Plotly.react("chart-sure", data, layout, CONFIG);
    root.dataset.sureShown = String(Number(root.dataset.sureShown || 0) + 1);
  }

  function fillTable(spec) {
    const table = find("table");
    const head = element("tr", {}, ...spec.head.map((text) =>
      element(text ? "th" : "td", { text: text, scope: text ? "col" : null })));
    table.replaceChildren(element("thead", {}, head), element("tbody", {},
      ...spec.rows.map((row) => element("tr", {}, ...row.map((text, i) =>
        element(i ? "td" : "th", { text: text, scope: i ? null : "row" }))))));
  }

  /* ---- when other inputs are shown ---- */

  function mark() {
    const stale = shown !== null && JSON.stringify(question()) !== shown.question;
    const section = document.getElementById("sure");
    section.dataset.stale = stale ? "yes" : "no";
    crestline.setText("sure-earlier", stale ? words.texts.earlier : "");
    const [label, about] = words.buttons[stale ? "again" : "start"];
    find("start").textContent = label;
    find("start").title = about;
    return stale;
  }

  function askedBefore() {
    return shown !== null || form.kept() !== null;
  }

  /* The inputs shown now may have been asked before: by Back, by hand, or by someone else. */
  async function lookFor() {
    if (words === null || working !== null || !askedBefore()) return;
    if (shown !== null && !mark()) {
      crestline.setSure(shown.key);
      return;
    }
    looked += 1;
    const own = looked;
    const asked = question();
    let told;
    try {
      told = await ask("find", asked);
    } catch (error) {
      return; // said by whoever asks for the curves, or once the button is pressed
    }
    if (own !== looked || working !== null || told.state !== "done") return;
    const text = JSON.stringify(asked);
    if (text !== JSON.stringify(question())) return;
    await doing(null, async () => {
      await show(told.key, text);
      crestline.setText("sure-note", told.note);
      crestline.setSure(told.key);
      mark();
    });
  }

  function changed() {
    if (working !== null) return;
    if (shown !== null && mark()) crestline.setSure(null);
    lookFor();
  }

  function reset() {
    form.reset();
    changed();
  }

  /* ---- to take away ---- */

  async function saveCsv(what) {
    const response = await ask("numbers", { key: shown.key, what: what, answer: answer });
    const named = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition") || "");
    const link = element("a", { href: URL.createObjectURL(await response.blob()) });
    link.download = named ? named[1] : "crestline-estimate.csv";
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  function pressed(event) {
    const target = event.target instanceof Element && event.target.closest("[data-sure]");
    if (!target) return;
    const does = target.dataset.sure;
    if (does === "cancel") doing(target, cancel);
    else if (does === "reset") reset();
    else if (does === "table") doing(target, () => saveCsv("table"));
    else if (does === "ranking") doing(target, () => saveCsv("ranking"));
    else if (does === "picture") {
      doing(target, async () => {
        const made = await ask("picture", { key: shown.key, answer: answer });
        await window.crestlinePictures.save(made.chart, made.data);
      });
    } else if (does === "evidence" && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      document.querySelector("nav [data-page=evidence]").click();
      window.scrollTo(0, 0);
    }
  }

  crestline.onAnswer((lane) => {
    if (lane !== "curve" && lane !== "next") return;
    build();
    if (words === null) return;
    if (lane === "curve" && shown !== null) mark();
    if (lane !== "next") return;
    lookFor();
    if (shown !== null && look !== crestline.theme()) {
      doing(null, () => show(shown.key, shown.question));
    }
  });
  window.addEventListener("crestline-beside", (event) => {
    if (event.detail !== "fleet") return;
    if (words === null) return;
    form.showFleet();
    lookFor();
  });
})();
