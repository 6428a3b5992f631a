/* How do the charts follow a slider while it is dragged?

   Controls are gathered into a scenario. In each lane (curves, a rough day, what waits until the
   slider rests: the day in full and what is asked next; last, whether the quick answers agree with
   the exact ones) one question is under way at a time and the newest waits; an answer is painted
   one chart an animation frame, and only then is the next question sent. A question without an
   answer is given up after WATCHDOG_MS. */
(function () {
  "use strict";

  const WATCHDOG_MS = 20000;
  const AFTER_THE_CURVES_MS = 8; // so that the server takes up the curves first
  const FRAME_MS = 12; // of drawing, after which the next chart waits for the next frame
  const LONGEST_LINK = 16384; // characters, as the server reads them
  const TOO_LONG =
    "This is too long for a link, so the address does not hold it: save it on the shelf.";
  const CHECKED_MS = 1500; // no move for so long after that: the self-check is asked for
  const SETTLED_MS = 350; // no move for so long: the address is written, the rest is asked
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const lanes = {};
  const stats = []; // one entry an answer painted; read by the benchmark
  let base = null; // the scenario that was opened; controls change what they show of it
  let current = null; // what the controls show, once they were read
  let newest = null;
  let sequence = 0;
  let settleTimer = null;
  let query = null; // of the address: what is shown and what is pinned; null without an answer
  let pin = null; // query of the scenario pinned for comparison
  let sure = null; // key of the draws whose bands are drawn if they are of this scenario
  const beside = { if: null, fleet: null }; // further parts of the address: an event, a fleet
  const pushedAside = new Set(); // sliders of weights whose value the framework does not know yet
  const listeners = []; // told of every answer painted
  const lastGood = {};
  const painted = {};

  ["curve", "day", "next", "check"].forEach((name) => {
    lanes[name] = { name: name, busy: false, sent: 0, wanted: 0, timer: null, sentAt: 0 };
  });

  function theme() {
    const shown = document.documentElement.dataset;
    const dark = window.matchMedia("(prefers-color-scheme: dark)").matches;
    return shown.look === "light" || shown.look === "dark" ? shown.look : dark ? "dark" : "light";
  }

  function pump(lane) {
    if (lane.busy || newest === null || lane.wanted <= lane.sent) return;
    lane.busy = true;
    lane.sent = newest.sequence;
    lane.sentAt = performance.now();
    lane.movedAt = newest.movedAt;
    const question = {
      sequence: newest.sequence, scenario: newest.text, theme: theme(), pin: pin, sure: sure,
    };
    const patience = new AbortController();
    lane.timer = setTimeout(() => patience.abort(), WATCHDOG_MS);
    fetch("/answer/" + lane.name, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(question),
      signal: patience.signal,
    })
      .then((response) => response.json())
      .then((answer) => show(lane, answer))
      .catch(() => fail(lane, "The server does not answer; what you see is the last result."));
  }

  function fail(lane, message) {
    clearTimeout(lane.timer);
    setText("failure", message);
    release(lane);
  }

  function release(lane) {
    lane.busy = false;
    pump(lane);
  }

  function ask(scenario) {
    sequence += 1;
    document.documentElement.dataset.asked = String(sequence);
    newest = { sequence: sequence, text: JSON.stringify(scenario), movedAt: performance.now() };
    lanes.curve.wanted = sequence;
    lanes.day.wanted = sequence;
    pump(lanes.curve);
    setTimeout(() => pump(lanes.day), AFTER_THE_CURVES_MS);
    clearTimeout(settleTimer);
    settleTimer = setTimeout(settled, SETTLED_MS);
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

  function settled() {
    if (lanes.curve.busy || lanes.day.busy) {
      settleTimer = setTimeout(settled, 60);
      return;
    }
    writeAddress();
    tellPushedAside();
    lanes.next.wanted = sequence;
    pump(lanes.next);
    const rested = sequence;
    setTimeout(() => {
      if (rested !== sequence) return;
      lanes.check.wanted = sequence;
      pump(lanes.check);
    }, CHECKED_MS);
    document.documentElement.dataset.settled = String(sequence);
  }

  function writeAddress() {
    if (query === null) return;
    const whole = wholeQuery();
    if (whole.length > LONGEST_LINK) {
      setText("link-note", TOO_LONG);
      return;
    }
    const address = window.location.pathname + (whole ? "?" + whole : "");
    if (address !== window.location.pathname + window.location.search) {
      window.history.replaceState(null, "", address);
    }
  }

  /* The address holds the pin, then what else is beside the scenario, then the scenario. */
  function wholeQuery() {
    const parts = Object.entries(beside).filter((part) => part[1] !== null);
    if (query === null || !parts.length) return query;
    const at = query.startsWith("pin=") ? query.indexOf("&") + 1 : 0;
    const told = parts.map((part) => part[0] + "=" + encodeURIComponent(part[1]) + "&").join("");
    return query.slice(0, at) + told + (query.slice(at) || "v=1");
  }

  function setBeside(name, text) {
    if (beside[name] === text) return;
    beside[name] = text;
    writeAddress();
    tellBeside(name);
  }

  function tellBeside(name) {
    window.dispatchEvent(new CustomEvent("crestline-beside", { detail: name }));
  }

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

  function clearErrors() {
    document.querySelectorAll("small.error:not(:empty)").forEach((small) => {
      small.textContent = "";
    });
    document.querySelectorAll("[aria-invalid=true]").forEach((input) => {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    });
    setText("stale", "");
    document.getElementById("results").classList.remove("stale");
  }

  function showError(error) {
    const small = errorPlace(twinOf(error.field));
    setText("stale", "Showing the last valid result. " + error.message);
    document.getElementById("results").classList.add("stale");
    if (small) {
      small.textContent = error.message;
      const place = small.closest("[data-whole]") || small.parentElement;
      place.querySelectorAll("input, select").forEach((input) => {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", small.id);
      });
    }
  }

  /* Of two equal names the one that was changed last is told. */
  function twinOf(field) {
    const name = (path) => {
      const found = controlsOfScenario().find((each) => JSON.parse(each.id).path === path);
      return /\.name$/.test(path) && found ? found.value.trim() : null;
    };
    return name(field) !== null && name(field) === name(movedLast) ? movedLast : field;
  }

  /* The place for a field's error, or for that of the row or list that holds the field. */
  function errorPlace(field) {
    for (let path = field; path; path = path.replace(/(^|[.[])[^.[]*$/, "")) {
      const small = document.getElementById("error-" + path);
      if (small) return small;
    }
    return null;
  }

  function setText(id, text) {
    const element = document.getElementById(id);
    if (element && element.textContent !== text) element.textContent = text;
  }

  function paint(figures, done) {
    const names = Object.keys(figures).filter((name) => {
      const text = JSON.stringify(figures[name]); // a chart that stays as it is costs nothing
      if (painted[name] === text) return false;
      painted[name] = text;
      return true;
    });
    /* One chart or two, then a frame is shown: the thumb must move while charts are drawn. */
    function next(frameStart) {
      const name = names.shift();
      if (!name) {
        done();
        return;
      }
      const figure = figures[name];
      lastGood[name] = figure;
      const drawn = () => {
        if (names.length && performance.now() - frameStart > FRAME_MS) inNextFrame();
        else next(frameStart);
      };
      window.Plotly.react("chart-" + name, figure.data, figure.layout, CONFIG).then(drawn, drawn);
    }
    function inNextFrame() {
      requestAnimationFrame(() => next(performance.now()));
    }
    next(performance.now());
  }

  function show(lane, envelope) {
    clearTimeout(lane.timer);
    const answeredAt = performance.now();
    const answer = Object.assign({}, envelope, JSON.parse(envelope.text || "{}"));
    if (answer.failure) {
      fail(lane, answer.failure);
      return;
    }
    setText("failure", "");
    if (answer.error) {
      if (lane.name === "curve") showError(answer.error);
      release(lane);
      return;
    }
    if (lane.name === "curve") {
      clearErrors();
      query = answer.query === null ? "" : answer.query;
    }
    Object.entries(answer.texts || {}).forEach(([id, text]) => setText(id, text));
    if (answer.lines) {
      const list = document.getElementById("what-if");
      list.replaceChildren(
        ...answer.lines.map((line) => {
          const item = document.createElement("li");
          item.textContent = line;
          return item;
        })
      );
    }
    if (lane.name === "check" && answer.sequence !== sequence) setText("self-check", "");
    /* What was worked out once a slider rested must not paint over newer curves. */
    if (lane.name === "next" && answer.figures && answer.sequence !== sequence) {
      delete answer.figures.headroom;
    }
    paint(answer.figures || {}, () => {
      stats.push({
        lane: lane.name,
        sequence: answer.sequence,
        moved_to_sent_ms: lane.sentAt - lane.movedAt,
        round_trip_ms: answeredAt - lane.sentAt,
        server_ms: answer.server_ms,
        model_ms: answer.model_ms,
        paint_ms: performance.now() - answeredAt,
        move_to_paint_ms: performance.now() - lane.movedAt,
      });
      document.documentElement.dataset["painted" + lane.name] = String(answer.sequence);
      listeners.forEach((listener) => listener(lane.name, answer));
      release(lane);
    });
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
    const scenario = structuredClone(base);
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
    const before = base.roles[role].activity_pct;
    return Object.fromEntries(
      scenario.activities
        .map((activity, at) => [activity.name, shares[at]])
        .filter((pair, at) => pair[1] !== 0 || Object.hasOwn(before, base.activities[at].name))
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
    if (redrawn !== null) return; // the controls are about to show another list
    movedLast = movedPath;
    if (movedSlider) {
      moveSlider(movedSlider, movedPath);
      return;
    }
    const shown = shownScenario();
    current = shown.scenario;
    const sorted = inOrder(shown.scenario.day.present_pct);
    if (sorted) {
      const points = shown.scenario.day.present_pct;
      shown.scenario.day.present_pct = sorted;
      openEdited(shown.scenario, () => {
        const point = POINT.exec(focused);
        const at = point ? sorted.indexOf(points[point[1]]) : -1;
        focusControl(point ? "day.present_pct[" + at + "][" + point[2] + "]" : focused);
      });
      return;
    }
    ask(shown.scenario);
    shown.tidied.forEach((tidy) => {
      retype(tidy.control, tidy.value);
    });
  }

  /* A slider changes one number, or the weights: the other controls need not be read again. */
  function moveSlider(slider, path) {
    const value = numberOf(slider.value);
    if (JSON.parse(slider.id).type !== "weight") {
      setPath(current, path, value);
      showValue(path, value);
      ask(current);
      return;
    }
    const moved = Number(POSITION.exec(path)[1]);
    const before = current.roles.map((role, i) => (i === moved ? value : role.weight_pct));
    const balanced = rebalance(before, moved);
    balanced.forEach((weight, i) => {
      current.roles[i].weight_pct = weight;
    });
    ask(current);
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
    if (base === null || !known || !input.id.startsWith("{")) return;
    if ((event.type === "input") !== (input.type === "range")) return;
    gather(JSON.parse(input.id).path, input.type === "range" ? input : null);
  }

  function opened(found) {
    if (found && found.error) {
      redrawn = null;
      showError(found.error);
    } else if (found) {
      if (found.edited) keepPlace();
      else {
        setPin(found.pin);
        Object.assign(beside, { if: found.event, fleet: found.fleet }); // in the address already
      }
      base = found.scenario;
      current = structuredClone(base);
      ask(base);
      if (!found.edited) Object.keys(beside).forEach(tellBeside);
      drawControls(base, performance.now());
    }
    return window.dash_clientside.no_update;
  }

  /* ------------------------------------------------------------------ edit lists

     A list that gets longer, shorter or another order is a scenario of its own: the server checks
     it and draws the controls anew, the page then asks about it as about any other. Until they
     are drawn no control is heard. The browser's Back button undoes such a change. */

  let movedLast; // path of the control that was changed last
  let focused = ""; // path of the control that had the focus last
  document.addEventListener("focusin", (event) => {
    const id = event.target.id || "";
    focused = id.startsWith("{") ? JSON.parse(id).path : "";
  });

  let redrawn = null; // what is to be done once the controls show the changed list

  function openEdited(scenario, done) {
    const waiting = done || (() => {});
    redrawn = waiting;
    setTimeout(() => {
      if (redrawn === waiting) redrawn = null; // never answered
    }, WATCHDOG_MS);
    window.dash_clientside.set_props("address", { data: JSON.stringify(scenario) });
  }

  function keepPlace() {
    writeAddress();
    window.history.pushState(null, "", window.location.href);
  }

  /* The framework draws the controls a moment after it hands over the scenario. What scripts wrote
     into them meanwhile it does not know, so that is written again. */
  function drawControls(scenario, since) {
    if (base !== scenario) return;
    if (!controlsShow(scenario) && performance.now() - since < 3000) {
      setTimeout(() => drawControls(scenario, since), 20);
      return;
    }
    controlsOfScenario().forEach((control) => {
      const id = JSON.parse(control.id);
      if (control instanceof HTMLSelectElement) control.value = valueAt(scenario, id.path);
      const value = valueAt(scenario, id.path);
      showValue(id.path, id.type === "weight" ? Math.round(value * 10) / 10 : value);
    });
    scenario.roles.forEach((role, i) => showSum(i, Object.values(role.activity_pct)));
    showNames(scenario);
    const done = redrawn;
    redrawn = null;
    if (done) done();
  }

  function controlsShow(scenario) {
    const lists = ["activities", "roles", "day.present_pct"];
    const rows = (list) => document.querySelectorAll(
      "#controls [data-edit='remove'][data-list='" + list + "']"
    ).length;
    return (
      lists.every((list) => rows(list) === valueAt(scenario, list).length) &&
      controlsOfScenario().every((control) => {
        if (control instanceof HTMLSelectElement) return true;
        const path = JSON.parse(control.id).path;
        const share = HABIT.exec(path);
        const wanted = share
          ? shareOf(scenario.roles[share[1]], scenario.activities[share[2]].name)
          : valueAt(scenario, path);
        const held = control.type === "text" ? control.value : Number(control.value);
        return held === wanted;
      })
    );
  }

  /* A name such as "constructor" is no share that the role has. */
  function shareOf(role, name) {
    return Object.hasOwn(role.activity_pct, name) ? role.activity_pct[name] : 0;
  }

  function focusControl(path) {
    const control = controlsOfScenario().find((each) => JSON.parse(each.id).path === path);
    if (!control) return;
    control.focus();
    if (control.type === "text") control.select();
  }

  /* The points sorted by time, or null where they are sorted or one cannot be read. */
  function inOrder(points) {
    const times = points.map((point) => point[0]);
    const sorted = points.slice().sort((a, b) => (a[0] < b[0] ? -1 : a[0] > b[0] ? 1 : 0));
    const once = new Set(times).size === times.length;
    const clear = once && times.every((time) => TIME.test(time));
    return clear && sorted.some((point, at) => point !== points[at]) ? sorted : null;
  }

  function readAddress() {
    showPage();
    return window.location.search;
  }

  function setPin(value) {
    pin = value;
    document.documentElement.dataset.pinned = pin === null ? "no" : "yes";
    if (pin === null) ["pin-note", "pin-change", "pin-crest"].forEach((id) => setText(id, ""));
  }

  /* The query of the scenario alone, without what is pinned. */
  function scenarioQuery() {
    if (query === null) return null;
    const at = query.startsWith("pin=") ? query.indexOf("&") : -1;
    const own = query.slice(at + 1);
    return own === "v=1" ? "" : own;
  }

  function askAgain() {
    if (newest) ask(JSON.parse(newest.text));
  }

  function setSure(key) {
    if (sure === key) return;
    sure = key;
    askAgain();
  }

  /* Show another scenario (or the same with another pin) as a new entry of the history. */
  function open(address, page) {
    window.history.pushState(null, "", (page || "/") + (address ? "?" + address : ""));
    showPage();
    window.dash_clientside.set_props("address", { data: address ? "?" + address : "" });
  }

  /* Every page is there from the start; the path says which one is seen. */
  function showPage() {
    const name = window.location.pathname.split("/")[1] || "host";
    document.documentElement.dataset.page = name;
    document.querySelectorAll("main > [id^='page-']").forEach((panel) => {
      panel.hidden = panel.id !== "page-" + name;
    });
    document.querySelectorAll("nav [data-page]").forEach((link) => {
      if (link.dataset.page === name) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    });
    window.dispatchEvent(new CustomEvent("crestline-page", { detail: name }));
    if (name === "host" && Object.keys(lastGood).length) window.dispatchEvent(new Event("resize"));
  }

  const actions = {
    pin: () => {
      if (scenarioQuery() === null) return;
      setPin(scenarioQuery());
      askAgain();
    },
    unpin: () => {
      setPin(null);
      askAgain();
    },
  };

  function applyLook(look) {
    if (look === "system") delete document.documentElement.dataset.look;
    else document.documentElement.dataset.look = look;
    const words = { system: "as the system", light: "light", dark: "dark" };
    setText("look", "Look: " + words[look]);
    if (newest) ask(JSON.parse(newest.text));
  }

  const LOOKS = ["system", "light", "dark"];
  let look = 0;
  document.addEventListener("click", (event) => {
    const inControls = "#controls button:not([data-edit])";
    const stepper = event.target instanceof Element && event.target.closest(inControls);
    if (stepper && base !== null) setTimeout(gather, 0); // once the box holds its new value
    const acting = event.target instanceof Element && event.target.closest("[data-action]");
    if (acting && actions[acting.dataset.action]) actions[acting.dataset.action](acting);
    const page = event.target instanceof Element && event.target.closest("nav a[data-page]");
    if (page && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
      event.preventDefault();
      window.history.pushState(null, "", page.getAttribute("href") + window.location.search);
      showPage();
    }
    if (event.target && event.target.id === "look") {
      look = (look + 1) % LOOKS.length;
      applyLook(LOOKS[look]);
    }
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    if (newest) ask(JSON.parse(newest.text));
  });
  document.addEventListener("input", listen, true);
  document.addEventListener("change", listen, true);
  window.addEventListener("popstate", () => {
    showPage();
    const whole = wholeQuery();
    const shown = whole ? "?" + whole : "";
    if (readAddress() !== shown) window.dash_clientside.set_props("address", { data: readAddress() });
  });

  /* What the other scripts of the page may use. */
  window.crestline = {
    stats: stats,
    figures: lastGood,
    rebalance: rebalance,
    actions: actions, // by data-action of the button: a function of the button
    onAnswer: (listener) => listeners.push(listener), // listener(lane name, answer)
    scenario: () => (newest ? newest.text : null), // JSON text of what the controls show
    scenarioQuery: scenarioQuery, // without the pin; null before the first answer
    query: wholeQuery, // with the pin and what else is beside it
    pin: () => pin,
    beside: (name) => beside[name], // text of "if" (an event) or "fleet"; null without one
    setBeside: setBeside, // setBeside(name, text); the window hears "crestline-beside"
    sure: () => sure, // key of the draws whose bands are drawn; null without any
    setSure: setSure, // setSure(key)
    theme: theme,
    open: open, // open(query, path) shows another scenario, on the Host page without a path
    setText: setText,
    shown: () => (base === null || redrawn !== null ? null : shownScenario().scenario),
    openEdited: openEdited, // openEdited(scenario, done) redraws the controls, then calls done
    focusControl: focusControl, // focusControl(path of a number or text of the scenario)
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    crestline: { opened: opened, read_address: () => readAddress() || null },
  });
})();
