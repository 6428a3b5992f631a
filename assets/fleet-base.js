/* Which fleet is looked at, and how does its answer follow what is typed?

   The server reads and writes the text of the link and works everything out (app/fleet_web.py).
   The fleet stands beside the scenario in the address. In each lane (the plan, the break-even map,
   an event) one question is under way and the newest waits. Where the scenario's roles change,
   renamed roles keep their sessions, and those of a removed role are kept until they are removed
   here. */
(function () {
  "use strict";

  const WATCHDOG_MS = 180000; // a hundred sites of different mixes take their time
  const WORKING_MS = 700; // after which it is told that something is worked out
  const LONGEST_LINK = 16384; // characters, as the server reads them
  const crestline = window.crestline;
  const root = document.documentElement;
  const lanes = {};
  let data = null; // the fleet as the controls show it
  let roles = []; // of the scenario that it was read beside
  let known; // text of the fleet in the link; undefined before it was first read
  let reading = false;
  let again = false; // something changed while a fleet was read
  let sequence = 0;
  let choice = null; // place of the host choice that is looked at closer; null for the cheapest
  let role = null; // whose share is moved; null for the one with the most display work

  const MATTERS = { // what a lane's answer depends on
    plan: ["scenario", "fleet", "theme", "choice"],
    map: ["scenario", "fleet", "theme", "choice", "role"],
    event: ["scenario", "fleet", "choice", "event"],
  };
  Object.keys(MATTERS).forEach((name) => {
    lanes[name] = { name: name, busy: false, next: null, asked: "" };
  });

  function about() {
    about.found = about.found || JSON.parse(document.getElementById("fleet-about").dataset.fields);
    return about.found;
  }

  function onPage() {
    return root.dataset.page === "fleet";
  }

  async function post(address, question, signal) {
    const response = await fetch(address, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(question),
      signal: signal,
    });
    return response.json();
  }

  function tell(text) {
    crestline.setText("failure", text);
  }

  /* ---- the fleet of the link ---- */

  function scenarioRoles() {
    return JSON.parse(crestline.scenario()).roles.map((each) => each.name);
  }

  function isSame(one, other) {
    return one.length === other.length && one.every((name, at) => name === other[at]);
  }

  /* Roles renamed at their place take their sessions along; other changes keep names. */
  function withNewNames(before, after) {
    if (before.length !== after.length) return;
    before.forEach((name, at) => {
      if (name === after[at] || after.includes(name) || before.includes(after[at])) return;
      data.sites.forEach((site) => {
        if (!Object.hasOwn(site.sessions, name)) return;
        site.sessions[after[at]] = site.sessions[name];
        delete site.sessions[name];
      });
    });
  }

  async function follow() {
    if (crestline.scenario() === null || !document.getElementById("fleet-about")) return;
    if (reading) {
      again = true;
      return;
    }
    const link = crestline.beside("fleet");
    const present = scenarioRoles();
    if (known !== link || data === null) {
      if (onPage() || link !== null) await read({ link: link });
    } else if (!isSame(roles, present)) {
      if (link !== null) withNewNames(roles, present);
      await read(link === null ? { link: null } : { fleet: data });
    }
    if (again) {
      again = false;
      follow();
    } else if (onPage()) ask();
  }

  async function read(what) {
    reading = true;
    const before = crestline.beside("fleet");
    const present = scenarioRoles();
    try {
      const told = await post("/fleet/read", { scenario: crestline.scenario(), ...what });
      if (told.error || told.failure) {
        if (what.fleet) roles = present; // kept as it is; the plan says what is wrong
        else known = before;
        tell(told.failure || told.error.message);
      } else if (what.link !== undefined && crestline.beside("fleet") !== before) again = true;
      else {
        data = told.fleet;
        roles = told.roles;
        choice = what.fleet ? choice : null;
        setLink(told.link || null);
        window.crestline.fleet.drawInputs();
      }
    } catch {
      tell("The server does not answer; what you see is the last result.");
    }
    reading = false;
  }

  function setLink(text) {
    known = text;
    crestline.setBeside("fleet", text);
    const back = document.getElementById("fleet-to-example");
    if (back) back.hidden = text === null;
    const whole = crestline.query();
    const long = whole !== null && whole.length > LONGEST_LINK;
    crestline.setText("fleet-link-note", long ? about().too_long : "");
  }

  /* ---- questions ---- */

  function question() {
    return {
      scenario: crestline.scenario(),
      fleet: data,
      event: crestline.beside("if"),
      theme: crestline.theme(),
      choice: choice,
      role: role,
    };
  }

  function ask() {
    if (data === null) return;
    const asking = question();
    const keys = {};
    Object.values(lanes).forEach((lane) => {
      keys[lane.name] = JSON.stringify(MATTERS[lane.name].map((name) => asking[name]));
    });
    if (Object.values(lanes).every((lane) => lane.asked === keys[lane.name])) return;
    sequence += 1;
    root.dataset.fleetasked = String(sequence);
    const body = JSON.stringify({ sequence: sequence, ...asking });
    Object.values(lanes).forEach((lane) => {
      if (lane.asked === keys[lane.name]) {
        if (!lane.busy) root.dataset["fleet" + lane.name] = String(sequence);
        else lane.also = sequence;
        return;
      }
      lane.asked = keys[lane.name];
      lane.next = { sequence: sequence, body: body };
      pump(lane);
    });
  }

  function pump(lane) {
    if (lane.busy || lane.next === null) return;
    const asking = lane.next;
    lane.next = null;
    lane.busy = true;
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), WATCHDOG_MS);
    setTimeout(tellWorking, WORKING_MS);
    lane.since = performance.now();
    fetch("/fleet/" + lane.name, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: asking.body,
      signal: patience.signal,
    })
      .then((response) => response.json())
      .then((envelope) => show(lane, asking, envelope))
      .catch(() => {
        lane.asked = "";
        tell("The server does not answer; what you see is the last result.");
      })
      .finally(() => {
        clearTimeout(timer);
        lane.busy = false;
        root.dataset["fleet" + lane.name] = String(Math.max(asking.sequence, lane.also || 0));
        pump(lane);
        tellWorking();
      });
  }

  function tellWorking() {
    const now = performance.now();
    const long = Object.values(lanes).some((each) => each.busy && now - each.since >= WORKING_MS);
    crestline.setText("fleet-working", long ? about().working : "");
  }

  function show(lane, asking, envelope) {
    if (envelope.failure) {
      lane.asked = "";
      tell(envelope.failure);
      return;
    }
    const newest = lane.next === null;
    if (envelope.error) {
      if (lane.name === "plan" && newest) window.crestline.fleet.showError(envelope.error);
      else if (lane.name === "event" && envelope.error.field.startsWith("if")) {
        window.crestline.fleet.showEventError(envelope.error);
      }
      return;
    }
    tell("");
    const answer = JSON.parse(envelope.text);
    if (lane.name === "plan" && newest) {
      window.crestline.fleet.clearErrors();
      const another = reading || crestline.beside("fleet") !== known; // a link is being opened
      if (!another) setLink(answer.link || null);
    }
    window.crestline.fleet.paint(lane.name, answer);
  }

  window.crestline.fleet = {
    about: about,
    data: () => data,
    roles: () => roles,
    changed: ask, // after a change of data()
    toExample: () => {
      choice = null;
      crestline.setBeside("fleet", null);
    },
    look: (at) => {
      choice = at;
      ask();
    },
    move: (name) => {
      role = name;
      ask();
    },
    forgetChoice: () => {
      choice = null;
    },
    question: question,
    post: post,
    tell: tell,
    make: (...given) => crestline.shelf.make(...given),
    button: (...given) => crestline.shelf.button(...given),
  };

  crestline.onAnswer((lane) => {
    if (lane === "curve") follow();
  });
  window.addEventListener("crestline-beside", (event) => {
    if (event.detail === "fleet" && crestline.beside("fleet") !== known) follow();
    if (event.detail === "if" && onPage()) ask();
  });
  window.addEventListener("crestline-page", (event) => {
    if (event.detail !== "fleet") return;
    follow();
    window.dispatchEvent(new Event("resize"));
  });
})();
