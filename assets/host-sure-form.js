/* What is asked about how sure the answer is? The form of the section, and what it holds.

   Labels, defaults and help come from the server (app/words_sure.py). The tab keeps what was asked,
   so that a reload finds the result again; none of it is part of the link. */
(function () {
  "use strict";

  const KEPT = "crestline-sure"; // name under which the tab keeps what was asked
  const crestline = window.crestline;
  let words = null;

  function find(name) {
    return document.getElementById("sure-" + name);
  }

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

  function button(name, given) {
    const [label, about] = words.buttons[name];
    const own = { type: "button", text: label, title: about, "data-sure": name };
    return element("button", Object.assign(own, given || {}));
  }

  function boxOf(field) {
    return document.querySelector("#sure-form [data-field='" + CSS.escape(field) + "']");
  }

  function numberBox(field, label, given) {
    const id = "sure-box-" + field.replace(".", "-");
    const unit = given.unit ? " [" + given.unit + "]" : "";
    const about = given.help ? id + "-help" : null;
    return element("div", { class: "sure-field" },
      element("label", { for: id, text: label }, element("span", { class: "unit", text: unit })),
      element("input", {
        id: id, type: "number", min: given.low, max: given.high, step: given.step || 1,
        value: given.value, "data-field": field, "aria-describedby": about,
      }),
      ...(given.help ? [element("small", { class: "help", id: about, text: given.help })] : []));
  }

  /* Build the form once the framework has drawn the section. */
  function build() {
    words = JSON.parse(document.getElementById("sure").dataset.words);
    const texts = words.texts;
    const spreads = words.spreads.map((group) =>
      numberBox("spreads_pct." + group.name, group.label, {
        unit: "%", low: group.low, high: group.high, value: group.value, help: group.help,
        step: "any",
      }));
    find("form").replaceChildren(element("form", { id: "sure-questions", novalidate: true },
      element("div", { class: "sure-fields" },
        numberBox("draws", texts.draws, Object.assign({
          help: words.draws.low + " to " + words.draws.high.toLocaleString("en") + ".",
        }, words.draws)),
        numberBox("total_sessions", texts.total, Object.assign({
          help: texts.total_help,
        }, words.total)),
        element("div", { class: "tools" },
          element("button", {
            type: "submit", id: "sure-start", text: words.buttons.start[0],
            title: words.buttons.start[1],
          }))),
      element("details", { class: "group", id: "sure-spreads" },
        element("summary", { text: texts.spreads }),
        element("p", { class: "help", text: texts.spreads_about }),
        element("div", { class: "sure-fields" }, ...spreads),
        element("div", { class: "tools" }, button("reset")))));
    restoreForm();
    showFleet();
    return words;
  }

  function wrong(error) {
    const box = error && error.field ? boxOf(error.field) : null;
    document.querySelectorAll("#sure [aria-invalid]").forEach((each) => {
      each.removeAttribute("aria-invalid");
      each.removeAttribute("aria-errormessage");
    });
    crestline.setText("sure-error", error ? error.message : "");
    if (!box) return;
    box.setAttribute("aria-invalid", "true");
    box.setAttribute("aria-errormessage", "sure-error");
    const folded = box.closest("details");
    if (folded) folded.open = true;
    box.focus();
  }

  /* A fleet beside the scenario says how many sessions there are, and at what prices. */
  function showFleet() {
    if (words === null) return;
    const box = boxOf("total_sessions");
    const fleet = crestline.beside("fleet") !== null;
    box.disabled = fleet;
    crestline.setText(box.id + "-help", words.texts[fleet ? "total_fleet" : "total_help"]);
    if (fleet) box.value = "";
  }

  function valueIn(box) {
    if (box.validity.badInput) return "no number";
    return box.value.trim() === "" ? null : Number(box.value);
  }

  /* All that a result depends on; equal texts are equal questions. */
  function question() {
    const spreads = {};
    words.spreads.forEach((group) => {
      const value = valueIn(boxOf("spreads_pct." + group.name));
      if (value !== group.value) spreads[group.name] = value;
    });
    return {
      scenario: crestline.scenario(),
      draws: valueIn(boxOf("draws")),
      spreads_pct: spreads,
      total_sessions: valueIn(boxOf("total_sessions")),
      fleet: crestline.beside("fleet"),
    };
  }

  /* The tab keeps what was asked, so that a reload finds the result again. */
  function keepForm() {
    const boxes = [...document.querySelectorAll("#sure-form [data-field]")];
    const held = Object.fromEntries(boxes.map((box) => [box.dataset.field, box.value]));
    try {
      sessionStorage.setItem(KEPT, JSON.stringify(held));
    } catch (error) { /* then a reload does not look for a result */ }
  }

  function keptForm() {
    try {
      return JSON.parse(sessionStorage.getItem(KEPT));
    } catch (error) {
      return null;
    }
  }

  function restoreForm() {
    Object.entries(keptForm() || {}).forEach(([field, text]) => {
      if (boxOf(field)) boxOf(field).value = text;
    });
  }

  function reset() {
    words.spreads.forEach((group) => {
      boxOf("spreads_pct." + group.name).value = group.value;
    });
  }

  window.crestlineSure = {
    build: build, // returns the words of the section
    element: element,
    button: button,
    wrong: wrong, // wrong(error) says what is wrong, at its box; wrong(null) clears that
    question: question,
    keep: keepForm,
    kept: keptForm,
    reset: reset,
    showFleet: showFleet,
  };
})();
