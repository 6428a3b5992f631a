/* With which tools do the scripts of the Evidence page ask the server, draw, and show what is
   under way?

   What people wrote is put on the page as text, never as markup. Reading and searching are jobs of
   the server, which are followed here and can be cancelled. Other scripts hear of what was done by
   the window's event "crestline-evidence": read, confirmed or removed. */
(function () {
  "use strict";

  const BASE = "/evidence-data";
  const POLL_MS = 200;
  const { make, button, count } = window.crestline;
  let busy = null; // what can be cancelled: a function, while something is under way
  let held = false; // whether a button of the mouse is down

  /* ---- small tools ---- */

  /* Replace what a place shows; what had the focus gets it again by its data-key. */
  function put(id, ...children) {
    const place = document.getElementById(id);
    if (!place) return;
    const within = place.contains(document.activeElement);
    const key = within ? document.activeElement.dataset.key : null;
    const unfolded = new Set(
      [...place.querySelectorAll("details[open][data-key]")].map((each) => each.dataset.key)
    );
    place.replaceChildren(...children.flat(Infinity).filter((child) => child !== null));
    place.querySelectorAll("details[data-key]").forEach((each) => {
      if (unfolded.has(each.dataset.key)) each.open = true;
    });
    if (!key) return;
    const again = [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === key);
    if (again) again.focus({ preventScroll: true });
  }

  async function ask(path, body) {
    const options = { headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.method = "POST";
      options.headers["Content-Type"] = "application/json";
      options.body = JSON.stringify(body);
    }
    try {
      return await (await fetch(path.startsWith("/") ? path : BASE + "/" + path, options)).json();
    } catch {
      return { failure: "The server does not answer. Try again in a moment." };
    }
  }

  /* What went wrong, in a sentence; null where nothing did. */
  function trouble(told) {
    if (told.failure) return told.failure;
    return told.error ? told.error.message : null;
  }

  function tellAll(step) {
    window.dispatchEvent(new CustomEvent("crestline-evidence", { detail: { step: step } }));
  }

  /* Draw once the mouse is let go: a button that is redrawn while it is pressed hears no click. */
  function whenReleased(act) {
    if (!held) act();
    else window.addEventListener("pointerup", () => setTimeout(act, 0), { once: true });
  }
  window.addEventListener("pointerdown", () => { held = true; }, true);
  ["pointerup", "pointercancel", "dragend"].forEach((name) => {
    window.addEventListener(name, () => { held = false; }, true);
  });

  let labels = 0;

  /* A label above or before its control. */
  function labelled(text, control, help) {
    labels += 1;
    if (!control.id) control.id = "evidence-field-" + labels;
    const told = help ? make("small", { class: "help", id: control.id + "-help" }, help) : null;
    if (told) control.setAttribute("aria-describedby", told.id);
    return make("div", { class: "evidence-field" },
      make("label", { for: control.id }, text), control, told);
  }

  function select(options, value, act, more) {
    const control = make("select", { onchange: (event) => act(event.target.value), ...more },
      options.map(([key, label]) =>
        make("option", { value: key, selected: key === value }, label)));
    control.value = value;
    return control;
  }

  /* ---- what is under way: a bar, words and a way out ---- */

  function progress(place, words, share, cancel) {
    const id = place + "-bar";
    let box = document.getElementById(id);
    if (words === null) {
      if (box) box.remove();
      return;
    }
    if (!box) {
      const bar = make("progress", { max: "1", "aria-label": "Progress" });
      box = make("div", { id: id, class: "evidence-progress" },
        make("span", { role: "status" }), bar, button("Cancel", () => busy && busy()));
      document.getElementById(place).append(box);
    }
    if (cancel) busy = cancel;
    box.querySelector("span").textContent = words;
    const bar = box.querySelector("progress");
    if (share === null) bar.removeAttribute("value");
    else bar.value = share;
  }

  /* Follow the job under way until it is over; shows it in a place and returns its last state. */
  async function follow(place) {
    const stop = () => ask("cancel", {});
    for (;;) {
      const told = await ask("/evidence/job");
      const job = told.job;
      if (trouble(told) || !job || job.state !== "running") {
        progress(place, null);
        busy = null;
        return job || { state: "failed", failure: trouble(told) || "There is nothing under way." };
      }
      progress(place, job.words || "Starting.", job.share > 0 ? job.share : null, stop);
      await new Promise((resolve) => setTimeout(resolve, POLL_MS));
    }
  }

  /* What the other scripts of this page may use; evidence-logs.js adds what is known of logs. */
  window.crestlineEvidence = {
    BASE: BASE,
    ask: ask, // ask("logs") or ask("toggles", body): JSON of /evidence-data/...
    trouble: trouble,
    progress: progress, // progress(id of a place, words or null, share or null, function to cancel)
    follow: follow, // follow(id of a place): shows the job under way, returns its last state
    busy: () => busy !== null,
    free: () => { busy = null; },
    tellAll: tellAll,
    tools: { make: make, button: button, put: put, labelled: labelled, select: select, count: count,
      whenReleased: whenReleased },
  };
})();
