/* Which scenario do the controls show?

   Each control names the path of what it holds. A slider changes one number and is heard while it
   moves; a text or number box counts when it is left, and then all of them are read. */
(function () {
  "use strict";

  const inside = window.crestline.inside;
  const pushedAside = new Set(); // sliders of weights whose value the framework does not know yet
  let focused = ""; // path of the control that had the focus last

  function setPath(scenario, path, value) {
    const names = path.replaceAll("[", ".").replaceAll("]", "").split(".");
    let at = scenario;
    names.slice(0, -1).forEach((name) => {
      at = at === undefined ? at : at[name];
    });
    if (at !== undefined) at[names[names.length - 1]] = value;
  }

  function valueAt(scenario, path) {
    const names = path.replaceAll("[", ".").replaceAll("]", "").split(".");
    return names.reduce((at, name) => (at === undefined ? at : at[name]), scenario);
  }

  function numberOf(value) {
    if (typeof value === "number") return value;
    if (value === null || value === undefined || String(value).trim() === "") return null;
    const number = Number(value);
    return Number.isNaN(number) ? String(value) : number;
  }

  /* Weights in tenths of a per cent: the moved one stays, the others share what is left. */
  function rebalance(weights, moved) {
    const tenths = weights.map((weight) => Math.round(Number(weight) * 10));
    if (tenths.length === 1) return [100];
    const kept = Math.min(Math.max(tenths[moved], 0), 1000);
    const others = tenths.reduce((sum, t, i) => (i === moved ? sum : sum + t), 0);
    const result = tenths.map((t, i) => {
      if (i === moved) return kept;
      const share = others > 0 ? t / others : 1 / (tenths.length - 1);
      return Math.floor((1000 - kept) * share);
    });
    let rest = 1000 - result.reduce((sum, t) => sum + t, 0);
    for (let i = 0; rest > 0; i = (i + 1) % result.length) {
      if (i !== moved) {
        result[i] += 1;
        rest -= 1;
      }
    }
    return result.map((t) => t / 10);
  }

  function showValue(path, value) {
    const shown = document.getElementById("shown-" + path);
    if (!shown) return;
    shown.textContent = value + " " + (value === 1 ? shown.dataset.unitOne : shown.dataset.unit);
  }

  /* The controls of the scenario, and what each holds. A share of a habit has no path in the
     scenario: its role and its activity are counted, so that it follows a new name. */
  const HABIT = /^roles\[(\d+)\]\.activity_pct\[(\d+)\]$/;
  const POSITION = /\[(\d+)\]/;
  const POINT = /^day\.present_pct\[(\d+)\]\[(\d)\]$/;
  const TIME = /^(([01]\d|2[0-3]):[0-5]\d|24:00)$/;
  const CLOCK = /^day\.(start|end|present_pct\[\d+\]\[0\])$/;

  function controlsOfScenario() {
    return [...document.querySelectorAll("#controls :is(input, select)[id^='{']")];
  }

  function valueOf(control, path) {
    if (control.type === "number" || control.type === "range") return numberOf(control.value);
    const text = control.value.trim();
    const time = CLOCK.test(path) ? /^(\d{1,2})(?:[:.]?(\d{2}))?$/.exec(text) : null;
    return time ? time[1].padStart(2, "0") + ":" + (time[2] || "00") : text;
  }

  /* The scenario that the controls show, and the text boxes to write in a tidier way. */
  function shownScenario() {
    const scenario = structuredClone(inside.base);
    const habits = scenario.roles.map(() => []);
    const tidied = [];
    controlsOfScenario().forEach((control) => {
      const id = JSON.parse(control.id);
      const value = valueOf(control, id.path);
      const share = HABIT.exec(id.path);
      if (share) (habits[share[1]] || [])[share[2]] = value;
      else setPath(scenario, id.path, value);
      showValue(id.path, id.type === "weight" ? Math.round(value * 10) / 10 : value);
      if (control.type === "text" && value !== control.value) {
        tidied.push({ control: control, value: value });
      }
    });
    scenario.roles.forEach((role, i) => {
      role.activity_pct = namedShares(scenario, i, habits[i]);
      showSum(i, habits[i]);
    });
    showNames(scenario);
    return { scenario: scenario, tidied: tidied };
  }

  /* A share of 0 that the role never had stays away, so that a link need not tell it. */
  function namedShares(scenario, role, shares) {
    const { roles, activities } = inside.base;
    const before = roles[role].activity_pct;
    return Object.fromEntries(
      scenario.activities
        .map((activity, at) => [activity.name, shares[at]])
        .filter((pair, at) => pair[1] !== 0 || Object.hasOwn(before, activities[at].name))
    );
  }

  function showSum(role, shares) {
    const shown = document.getElementById("sum-roles[" + role + "]");
    if (!shown) return;
    const sum = shares.reduce((whole, share) => whole + (Number(share) || 0), 0);
    const total = Math.round(sum * 100) / 100;
    const off = Math.round((total - 100) * 100) / 100;
    let told = "";
    if (off > 0.01) told = ": " + off + " too much";
    if (off < -0.01) told = ": " + -off + " missing";
    shown.textContent = total + " %" + told;
    shown.dataset.off = told ? "yes" : "no";
  }

  function showNames(scenario) {
    document.querySelectorAll("#controls [data-named]").forEach((span) => {
      const entry = valueAt(scenario, span.dataset.named);
      const name = Array.isArray(entry) ? entry[0] : entry ? entry.name : span.textContent;
      if (span.textContent !== name) span.textContent = name;
    });
  }

  function gather(movedPath, movedSlider) {
    if (inside.redrawn !== null) return; // the controls are about to show another list
    inside.movedLast = movedPath;
    if (movedSlider) {
      moveSlider(movedSlider, movedPath);
      return;
    }
    const shown = shownScenario();
    inside.current = shown.scenario;
    const sorted = inOrder(shown.scenario.day.present_pct);
    if (sorted) {
      const points = shown.scenario.day.present_pct;
      shown.scenario.day.present_pct = sorted;
      inside.openEdited(shown.scenario, () => {
        const point = POINT.exec(focused);
        const at = point ? sorted.indexOf(points[point[1]]) : -1;
        inside.focusControl(point ? "day.present_pct[" + at + "][" + point[2] + "]" : focused);
      });
      return;
    }
    inside.ask(shown.scenario);
    shown.tidied.forEach((tidy) => {
      retype(tidy.control, tidy.value);
    });
  }

  /* The points sorted by time, or null where they are sorted or one cannot be read. */
  function inOrder(points) {
    const times = points.map((point) => point[0]);
    const sorted = points.slice().sort((a, b) => (a[0] < b[0] ? -1 : a[0] > b[0] ? 1 : 0));
    const once = new Set(times).size === times.length;
    const clear = once && times.every((time) => TIME.test(time));
    return clear && sorted.some((point, at) => point !== points[at]) ? sorted : null;
  }

  /* A slider changes one number, or the weights: the other controls need not be read again. */
  function moveSlider(slider, path) {
    const value = numberOf(slider.value);
    if (JSON.parse(slider.id).type !== "weight") {
      setPath(inside.current, path, value);
      showValue(path, value);
      inside.ask(inside.current);
      return;
    }
    const moved = Number(POSITION.exec(path)[1]);
    const before = inside.current.roles.map((role, i) => (i === moved ? value : role.weight_pct));
    const balanced = rebalance(before, moved);
    balanced.forEach((weight, i) => {
      inside.current.roles[i].weight_pct = weight;
    });
    inside.ask(inside.current);
    balanced.forEach((weight, i) => {
      const weightPath = "roles[" + i + "].weight_pct";
      showValue(weightPath, weight);
      if (i !== moved && weight !== before[i]) pushAside(controlAt("weight", weightPath), weight);
    });
  }

  function pushAside(slider, weight) {
    if (slider === null) return;
    slider.value = String(weight);
    pushedAside.add(slider);
  }

  /* Redrawing the other sliders at every move costs more than the charts: the framework is told
     of their values once the moved one rests. */
  function tellPushedAside() {
    pushedAside.forEach((slider) => {
      if (slider.isConnected) {
        window.dash_clientside.set_props(JSON.parse(slider.id), { value: Number(slider.value) });
      }
    });
    pushedAside.clear();
  }

  function controlAt(type, path) {
    return document.getElementById(JSON.stringify({ path: path, type: type }));
  }

  /* Write into a text box as if it had been typed, so that the framework takes it for its own. */
  function retype(control, text) {
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(control, text);
    control.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /* Listened to before the page's framework hears of it, so that the question is on its way
     while controls are redrawn. A number box counts when it is left, a slider while it moves. */
  function listen(event) {
    const input = event.target;
    const known = input instanceof HTMLInputElement || input instanceof HTMLSelectElement;
    if (inside.base === null || !known || !input.id.startsWith("{")) return;
    if ((event.type === "input") !== (input.type === "range")) return;
    gather(JSON.parse(input.id).path, input.type === "range" ? input : null);
  }

  document.addEventListener("focusin", (event) => {
    const id = event.target.id || "";
    focused = id.startsWith("{") ? JSON.parse(id).path : "";
  });
  document.addEventListener("click", (event) => {
    const inControls = "#controls button:not([data-edit])";
    const stepper = event.target instanceof Element && event.target.closest(inControls);
    if (stepper && inside.base !== null) setTimeout(gather, 0); // once the box holds its new value
  });
  document.addEventListener("input", listen, true);
  document.addEventListener("change", listen, true);

  Object.assign(inside, {
    rebalance: rebalance,
    valueAt: valueAt, // valueAt(scenario, path)
    controlsOfScenario: controlsOfScenario,
    habitAt: (path) => HABIT.exec(path), // [whole, role, activity] of a share's path; else null
    showValue: showValue,
    showSum: showSum,
    showNames: showNames,
    tellPushedAside: tellPushedAside,
    shown: () =>
      inside.base === null || inside.redrawn !== null ? null : shownScenario().scenario,
  });
})();
