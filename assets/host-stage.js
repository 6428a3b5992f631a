/* How does one chart at a time fill the window, for a shared screen?

   The stage is a dialog over the page. It asks the server for its own figures in the larger type,
   draws only the chart that is seen, and leaves the page's charts as they are. Everything is laid
   out on a picture of 1920 x 1080 that is scaled to the window, so that nothing depends on the
   size of the screen that is shared. The chart seen is not part of the link. */
(function () {
  "use strict";

  const CONFIG = { displayModeBar: false, doubleClick: "reset" };
  const PATIENCE_MS = 20000;
  const SETTLED_MS = 350; // no move for so long: the page follows
  const SMALLEST = 0.45; // of the large type, in narrow windows
  const LARGEST_PX = 44; // type of the sentences, in a window 1920 px wide
  const SMALLEST_PX = 32; // still read where the picture is shown at half its size
  const crestline = window.crestline;
  const root = document.documentElement;
  const held = {}; // by chart: figure and line, and what they were asked for
  const lanes = {};
  let charts = []; // their names, in the order of the page, once the stage was opened
  let titles = {}; // of the charts
  let shown = null; // the name of the chart seen; null while the stage is closed
  let sessions = null; // moved on the stage, and not yet by the page
  let settleTimer = null;
  let scale = 1;

  ["curve", "day", "next"].forEach((name) => {
    lanes[name] = { name: name, busy: false, wanted: null, asked: null };
  });

  function part(name) {
    return document.getElementById("stage-" + name);
  }

  function pageSlider() {
    return document.querySelector("#controls input[id*='\"path\":\"sessions\"']");
  }

  /* What the stage shows, as a question; the same text is never asked twice in a row. */
  function question() {
    const scenario = JSON.parse(crestline.scenario());
    if (sessions !== null) scenario.sessions = sessions;
    return JSON.stringify({
      sequence: 0,
      scenario: JSON.stringify(scenario),
      theme: crestline.theme().replace("-stage", "") + "-stage",
      pin: crestline.pin(),
      sure: crestline.sure(),
    });
  }

  function refresh() {
    if (shown === null || crestline.scenario() === null) return;
    const body = question();
    want("curve", body);
    if (shown === "day") want(sessions === null ? "next" : "day", body);
    if (shown === "headroom" && sessions === null && hasRange()) want("next", body);
    showKey(JSON.parse(JSON.parse(body).scenario));
  }

  /* Whether costs were measured, so that the chart of headroom has a band of its own answer. */
  function hasRange() {
    return (JSON.parse(crestline.scenario()).measured || []).length > 0;
  }

  function want(name, body) {
    lanes[name].wanted = body;
    pump(lanes[name]);
  }

  function pump(lane) {
    if (lane.busy || lane.wanted === null || lane.wanted === lane.asked) return;
    const body = lane.wanted;
    lane.busy = true;
    lane.asked = body;
    fetch("/answer/" + lane.name, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: body,
      signal: AbortSignal.timeout(PATIENCE_MS),
    })
      .then((response) => response.json())
      .then((envelope) => take(envelope, body, lane.name))
      .catch(() => {
        lane.asked = null;
        lane.wanted = null;
        wrong("The server does not answer; what you see is the last result.");
      })
      .finally(() => {
        lane.busy = false;
        pump(lane);
      });
  }

  /* Of two answers about headroom the one with the range stays; one out of date is left alone. */
  function isLast(name, lane, body) {
    if (name !== "headroom") return true;
    if (lane === "next") return body === lanes.curve.asked;
    return !(held[name] && held[name].lane === "next" && held[name].body === body);
  }

  function take(envelope, body, lane) {
    const bad = envelope.failure || (envelope.error && envelope.error.message);
    wrong(bad ? "Showing the last valid result. " + bad : "");
    if (bad) return;
    const answer = JSON.parse(envelope.text);
    const asked = JSON.parse(body);
    const count = JSON.parse(asked.scenario).sessions;
    Object.entries(answer.figures).forEach(([name, figure]) => {
      if (!isLast(name, lane, body)) return;
      const spoken = (answer.spoken || {})[name];
      const before = held[name] ? held[name].spoken : "";
      held[name] = {
        figure: figure,
        spoken: spoken === undefined ? before : spoken, // a rough day has no line of its own
        theme: asked.theme,
        sessions: count,
        lane: lane,
        body: body,
      };
    });
    if (answer.texts["answer-sentence"]) {
      crestline.setText("stage-answer", answer.texts["answer-sentence"]);
    }
    if (answer.figures[shown]) draw();
  }

  function wrong(message) {
    crestline.setText("stage-wrong", message);
  }

  function fit() {
    const wide = Math.min(window.innerWidth / 1920, window.innerHeight / 1080);
    scale = Math.max(SMALLEST, wide);
    document.getElementById("stage").style.setProperty("--px", scale + "px");
    part("plot").style.transform = "scale(" + scale + ")";
  }

  /* A sentence stays on one line while its type may shrink so far, then it wraps. */
  function oneLine(line) {
    line.style.whiteSpace = "nowrap";
    for (let px = LARGEST_PX; px >= SMALLEST_PX; px -= 2) {
      line.style.fontSize = "calc(" + px + " * var(--px))";
      if (line.scrollWidth <= line.clientWidth) return;
    }
    line.style.whiteSpace = "normal";
  }

  function draw() {
    const now = held[shown];
    crestline.setText("stage-takeaway", now ? now.spoken : "Drawing ...");
    oneLine(part("answer"));
    oneLine(part("takeaway"));
    part("chart").setAttribute("aria-busy", now ? "false" : "true");
    if (!now) {
      window.Plotly.purge(part("plot"));
      return;
    }
    const room = part("chart");
    const layout = Object.assign({}, now.figure.layout, {
      width: Math.floor(room.clientWidth / scale),
      height: Math.floor(room.clientHeight / scale),
      autosize: false,
      uirevision: shown,
    });
    window.Plotly.react(part("plot"), now.figure.data, layout, CONFIG).then(() => {
      if (shown === null) return;
      const seen = { drawn: shown, theme: now.theme, sessions: now.sessions };
      Object.assign(part("plot").dataset, seen);
    });
  }

  function showKey(scenario) {
    const key = document.querySelector("#stage .key");
    const lines = shown !== "desktop"; // the bars have a key of their own
    key.querySelector("[data-means=offloaded]").hidden = !lines || scenario.accelerator.cards === 0;
    key.querySelector("[data-means=software]").hidden = !lines;
    key.querySelector("[data-means=target]").hidden = !lines;
    key.querySelector("[data-means=pinned]").hidden = crestline.pin() === null;
  }

  function place() {
    return charts.indexOf(shown) + 1 + " of " + charts.length;
  }

  function go(name) {
    shown = name;
    root.dataset.stage = name;
    crestline.setText("stage-title", titles[name]);
    crestline.setText("stage-place", place());
    part("chart").setAttribute("role", "group");
    part("chart").setAttribute("aria-label", titles[name]);
    document.querySelectorAll("#stage [data-do=back], #stage [data-do=next]").forEach((button) => {
      const end = button.dataset.do === "back" ? charts[0] : charts[charts.length - 1];
      button.setAttribute("aria-disabled", String(name === end));
    });
    draw();
    refresh();
    tell(titles[name]);
  }

  /* Said once a step and once a move has settled, not while a slider moves. */
  function tell(title) {
    const line = part("takeaway").textContent;
    crestline.setText("stage-told", place() + ", " + title + ". " + line);
  }

  function step(by) {
    const at = charts.indexOf(shown) + by;
    if (charts[at]) go(charts[at]);
  }

  function enter() {
    if (shown !== null || crestline.scenario() === null) return;
    sessions = null;
    crestline.setText("stage-answer", document.getElementById("answer-sentence").textContent);
    showLook();
    document.getElementById("stage").showModal();
    fit();
    go(charts[0]);
    part("title").focus();
  }

  function leave() {
    document.getElementById("stage").close();
  }

  function left() {
    handOver();
    shown = null;
    delete root.dataset.stage;
    part("sessions").hidden = true;
    delete part("plot").dataset.drawn;
    window.Plotly.purge(part("plot"));
  }

  function showLook() {
    const button = document.querySelector("#stage [data-do=look]");
    button.textContent = document.getElementById("look").textContent;
  }

  function toggleSessions() {
    const bar = part("sessions");
    bar.hidden = !bar.hidden;
    const button = document.querySelector("#stage [data-do=sessions]");
    button.setAttribute("aria-expanded", String(!bar.hidden));
    if (bar.hidden) {
      handOver();
      part("title").focus();
    } else {
      setSlider();
      part("slider").focus();
    }
    draw();
  }

  function setSlider() {
    const source = pageSlider();
    const slider = part("slider");
    if (!source || part("sessions").hidden) return;
    slider.min = source.min;
    slider.max = source.max;
    if (sessions === null) slider.value = source.value;
    part("count").textContent = slider.value;
  }

  function moved() {
    sessions = Number(part("slider").value);
    part("count").textContent = String(sessions);
    refresh();
    clearTimeout(settleTimer);
    settleTimer = setTimeout(handOver, SETTLED_MS);
  }

  /* The page's own slider takes the value, and with it the address and every other chart. */
  function handOver() {
    clearTimeout(settleTimer);
    const slider = pageSlider();
    if (sessions === null || !slider) return;
    const value = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value");
    value.set.call(slider, String(sessions)); // as if moved by hand, so that the framework hears it
    sessions = null;
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    refresh();
  }

  const DOES = {
    back: () => step(-1),
    next: () => step(1),
    sessions: toggleSessions,
    look: () => {
      document.getElementById("look").click();
      showLook();
      refresh();
    },
    leave: leave,
  };
  const KEYS = {
    PageUp: DOES.back,
    PageDown: DOES.next,
    s: leave,
    c: toggleSessions,
  };
  const KEYS_OFF_THE_SLIDER = {
    ArrowLeft: DOES.back,
    ArrowRight: DOES.next,
    Home: () => go(charts[0]),
    End: () => go(charts[charts.length - 1]),
  };

  function press(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const name = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const onSlider = event.target === part("slider");
    const digit = /^[1-9]$/.test(name) && charts[Number(name) - 1];
    if (digit) {
      event.preventDefault();
      go(digit);
      return;
    }
    const does = KEYS[name] || (onSlider ? undefined : KEYS_OFF_THE_SLIDER[name]);
    if (!does) return;
    event.preventDefault();
    does();
  }

  /* The page is built by its framework, so the dialog is furnished when it is first opened. */
  let furnished = false;
  function furnish() {
    if (furnished) return;
    furnished = true;
    const stage = document.getElementById("stage");
    titles = JSON.parse(stage.dataset.titles);
    charts = Object.keys(titles);
    const slider = document.createElement("input");
    slider.type = "range";
    slider.step = "1";
    slider.id = "stage-slider";
    part("sessions").insertBefore(slider, part("count"));
    slider.addEventListener("input", moved);
    stage.addEventListener("keydown", press);
    stage.addEventListener("close", left);
    stage.addEventListener("click", (event) => {
      const button = event.target instanceof Element && event.target.closest("[data-do]");
      if (button) DOES[button.dataset.do]();
    });
  }

  crestline.actions.stage = () => {
    furnish();
    enter();
  };
  document.addEventListener("keydown", (event) => {
    const button = event.target instanceof Element && event.target.closest("[data-action=stage]");
    if (button && event.key.toLowerCase() === "s" && !event.ctrlKey && !event.metaKey) {
      crestline.actions.stage();
    }
  });
  crestline.onAnswer((lane) => {
    if (shown === null) return;
    setSlider();
    refresh();
    if (lane === "next") tell(part("title").textContent);
  });
  window.addEventListener("resize", () => {
    if (shown === null) return;
    fit();
    draw();
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", refresh);
  window.addEventListener("crestline-page", (event) => {
    if (shown !== null && event.detail !== "host") leave();
  });
})();
