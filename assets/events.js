/* With which buttons is an event put beside a host?

   Every group of such buttons, on whichever page, shows the event that the link holds and puts
   the one that is pressed into it; pressed again, it is taken away. A circumstance out of range
   is named beside its control and goes nowhere. What the event does is asked for by the pages.

   crestline.events.offer(offers) tells which events the host can meet;
   crestline.events.table(place, table) draws a host before and after. */
(function () {
  "use strict";

  const crestline = window.crestline;
  const MOST_DIGITS = 8; // of a number of minutes in the link
  let offers = {}; // by event: what a click puts into the link, or why it cannot happen
  let chosen = null; // name of the activity in the link, which its number follows
  let ownChange = false;

  function groups() {
    return [...document.querySelectorAll("[data-events]")];
  }

  function element(name, text, className) {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    if (className) made.className = className;
    return made;
  }

  function parts() {
    const text = crestline.beside("if");
    if (text === null) return { key: null, value: null };
    const at = text.indexOf("~");
    return at < 0
      ? { key: text, value: null }
      : { key: text.slice(0, at), value: text.slice(at + 1) };
  }

  function activities() {
    const scenario = crestline.scenario();
    return scenario === null ? [] : JSON.parse(scenario).activities.map((each) => each.name);
  }

  function put(text) {
    ownChange = true;
    crestline.setBeside("if", text);
    ownChange = false;
  }

  function tell(text) {
    document.querySelectorAll(".event-told").forEach((told) => {
      if (told.textContent !== text) told.textContent = text;
    });
  }

  /* ------------------------------------------------------------------ buttons */

  function show() {
    const now = parts();
    groups().forEach((group) => {
      group.querySelectorAll("[data-event]").forEach((button) => {
        const key = button.dataset.event;
        const reason = (offers[key] || {}).reason || "";
        button.setAttribute("aria-pressed", String(key === now.key));
        if (reason) button.setAttribute("aria-describedby", button.id + "-reason");
        else button.removeAttribute("aria-describedby");
        if (reason && key !== now.key) button.setAttribute("aria-disabled", "true");
        else button.removeAttribute("aria-disabled"); // what is pressed can be taken away
        const told = group.querySelector("[data-reason='" + key + "']");
        told.hidden = !reason;
        told.querySelector("span").textContent = reason;
      });
      showCircumstance(group, now);
    });
  }

  function press(button) {
    if (button.getAttribute("aria-disabled") === "true") return;
    const key = button.dataset.event;
    tell("");
    if (parts().key === key) put(null);
    else put((offers[key] && offers[key].text) || key);
  }

  /* ------------------------------------------------------------------ circumstances */

  function showCircumstance(group, now) {
    const place = group.querySelector(".event-circumstance");
    const about = now.key && JSON.parse(group.dataset.circumstances)[now.key];
    if (!about) {
      place.replaceChildren();
      delete place.dataset.of;
      return;
    }
    const id = group.id + "-" + about.name;
    if (place.dataset.of !== now.key) {
      place.dataset.of = now.key;
      const label = element("label", about.label);
      label.htmlFor = id;
      const control = about.name === "activity" ? element("select") : numberBox(about);
      control.id = id;
      control.addEventListener("change", () => changed(control, now.key, about));
      const wrong = element("small", "", "error");
      wrong.id = id + "-error";
      const unit = about.unit ? [element("span", about.unit, "unit")] : [];
      place.replaceChildren(label, control, ...unit, wrong);
    }
    const control = document.getElementById(id);
    if (about.name === "activity") fillActivities(control, about, now.value);
    else if (control !== document.activeElement || !isWrong(control)) {
      control.value = now.value === null ? String(about.value) : now.value;
      setWrong(control, "");
    }
  }

  function numberBox(about) {
    const box = element("input");
    box.type = "number";
    box.min = about.low;
    box.max = about.high;
    box.step = about.whole ? 1 : "any";
    return box;
  }

  function fillActivities(select, about, value) {
    const names = activities();
    const told = JSON.stringify(names);
    if (select.dataset.names !== told) {
      select.dataset.names = told;
      const options = [[about.usual, ""], ...names.map((name, at) => [name, String(at)])];
      select.replaceChildren(
        ...options.map(([name, at]) => {
          const option = element("option", name);
          option.value = at;
          return option;
        })
      );
    }
    select.value = value === null ? "" : value;
  }

  function changed(control, key, about) {
    tell("");
    if (about.name === "activity") {
      chosen = control.value === "" ? null : activities()[Number(control.value)];
      put(control.value === "" ? key : key + "~" + control.value);
      return;
    }
    const typed = control.value.trim();
    const number = typed === "" ? NaN : Number(Number(typed).toPrecision(MOST_DIGITS));
    const fits = number >= about.low && number <= about.high;
    if (!fits || (about.whole && !Number.isInteger(number))) {
      const is = typed === "" ? " is missing" : " is " + typed;
      setWrong(control, about.label + is + "; expected " + about.expected + ".");
      return;
    }
    setWrong(control, "");
    put(number === about.value ? key : key + "~" + number);
  }

  function isWrong(control) {
    return control.getAttribute("aria-invalid") === "true";
  }

  function setWrong(control, message) {
    const wrong = document.getElementById(control.id + "-error");
    if (wrong.textContent !== message) wrong.textContent = message;
    if (message) {
      control.setAttribute("aria-invalid", "true");
      control.setAttribute("aria-describedby", wrong.id);
    } else {
      control.removeAttribute("aria-invalid");
      control.removeAttribute("aria-describedby");
    }
  }

  /* The link counts activities: once one was added or removed, another number means the same. */
  function follow() {
    const now = parts();
    if (now.key !== "everyone_on_a_call") return;
    const names = activities();
    const at = chosen === null ? -1 : names.indexOf(chosen);
    if (now.value !== null && chosen !== null && at !== Number(now.value)) {
      if (at >= 0) put(now.key + "~" + at);
      else if (names.length === known) chosen = names[Number(now.value)]; // it has a new name
      else {
        chosen = null;
        put(now.key);
        groups().forEach((group) => tell(group.dataset.gone));
      }
    }
    known = names.length;
    show();
  }

  let known = 0; // activities in the list, when the link was last held against it

  function besides(event) {
    if (event.detail !== "if") return;
    if (!ownChange) tell(""); // another link was opened
    const now = parts();
    const names = activities();
    const isCall = now.key === "everyone_on_a_call" && now.value !== null;
    chosen = isCall ? names[Number(now.value)] : null;
    known = names.length;
    show();
  }

  /* ------------------------------------------------------------------ before and after */

  function headCell(text, scope) {
    const cell = element("th", text);
    cell.scope = scope;
    return cell;
  }

  function table(place, told) {
    const made = element("table", undefined, "before-after");
    made.append(element("caption", told.caption));
    const head = made.createTHead();
    const arms = head.insertRow();
    arms.append(element("td"));
    const when = head.insertRow();
    when.append(element("td"));
    told.arms.forEach((arm) => {
      const cell = headCell(arm.label, "colgroup");
      cell.colSpan = told.when.length;
      cell.dataset.arm = arm.arm;
      arms.append(cell);
      told.when.forEach((each) => when.append(headCell(each, "col")));
    });
    const body = made.createTBody();
    told.rows.forEach((row) => {
      const line = body.insertRow();
      const label = headCell(row.label, "row");
      if (row.unit) label.append(element("span", " [" + row.unit + "]", "unit"));
      line.append(label);
      row.cells.forEach((lines, at) => {
        const cell = line.insertCell();
        lines.forEach((each) => cell.append(element("div", each)));
        if (row.holds) cell.dataset.holds = row.holds[at] ? "yes" : "no";
      });
    });
    place.replaceChildren(made);
  }

  document.addEventListener("click", (event) => {
    const isElement = event.target instanceof Element;
    const button = isElement && event.target.closest("[data-events] [data-event]");
    if (button) press(button);
  });
  window.addEventListener("crestline-beside", besides);
  crestline.onAnswer((lane, answer) => {
    if (lane !== "curve") return;
    follow();
    crestline.events.offer(answer.events || {});
  });

  crestline.events = {
    offer: (told) => {
      if (JSON.stringify(told) === JSON.stringify(offers)) return; // at most moves of a slider
      offers = told;
      show();
    },
    table: table,
  };
})();
