/* How does a customer see the card cut the peaks of a day?

   A play head moves over one simulated day that comes over in one piece; the card is switched on
   and off meanwhile. What then happens is in host-play-day.js, how it is drawn in
   host-play-drawing.js; here are the dialog, the head, the keys and the numbers. */
(function () {
  "use strict";

  const SPEEDS = [1, 10, 60, 300, 600];
  const LONGEST_STEP_MS = 100; // a window that was hidden goes on where it was
  const READ_OUT_MS = 120; // between changes of the numbers: faster ones cannot be read
  const { make } = window.crestline;

  let dialog = null;
  let parts = {}; // of the dialog, by name
  let words = {};
  let day = null; // what is played
  let dayOf = null; // the scenario that it belongs to, as text
  let plots = null; // of that day; null while there is none to be seen
  const state = {
    head: 0, // [s] after the start of the day
    playing: false,
    speed: 300,
    last: 0, // when the last frame was drawn, and the last numbers written [ms]
    readOut: 0,
    frames: 0, // drawn
    next: 0, // frame asked for
    ask: 0, // newest question
  };

  // ---- moving the head -------------------------------------------------------------------

  function second() {
    return Math.min(Math.floor(state.head), day.last);
  }

  function startOver() {
    day.restart();
    moveTo(0);
  }

  function switchCard() {
    if (day.oneCourse) return;
    day.switchAt(second());
    say(`${words[day.cardOn[second()] ? "card_on" : "card_off"]}, ${day.clock(second())}`);
    render();
  }

  function play() {
    if (second() >= day.last) state.head = 0;
    state.playing = true;
    state.last = 0;
    say(`${words.play}, ${state.speed}x`);
    mark();
    cancelAnimationFrame(state.next);
    state.next = requestAnimationFrame(frame);
  }

  function pause() {
    say(`${words.pause}, ${day.clock(second())}`);
    state.playing = false;
    mark();
    render();
  }

  function frame(now) {
    if (!state.playing || !dialog.open) return;
    if (state.last) {
      const ms = Math.min(now - state.last, LONGEST_STEP_MS);
      state.head = Math.min(state.head + (ms / 1000) * state.speed, day.last);
    }
    state.last = now;
    day.playTo(second());
    plots.draw(state.head, state.speed);
    if (now - state.readOut >= READ_OUT_MS) {
      state.readOut = now;
      readOut(false);
    }
    state.frames += 1;
    if (state.head >= day.last) pause();
    else state.next = requestAnimationFrame(frame);
  }

  function moveTo(head) {
    state.head = Math.min(Math.max(head, 0), day.last);
    day.playTo(second());
    render();
  }

  function setSpeed(speed) {
    state.speed = speed;
    mark();
    render();
  }

  const KEYS = {
    ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1,
    PageUp: 900, PageDown: -900, Home: -Infinity, End: Infinity,
  };

  function press(event) {
    if (!plots || event.ctrlKey || event.metaKey || event.altKey) return;
    const onButton = event.target instanceof HTMLButtonElement;
    if (event.key in KEYS) {
      const step = KEYS[event.key];
      moveTo(second() + (event.shiftKey && Math.abs(step) === 1 ? step * 60 : step));
    } else if (event.key === " " && !onButton) {
      if (state.playing) pause();
      else play();
    } else if (event.key.toLowerCase() === "c") {
      if (!event.repeat) switchCard();
    } else return;
    event.preventDefault();
  }

  // ---- words and numbers -----------------------------------------------------------------

  function two(number) {
    return String(number).padStart(2, "0");
  }

  function percent(value) {
    return value < 999.5 ? value.toFixed(0) : "> 999";
  }

  function keptText(kept) {
    return kept < 100 && kept >= 99.5 ? (Math.floor(kept * 10) / 10).toFixed(1) : kept.toFixed(0);
  }

  function workText(work) {
    if (work === 0) return "0";
    return work < 10 ? work.toFixed(1) : Math.round(work).toLocaleString("en");
  }

  function duration(seconds) {
    return `${Math.floor(seconds / 60)}:${two(seconds % 60)}`;
  }

  const ROWS = {
    demand: (course, s) => percent(course.demand[s]),
    kept: (course, s) => keptText(course.kept[s]),
    waiting: (course, s) => workText(course.waiting[s]),
    slots: (course, s, cardOn) => (cardOn ? String(day.slotsInUse[s]) : "0"),
    peak: (course, s) => percent(course.highest[s]),
    above: (course, s) => duration(course.above[s]),
  };

  function columns() {
    const s = second();
    if (day.oneCourse) return { played: [day.played, 0] };
    return {
      played: [day.played, day.cardOn[s]], software: [day.courses[0], 0],
      offloaded: [day.courses[1], 1],
    };
  }

  function put(element, text) {
    if (element && element.textContent !== text) element.textContent = text;
  }

  function say(text) {
    put(parts.said, text);
  }

  function readOut(atRest) {
    const s = second();
    const on = day.cardOn[s] === 1;
    const demand = day.played.demand[s];
    put(parts.clock, day.clock(s));
    put(parts.present, String(day.present[s]));
    put(parts.demand, percent(demand));
    parts.demand.parentElement.style.setProperty("--digits", Math.max(percent(demand).length, 3));
    Object.entries(columns()).forEach(([name, [course, cardOn]]) => {
      Object.keys(ROWS).forEach((row) => {
        put(parts[`${name}-${row}`], ROWS[row](course, s, cardOn));
      });
    });
    const lost = 100 - day.played.kept[s];
    let told = words.fits;
    if (lost > 0) told = words.drops.replace("{}", lost < 1 ? "under 1" : lost.toFixed(0));
    if (day.played.waiting[s] > 0) told = words.waits + (lost > 0 ? `; ${told}` : "");
    put(parts.fits, told);
    dialog.dataset.card = on ? "on" : "off";
    dialog.dataset.full = demand > 100 ? "yes" : "no";
    dialog.dataset.second = String(s);
    if (parts.card) {
      parts.card.setAttribute("aria-checked", String(on));
      put(parts.cardState, on ? words.on : words.off);
    }
    if (parts.head.value !== String(s)) parts.head.value = String(s);
    if (atRest) parts.head.setAttribute("aria-valuetext", day.clock(s));
  }

  function mark() {
    dialog.dataset.playing = state.playing ? "yes" : "no";
    dialog.dataset.speed = String(state.speed);
    put(parts.play, state.playing ? words.pause : words.play);
    parts.speeds.forEach((button) => {
      button.setAttribute("aria-pressed", String(Number(button.dataset.speed) === state.speed));
    });
  }

  /* After anything but the head's own way. */
  function render() {
    if (!plots || !dialog.open) return;
    plots.draw(state.head, state.speed);
    readOut(!state.playing);
  }

  // ---- the dialog ------------------------------------------------------------------------

  function button(text, attributes, act) {
    const element = make("button", Object.assign({ type: "button", text: text }, attributes));
    element.addEventListener("click", (event) => {
      act();
      if (event.detail && parts.head) parts.head.focus(); // a click leaves the keys to the head
    });
    return element;
  }

  function plot(name, title, options) {
    const canvas = make("canvas", { role: "img", "aria-label": title });
    const head = make("div", { class: "play-line", "aria-hidden": "true" });
    plots.add(name, canvas, head, options);
    return make("figure", { class: `play-plot play-${name}` }, [
      make("figcaption", { text: title }),
      make("div", { class: "play-canvas" }, name === "now" ? [canvas] : [canvas, head]),
    ]);
  }

  function table() {
    const names = Object.keys(columns());
    const titles = { played: words.played, software: words.without, offloaded: words.with };
    if (day.oneCourse) titles.played = words.only;
    const cell = (name, row) => {
      parts[`${name}-${row}`] = make("td", { class: `play-of-${name}`, id: `play-${name}-${row}` });
      return parts[`${name}-${row}`];
    };
    const rows = Object.keys(ROWS).filter((row) => row !== "slots" || !day.oneCourse);
    const head = names.map((name) =>
      make("th", { scope: "col", class: `play-of-${name}`, text: titles[name] }));
    return make("table", { class: "play-table" }, [
      make("thead", {}, [make("tr", {}, [make("td"), ...head])]),
      make("tbody", {}, rows.map((row) => {
        const [title, unit] = words.rows[row];
        const header = make("th", { scope: "row", text: `${title} ` }, [
          make("span", { class: "unit", text: `[${unit.replace("{}", String(day.slots))}]` }),
        ]);
        return make("tr", {}, [header, ...names.map((name) => cell(name, row))]);
      })),
    ]);
  }

  function cardSwitch() {
    if (day.oneCourse) {
      const why = day.cards ? words.no_share : words.no_card;
      return make("p", { class: "play-no-card", id: "play-no-card", text: why });
    }
    parts.card = button("", {
      class: "play-card", id: "play-card", role: "switch", "aria-checked": "false",
      "aria-label": words.card, "aria-keyshortcuts": "c", title: words.switch_note,
    }, switchCard);
    parts.cardState = make("b", { id: "play-card-state", "aria-hidden": "true" });
    parts.card.append(make("span", { text: words.card, "aria-hidden": "true" }), parts.cardState);
    return parts.card;
  }

  function transport() {
    parts.play = button(words.play, { class: "play-go", id: "play-go" },
      () => (state.playing ? pause() : play()));
    parts.speeds = SPEEDS.map((speed) =>
      button(`${speed}x`, { "data-speed": String(speed) }, () => setSpeed(speed)));
    const step = (name, seconds) => button(words[name], {}, () => moveTo(second() + seconds));
    return make("div", { class: "play-transport" }, [
      parts.play,
      step("back_minute", -60), step("back_second", -1), step("on_second", 1),
      step("on_minute", 60),
      make("span", { class: "play-speeds", role: "group", "aria-label": words.speed }, [
        make("span", { text: words.speed, "aria-hidden": "true" }), ...parts.speeds,
      ]),
      button(words.busiest, { id: "play-busiest" }, () => moveTo(day.busiest)),
      button(words.restart, { id: "play-restart" }, startOver),
    ]);
  }

  function build() {
    dialog = make("dialog", { id: "play", class: "play", "aria-labelledby": "play-title" });
    document.body.append(dialog);
    dialog.addEventListener("keydown", press);
    dialog.addEventListener("close", () => {
      state.playing = false;
      state.ask += 1;
    });
    new ResizeObserver(resize).observe(dialog);
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", resize);
    window.addEventListener("crestline-page", close);
    window.addEventListener("popstate", close);
  }

  function resize() {
    if (!plots || !dialog.open) return;
    plots.resize();
    render();
  }

  function close() {
    if (dialog && dialog.open) dialog.close();
  }

  /* The frame around the day, there before the day is. */
  function frameOf(title) {
    parts = {
      said: make("p", { class: "hidden-label", role: "status", id: "play-said" }),
      told: make("p", { class: "play-told", id: "play-told", text: "Simulating a day ..." }),
      about: make("p", { class: "play-about" }),
      body: make("div", { class: "play-body" }),
    };
    parts.close = button("Close", { id: "play-close" }, close);
    dialog.replaceChildren(
      make("div", { class: "play-top" }, [
        make("h2", { id: "play-title", text: title }), parts.about, parts.close,
      ]),
      parts.told, parts.body, parts.said
    );
  }

  function show() {
    words = day.words;
    plots = window.crestline.dayPlots(day, dialog);
    layOut();
    put(parts.told, "");
    put(parts.about, words.about);
    put(parts.close, words.close);
    mark();
    plots.resize();
    startOver();
    parts.head.focus();
    if (!window.matchMedia("(prefers-reduced-motion: reduce)").matches) play();
  }

  function layOut() {
    parts.clock = make("p", { class: "play-clock", id: "play-clock" });
    parts.present = make("b", { id: "play-present" });
    parts.demand = make("b", { id: "play-demand" });
    parts.fits = make("p", { class: "play-fits", id: "play-fits" });
    parts.head = make("input", {
      type: "range", id: "play-head", min: "0", max: String(day.last), step: "1",
      value: "0", "aria-label": words.at,
    });
    parts.head.addEventListener("input", () => moveTo(Number(parts.head.value)));
    const high = day.oneCourse ? 0 : 22;
    const arms = [["software", day.oneCourse ? words.only : words.without]];
    if (!day.oneCourse) arms.push(["offloaded", words.with]);
    const strip = plot("strip", words.strip, { small: true, ribbon: high });
    strip.append(parts.head);
    parts.body.replaceChildren(
      make("section", { class: "play-read", "aria-label": words.at }, [
        make("div", { class: "play-when" }, [
          parts.clock,
          make("p", { class: "play-present" }, [parts.present, ` ${words.present}`]),
        ]),
        cardSwitch(),
        make("p", { class: "play-demand" }, [
          parts.demand, make("i", { text: " %" }), make("span", { text: words.demand_of }),
        ]),
        parts.fits,
        table(),
      ]),
      make("div", { class: "play-charts" }, [
        plot("now", day.oneCourse ? words.axis : words.window, { ribbon: high }),
        make("div", { class: "play-arms" }, arms.map(([name, title]) =>
          plot(name, `${title}: ${words.whole_day}`, { small: true }))),
        strip,
      ]),
      transport(),
      make("div", { class: "play-foot" }, [
        make("p", { text: words.keys }), make("p", { text: words.caution }),
      ])
    );
  }

  function open(asking) {
    const scenario = window.crestline.scenario();
    if (scenario === null) return;
    if (!dialog) build();
    frameOf(asking.textContent);
    plots = null;
    state.playing = false;
    state.ask += 1;
    const mine = state.ask;
    dialog.dataset.playing = "no";
    dialog.showModal();
    if (dayOf === scenario) {
      show();
      return;
    }
    fetch("/play", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ scenario: scenario }),
    })
      .then((response) => response.json())
      .catch(() => ({ failure: "The server does not answer. Close and try again." }))
      .then((answer) => {
        if (mine !== state.ask || !dialog.open) return;
        if (answer.error || answer.failure) {
          put(parts.told, answer.failure || answer.error.message);
          return;
        }
        day = window.crestline.playedDay(answer);
        dayOf = scenario;
        show();
      });
  }

  window.crestline.actions.play = open;
  window.crestline.framesPlayed = () => state.frames; // read by the benchmark
})();
