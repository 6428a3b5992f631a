/* How do the numbers behind the page reach a file?

   A button fetches a chart's table, or the whole answer, from the address that scripts use too,
   with the query of the page's own address. A scenario too long for a link is sent along instead.
   What the server refuses is told on the page; a plain link would only fail to download. */
(function () {
  "use strict";

  function isTooLongForALink() {
    const note = document.getElementById("link-note");
    return note !== null && note.textContent !== "";
  }

  /* Where to ask, and with what; null before the first answer. */
  function question(path) {
    const page = window.crestline;
    if (page.query() === null) return null;
    if (!isTooLongForALink()) {
      const told = page.sure() === null ? {} : { headers: { "Crestline-Sure": page.sure() } };
      return { address: path + (page.query() ? "?" + page.query() : ""), options: told };
    }
    const headers = { "Content-Type": "application/json" };
    if (page.sure() !== null) headers["Crestline-Sure"] = page.sure();
    const body = JSON.stringify({
      scenario: JSON.parse(page.scenario()),
      pin: page.pin(),
      event: page.beside("if"),
    });
    return { address: path, options: { method: "POST", headers: headers, body: body } };
  }

  function save(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000); // once the browser has taken it
  }

  /* Take the name from the answer, or else from the path. */
  function nameOf(response, path) {
    const told = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition") || "");
    return told ? told[1] : path.split("/").pop();
  }

  async function fetchNumbers(button, path) {
    const asked = question(path);
    if (asked === null || button.getAttribute("aria-busy") === "true") return;
    button.setAttribute("aria-busy", "true");
    try {
      const response = await fetch(asked.address, asked.options);
      if (response.ok) {
        save(await response.blob(), nameOf(response, path));
        window.crestline.setText("failure", "");
      } else {
        const { error } = await response.json();
        window.crestline.setText("failure", "The numbers could not be saved. " + error.message);
      }
    } catch {
      const told = "The numbers could not be saved: the server does not answer.";
      window.crestline.setText("failure", told);
    } finally {
      button.removeAttribute("aria-busy");
    }
  }

  window.crestline.actions.numbers = (button) =>
    fetchNumbers(button, "/numbers/" + button.dataset.chart + ".csv");
  window.crestline.actions.assessment = (button) => fetchNumbers(button, "/api/assess");
})();
