/* How do the charts follow a slider while it is dragged?

   Controls are gathered into a scenario. In each lane (curves, a rough day, what waits until the
   slider rests: the day in full and what is asked next; last, whether the quick answers agree with
   the exact ones) one question is under way at a time and the newest waits; an answer is painted
   one chart an animation frame, and only then is the next question sent. A question without an
   answer is given up after WATCHDOG_MS.

   What every script of the pages may use stands at the end: window.crestline. What the files
   crestline_*.js (an underscore comes after the dot, a dash would not) share among themselves and
   nobody else uses is window.crestline.inside: the facts below, and the functions that each of
   them puts there. */
(function () {
  "use strict";

  const WATCHDOG_MS = 20000;
  const AFTER_THE_CURVES_MS = 8; // so that the server takes up the curves first
  const FRAME_MS = 12; // of drawing, after which the next chart waits for the next frame
  const CHECKED_MS = 1500; // no move for so long after that: the self-check is asked for
  const SETTLED_MS = 350; // no move for so long: the address is written, the rest is asked
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const inside = {
    WATCHDOG_MS: WATCHDOG_MS,
    base: null, // the scenario that was opened; controls change what they show of it
    current: null, // what the controls show, once they were read
    movedLast: undefined, // path of the control that was changed last
    redrawn: null, // what is to be done once the controls show a changed list
    query: null, // of the address: what is shown and what is pinned; null without an answer
    pin: null, // query of the scenario pinned for comparison
    beside: { if: null, fleet: null }, // further parts of the address: an event, a fleet
    ask: ask, // ask(scenario) sends the question of a move
    askAgain: askAgain, // the same question in another look or with another pin
  };
  const lanes = {};
  const stats = []; // one entry an answer painted; read by the benchmark
  let newest = null;
  let sequence = 0;
  let settleTimer = null;
  let sure = null; // key of the draws whose bands are drawn if they are of this scenario
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
      sequence: newest.sequence, scenario: newest.text, theme: theme(), pin: inside.pin, sure: sure,
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

  function settled() {
    if (lanes.curve.busy || lanes.day.busy) {
      settleTimer = setTimeout(settled, 60);
      return;
    }
    inside.writeAddress();
    inside.tellPushedAside();
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
      if (lane.name === "curve") inside.showError(answer.error);
      release(lane);
      return;
    }
    if (lane.name === "curve") {
      inside.clearErrors();
      inside.query = answer.query === null ? "" : answer.query;
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

  function askAgain() {
    if (newest) ask(JSON.parse(newest.text));
  }

  function setSure(key) {
    if (sure === key) return;
    sure = key;
    askAgain();
  }

  /* What the other scripts of the page may use. */
  window.crestline = {
    stats: stats,
    figures: lastGood,
    rebalance: (weights, moved) => inside.rebalance(weights, moved),
    actions: {}, // by data-action of the button: a function of the button
    onAnswer: (listener) => listeners.push(listener), // listener(lane name, answer)
    scenario: () => (newest ? newest.text : null), // JSON text of what the controls show
    scenarioQuery: () => inside.scenarioQuery(), // without the pin; null before the first answer
    query: () => inside.wholeQuery(), // with the pin and what else is beside it
    pin: () => inside.pin,
    beside: (name) => inside.beside[name], // text of "if" (an event) or "fleet"; null without one
    // setBeside(name, text); the window hears "crestline-beside"
    setBeside: (name, text) => inside.setBeside(name, text),
    sure: () => sure, // key of the draws whose bands are drawn; null without any
    setSure: setSure, // setSure(key)
    theme: theme,
    // open(query, path) shows another scenario, on the Host page without a path
    open: (query, path) => inside.open(query, path),
    setText: setText,
    shown: () => inside.shown(), // the scenario in the controls; null while they are redrawn
    // openEdited(scenario, done) redraws the controls, then calls done
    openEdited: (scenario, done) => inside.openEdited(scenario, done),
    // focusControl(path of a number or text of the scenario)
    focusControl: (path) => inside.focusControl(path),
    inside: inside, // of the files crestline_*.js alone
  };
})();
