/* How do the charts follow a slider while it is dragged?

   Controls are gathered into a scenario. In each lane (curves, a rough day, what waits until the
   slider rests: the day in full and what is asked next) one
   question is under way at a time and the newest waits; an answer is painted one chart an
   animation frame, and only then is the next question sent. A question without an answer is
   given up after WATCHDOG_MS. */
(function () {
  "use strict";

  const WATCHDOG_MS = 20000;
  const SETTLED_MS = 350; // no move for so long: the address is written, the rest is asked
  const CHARTS = ["headroom", "contention", "day", "desktop"];
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const lanes = {};
  const stats = []; // one entry an answer painted; read by the benchmark
  let base = null; // the scenario that was opened; controls change what they show of it
  let newest = null;
  let sequence = 0;
  let settleTimer = null;
  let query = null; // of the address: what is shown and what is pinned; null without an answer
  let pin = null; // query of the scenario pinned for comparison
  const listeners = []; // told of every answer painted
  const lastGood = {};
  const painted = {};

  ["curve", "day", "next"].forEach((name) => {
    lanes[name] = { name: name, busy: false, sent: 0, wanted: 0, timer: null, sentAt: 0 };
  });

  function theme() {
    const chosen = document.documentElement.dataset.look;
    if (chosen === "light" || chosen === "dark") return chosen;
    return window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  }

  function pump(lane) {
    if (lane.busy || newest === null || lane.wanted <= lane.sent) return;
    lane.busy = true;
    lane.sent = newest.sequence;
    lane.sentAt = performance.now();
    lane.movedAt = newest.movedAt;
    const question = { sequence: newest.sequence, scenario: newest.text, theme: theme(), pin: pin };
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
    pump(lanes.day);
    clearTimeout(settleTimer);
    settleTimer = setTimeout(settled, SETTLED_MS);
  }

  function settled() {
    if (lanes.curve.busy || lanes.day.busy) {
      settleTimer = setTimeout(settled, 60);
      return;
    }
    if (query !== null) {
      const address = window.location.pathname + (query ? "?" + query : "");
      if (address !== window.location.pathname + window.location.search) {
        window.history.replaceState(null, "", address);
      }
    }
    lanes.next.wanted = sequence;
    pump(lanes.next);
    document.documentElement.dataset.settled = String(sequence);
  }

  function setPath(scenario, path, value) {
    const names = path.replaceAll("[", ".").replaceAll("]", "").split(".");
    let at = scenario;
    names.slice(0, -1).forEach((name) => {
      at = at[name];
      if (at === undefined) return;
    });
    at[names[names.length - 1]] = value;
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
    if (shown) shown.textContent = value + " " + shown.dataset.unit;
  }

  function clearErrors() {
    document.querySelectorAll("small.error:not(:empty)").forEach((small) => {
      small.textContent = "";
    });
    document.querySelectorAll("[aria-invalid=true]").forEach((input) => {
      input.removeAttribute("aria-invalid");
    });
    setText("stale", "");
    document.getElementById("results").classList.remove("stale");
  }

  function showError(error) {
    const small = document.getElementById("error-" + error.field);
    setText("stale", "Showing the last valid result. " + error.message);
    document.getElementById("results").classList.add("stale");
    if (small) {
      small.textContent = error.message;
      const input = small.parentElement.querySelector("input");
      if (input) input.setAttribute("aria-invalid", "true");
    }
  }

  function setText(id, text) {
    const element = document.getElementById(id);
    if (element && element.textContent !== text) element.textContent = text;
  }

  function paint(figures, done) {
    const names = CHARTS.filter((name) => {
      if (!figures[name]) return false;
      const text = JSON.stringify(figures[name]); // a chart that stays as it is costs nothing
      if (painted[name] === text) return false;
      painted[name] = text;
      return true;
    });
    function next() {
      const name = names.shift();
      if (!name) {
        done();
        return;
      }
      requestAnimationFrame(() => {
        const figure = figures[name];
        lastGood[name] = figure;
        window.Plotly.react("chart-" + name, figure.data, figure.layout, CONFIG).then(next, next);
      });
    }
    next();
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

  /* The scenario that the controls show; the weight that was moved pushes the others aside. */
  function gather(movedPath) {
    const scenario = structuredClone(base);
    const weights = [];
    document.querySelectorAll("#controls input[id^='{']").forEach((input) => {
      const id = JSON.parse(input.id);
      const value = numberOf(input.value);
      if (id.type === "weight") {
        weights.push({ id: id, value: Number(value) });
        return;
      }
      setPath(scenario, id.path, value);
      showValue(id.path, value);
    });
    const moved = weights.findIndex((weight) => weight.id.path === movedPath);
    let balanced = weights.map((weight) => weight.value);
    if (moved >= 0) balanced = rebalance(balanced, moved);
    weights.forEach((weight, i) => {
      setPath(scenario, weight.id.path, balanced[i]);
      showValue(weight.id.path, Math.round(balanced[i] * 10) / 10);
    });
    ask(scenario);
    weights.forEach((weight, i) => {
      if (i !== moved && balanced[i] !== weight.value) {
        window.dash_clientside.set_props(weight.id, { value: balanced[i] });
      }
    });
  }

  /* Listened to before the page's framework hears of it, so that the question is on its way
     while controls are redrawn. A number box counts when it is left, a slider while it moves. */
  function listen(event) {
    const input = event.target;
    if (base === null || !(input instanceof HTMLInputElement) || !input.id.startsWith("{")) return;
    if ((event.type === "input") !== (input.type === "range")) return;
    gather(JSON.parse(input.id).path);
  }

  function opened(found) {
    if (found) {
      base = found.scenario;
      setPin(found.pin);
      ask(base);
    }
    return window.dash_clientside.no_update;
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

  /* Show another scenario (or the same with another pin) as a new entry of the history. */
  function open(address) {
    const path = "/" + (address ? "?" + address : "");
    window.history.pushState(null, "", path);
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
    const stepper = event.target instanceof Element && event.target.closest("#controls button");
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
    const shown = query ? "?" + query : "";
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
    query: () => query, // with the pin
    pin: () => pin,
    theme: theme,
    open: open, // open(query) shows another scenario on the Host page
    setText: setText,
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    crestline: { opened: opened, read_address: readAddress },
  });
})();
