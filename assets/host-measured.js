/* Which numbers of the scenario were measured? Said beside their boxes on the Host page. */
(function () {
  "use strict";

  let marks = []; // of the newest curves

  function markMeasured() {
    const told = Object.fromEntries((marks || []).map((mark) => ["measured-" + mark.path, mark]));
    document.querySelectorAll("#controls .measured").forEach((place) => {
      const mark = told[place.id];
      const text = mark ? mark.told : "";
      if (place.textContent === text) return;
      place.textContent = text;
      place.title = mark ? mark.about : "";
    });
  }

  window.crestline.onAnswer((lane, answer) => {
    if (lane !== "curve") return;
    marks = answer.measured;
    markMeasured();
    setTimeout(markMeasured, 500); // the framework may have drawn the boxes anew
  });
})();
