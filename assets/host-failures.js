/* What does the event in the link do to the host that the sliders show?

   Asked only while there is an event, at once when it is chosen and else when the sliders rest:
   one question is under way and the newest waits. Until its answer is there, the last one is
   shown as being of earlier inputs. */
(function () {
  "use strict";

  const PATIENCE_MS = 20000;
  const crestline = window.crestline;
  const root = document.documentElement;
  let wanted = null; // scenario and event to ask about next
  let busy = null; // those that are being asked about
  let held = null; // the answer shown, and what it was asked for

  function part(name) {
    return document.getElementById("host-event-" + name);
  }

  function whole() {
    return document.getElementById("host-event");
  }

  function question() {
    const event = crestline.beside("if");
    const scenario = crestline.scenario();
    return event === null || scenario === null ? null : { scenario: scenario, event: event };
  }

  function same(one, other) {
    if (one === null || other === null) return false;
    return one.scenario === other.scenario && one.event === other.event;
  }

  function want() {
    const now = question();
    if (root.dataset.page !== "host") return;
    if (now === null) clear();
    else if (same(now, held)) mark();
    else {
      wanted = now;
      mark();
      pump();
    }
  }

  function pump() {
    if (busy !== null || wanted === null) return;
    busy = wanted;
    wanted = null;
    const asked = busy;
    fetch("/answer/failure", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(asked),
      signal: AbortSignal.timeout(PATIENCE_MS),
    })
      .then((response) => response.json())
      .then((answer) => take(answer, asked))
      .catch(() => wrong(asked, whole().dataset.unanswered))
      .finally(() => {
        busy = null;
        mark();
        pump();
      });
  }

  function take(answer, asked) {
    if (answer.failure || answer.error) {
      const message = answer.failure || answer.error.message;
      wrong(asked, whole().dataset.outdated + " " + message);
      return;
    }
    if (crestline.beside("if") !== asked.event) return; // another one was chosen meanwhile
    held = Object.assign({ answer: answer }, asked);
    paint();
  }

  /* A wrong input is told where it was typed; here only what is seen is marked. */
  function wrong(asked, message) {
    if (same(asked, question())) crestline.setText("host-event-wrong", message);
  }

  function clear() {
    wanted = null;
    held = null;
    whole().hidden = true;
    ["sentence", "wrong", "rush", "note"].forEach((name) => {
      crestline.setText("host-event-" + name, "");
    });
    part("table").replaceChildren();
    delete root.dataset.paintedfailure;
  }

  function paint() {
    const answer = held.answer;
    whole().hidden = false;
    crestline.setText("host-event-wrong", "");
    crestline.setText("host-event-sentence", answer.refused || answer.sentence);
    crestline.setText("host-event-rush", answer.rush || "");
    crestline.setText("host-event-note", answer.note || "");
    if (answer.table) crestline.events.table(part("table"), answer.table);
    else part("table").replaceChildren();
    root.dataset.paintedfailure = held.event;
  }

  /* Whether what is seen belongs to what is shown. */
  function current() {
    return same(question(), held);
  }

  function mark() {
    const now = question();
    if (now === null) return;
    if (held === null || held.event !== now.event) { // never of another event
      const message = part("wrong").textContent;
      held = null;
      ["sentence", "rush", "note"].forEach((name) => crestline.setText("host-event-" + name, ""));
      part("table").replaceChildren();
      delete root.dataset.paintedfailure;
      whole().hidden = false;
      if (busy !== null || wanted !== null) {
        crestline.setText("host-event-sentence", whole().dataset.working);
        if (message) crestline.setText("host-event-wrong", "");
      }
    }
    whole().classList.toggle("outdated", held !== null && !current());
    whole().setAttribute("aria-busy", String(busy !== null || wanted !== null));
  }

  /* On paper the line is that of the inputs on the sheet, or says that it is missing. */
  function onPaper() {
    const line = document.getElementById("sheet-event");
    if (!line) return;
    if (question() === null) line.textContent = "";
    else if (current()) line.textContent = held.answer.refused || held.answer.sentence;
    else line.textContent = line.dataset.missing;
  }

  window.addEventListener("crestline-beside", (event) => {
    if (event.detail === "if") want();
  });
  window.addEventListener("crestline-page", want);
  new MutationObserver((changes) => {
    const rested = changes.some((change) => change.attributeName === "data-settled");
    if (rested) want();
    else mark();
  }).observe(root, { attributes: true, attributeFilter: ["data-settled", "data-asked"] });
  window.addEventListener("beforeprint", onPaper);
})();
