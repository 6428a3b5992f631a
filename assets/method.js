/* How does the text of the Method page get there, and how is something found in its tables?

   The text comes from the server (see app/pages/method.py) when the page is first opened; it holds
   nothing that anybody typed. Lines of a table without all the words of its box are hidden. */
(function () {
  "use strict";

  const ADDRESS = "/method-text";
  let asked = false;

  function place() {
    return document.getElementById("method-text");
  }

  async function fill() {
    if (asked || !place()) return;
    asked = true;
    try {
      const response = await fetch(ADDRESS);
      const text = new DOMParser().parseFromString(await response.text(), "text/html");
      place().replaceChildren(...[...text.body.childNodes].map((each) => document.adoptNode(each)));
      if (!response.ok) asked = false;
      else document.documentElement.dataset.method = "shown";
      toAnchor();
    } catch {
      asked = false;
      const again = document.createElement("button");
      again.type = "button";
      again.textContent = "The server does not answer. Try again";
      again.addEventListener("click", fill);
      place().replaceChildren(again);
    }
  }

  /* The browser looks for the anchor of the address before the text is there. */
  function toAnchor() {
    const id = decodeURIComponent(window.location.hash.slice(1));
    const target = id && document.getElementById(id);
    if (target && place().contains(target)) target.scrollIntoView();
  }

  function filter(box) {
    const wanted = box.value.toLowerCase().split(/\s+/).filter(Boolean);
    const tables = document.getElementById(box.dataset.filter);
    let found = 0;
    tables.querySelectorAll("tbody").forEach((body) => {
      const group = body.querySelector(".group-head");
      const title = group ? group.textContent.toLowerCase() : "";
      let here = 0;
      [...body.rows].forEach((row) => {
        if (row === group) return;
        const text = title + " " + row.textContent.toLowerCase();
        row.hidden = !wanted.every((word) => text.includes(word));
        here += row.hidden ? 0 : 1;
      });
      body.hidden = here === 0;
      const folded = body.closest("details");
      if (folded) {
        folded.hidden = here === 0;
        folded.open = wanted.length > 0;
      }
      found += here;
    });
    const told = wanted.length ? found + (found === 1 ? " line" : " lines") : "";
    document.getElementById(box.dataset.filter + "-found").textContent = told;
  }

  /* Paper has nothing to unfold. */
  window.addEventListener("beforeprint", () => {
    if (place()) place().querySelectorAll("details").forEach((each) => (each.open = true));
  });
  window.addEventListener("crestline-page", (event) => {
    if (event.detail === "method") fill();
  });
  document.addEventListener("input", (event) => {
    if (event.target.dataset && event.target.dataset.filter) filter(event.target);
  });
})();
