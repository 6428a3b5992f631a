/* How are up to four items of the shelf put side by side? */
(function () {
  "use strict";

  const shelf = window.crestline.shelf;
  const { make, button, put, ask, trouble, notice, save, saveFrom } = shelf;
  const MOST_COMPARED = 4;
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset" };
  const picked = new Map(); // id -> name, in the order of picking
  let compared = null; // the answer that is shown
  let comparing = 0;
  let arm = "offloaded";

  function pick(item, check) {
    if (check.checked && picked.size >= MOST_COMPARED) {
      check.checked = false;
      notice(make("p", {}, "Up to four can be compared; remove one first."));
      return;
    }
    if (check.checked) picked.set(item.id, item.name);
    else picked.delete(item.id);
    drawPicked();
  }

  function unpick(id) {
    picked.delete(id);
    const check = [...document.querySelectorAll("#shelf-list [data-key]")]
      .find((each) => each.dataset.key === "pick " + id);
    if (check) check.checked = false;
    drawPicked();
  }

  function drawPicked() {
    if (!picked.size) {
      put("shelf-picked");
      clearComparison();
      return;
    }
    const before = document.getElementById("shelf-needed");
    const needed = make("input", {
      type: "number", id: "shelf-needed", min: 1, step: 1, "data-key": "needed",
      value: before ? before.value : "", placeholder: "the largest of them",
      onkeydown: (event) => {
        if (event.key === "Enter") compare(false);
      },
    });
    const chips = [...picked].map(([id, name]) =>
      make("li", { dir: "auto" }, name + " ", button("Remove", () => unpick(id), {
        "aria-label": "Remove " + name, "data-key": "unpick " + id,
      })));
    put("shelf-picked",
      make("ul", { class: "shelf-chips" }, chips),
      make("div", { class: "shelf-tools" },
        make("label", { for: needed.id }, "Sessions on all hosts together"), needed,
        button("Compare", () => compare(false), { class: "main", "data-key": "compare" }),
        compared ? button("Numbers", saveTable,
          { "data-key": "csv", title: "Save the table as CSV, for a spreadsheet" }) : null,
        compared ? button("Picture", savePicture,
          { "data-key": "picture", title: "Save the chart as PNG" }) : null),
      make("div", { id: "shelf-compare-wrong", role: "alert", class: "shelf-wrong" }));
  }

  function clearComparison() {
    compared = null;
    put("shelf-table");
    ["shelf-figure", "shelf-hint"].forEach((id) => {
      const part = document.getElementById(id);
      if (part) part.hidden = id === "shelf-figure";
    });
  }

  async function compare(again) {
    const typed = document.getElementById("shelf-needed").value.trim();
    comparing += 1;
    const mine = comparing;
    const told = await ask("/compare", {
      ids: [...picked.keys()],
      needed: typed === "" ? null : Number(typed),
      theme: window.crestline.theme(),
    });
    if (mine !== comparing) return;
    const wrong = trouble(told);
    if (wrong) {
      put("shelf-compare-wrong", make("p", {}, wrong));
      return;
    }
    compared = told;
    drawPicked();
    drawComparison();
    if (!again) document.getElementById("shelf-compare").scrollIntoView();
    document.documentElement.dataset.compared = String(mine);
  }

  function drawComparison() {
    const body = [];
    let section = null;
    compared.rows.forEach((each) => {
      if (each.section !== section) {
        section = each.section;
        body.push(make("tr", { class: "shelf-heading" }, make("th",
          { scope: "colgroup", colspan: compared.names.length + 1 }, section)));
      }
      const label = make("th", { scope: "row", dir: "auto" }, each.label,
        each.unit ? make("span", { class: "unit" }, " [" + each.unit + "]") : null);
      body.push(make("tr", {}, label, each.cells.map((cell) =>
        make("td", { dir: "auto" }, cell))));
    });
    const names = compared.names.map((name) => make("th", { scope: "col", dir: "auto" }, name));
    put("shelf-table", make("div", {
      class: "scroll", tabindex: 0, role: "region", "aria-label": "Comparison table",
    }, make("table", { class: "shelf-table compared" },
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "What"), names)),
      make("tbody", {}, body))));
    document.getElementById("shelf-figure").hidden = false;
    document.getElementById("shelf-hint").hidden = true;
    const radios = compared.arms.map((each) => {
      const input = make("input", {
        type: "radio", name: "shelf-arm", checked: each.arm === arm, "data-key": "arm " + each.arm,
        onchange: () => {
          arm = each.arm;
          drawChart();
        },
      });
      return make("label", { class: "shelf-choice" }, input, each.label);
    });
    put("shelf-arms", make("fieldset", { class: "shelf-where" },
      make("legend", {}, "Curves"), radios));
    drawChart();
  }

  function chosenArm() {
    return compared.arms.find((each) => each.arm === arm);
  }

  function drawChart() {
    const chosen = chosenArm();
    window.crestline.setText("shelf-takeaway", chosen.takeaway);
    window.Plotly.react("chart-shelf", chosen.figure.data, chosen.figure.layout, CONFIG);
  }

  function saveTable() {
    save("crestline-comparison.csv", "text/csv;charset=utf-8", compared.csv);
  }

  function lines(text, longest) {
    const found = [""];
    text.split(" ").forEach((word) => {
      const last = found.length - 1;
      if (found[last] && (found[last] + " " + word).length > longest) found.push(word);
      else found[last] += (found[last] ? " " : "") + word;
    });
    return found.join("<br>");
  }

  async function savePicture() {
    const chosen = chosenArm();
    const sheet = structuredClone(chosen.picture);
    const corner = { xref: "paper", yref: "paper", x: 0, xanchor: "left", align: "left",
      showarrow: false };
    const large = sheet.layout.font.size + 5;
    Object.assign(sheet.layout, {
      margin: { l: 100, r: 40, t: 110, b: 160 },
      font: { ...sheet.layout.font, size: large },
      annotations: [
        ...sheet.layout.annotations,
        { ...corner, text: document.querySelector("#shelf-figure h3").textContent, y: 1,
          yanchor: "bottom", yshift: 66, font: { size: large + 8 } },
        { ...corner, text: lines(chosen.takeaway, 140), y: 1, yanchor: "bottom", yshift: 12 },
        { ...corner, text: lines(compared.caution, 150), y: 0, yanchor: "top", yshift: -90,
          font: { size: large - 3 } },
      ],
    });
    const size = { format: "png", width: 1600, height: 900, scale: 2 };
    saveFrom("crestline-comparison.png", await window.Plotly.toImage(sheet, size));
  }

  function comparesAgain() {
    if (compared && document.documentElement.dataset.page === "shelf") compare(true);
  }
  new MutationObserver(comparesAgain).observe(document.documentElement,
    { attributeFilter: ["data-look"] });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", comparesAgain);
  window.addEventListener("crestline-page", (event) => {
    if (event.detail === "shelf" && compared) window.dispatchEvent(new Event("resize"));
  });

  Object.assign(shelf, {
    pick: pick, // pick(item, its box to tick)
    unpick: unpick,
    isPicked: (id) => picked.has(id),
    renamePicked: (id, name) => {
      if (picked.has(id)) picked.set(id, name);
    },
    drawPicked: drawPicked,
  });
})();
