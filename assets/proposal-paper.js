/* How does a part of the proposal look on paper?

   Its plain data (app/proposal_pieces.py) become elements. What people wrote is put there as
   text, never as markup. Charts are those of the pictures, drawn at one size, their labels apart,
   and then scaled with the paper. */
(function () {
  "use strict";

  const MOST_TOGETHER = 24; // rows of a table that no page break parts
  const LONG_WORD = /\S{25}/; // broken anywhere in the head of a table; others stay whole
  const LONGEST_SHOWN = 96; // characters of a link that is written below a chart
  const figures = new WeakMap(); // of the places on the sheet

  function make(...given) {
    return window.crestline.shelf.make(...given);
  }

  /* What stands in a part: heading, sentences, charts, inputs, tables, lists, links. */
  function content(section, words, date) {
    const heading = make("h2", { dir: "auto" }, section.title);
    if (section.failed) return [heading, make("p", { class: "proposal-wrong" }, section.failed)];
    const said = section.sentences.map((text, at) =>
      make("p", { class: at || text !== section.lead ? null : "proposal-lead", dir: "auto" },
        text));
    const drawn = section.figures.length
      ? [make("div", { class: "proposal-figures" },
        section.figures.map((each) => figure(each, words)))] : [];
    const groups = section.groups.length
      ? [make("div", { class: "proposal-groups" }, section.groups.map(group))] : [];
    const ends = section.key === "close";
    const link = section.figures.length ? null
      : linked(section.link, ends ? words.whole_link : words.texts.link, words);
    return [
      heading, ...said, ...drawn, ...groups, ...section.tables.map(table),
      ...section.lists.map(list),
      ...(link ? [make("p", { class: "proposal-link" }, link)] : []),
      ...(ends ? [make("div", { id: "proposal-links" }),
        make("p", {}, date)] : []),
    ];
  }

  function linked(link, label, words) {
    if (link === null) return make("span", {}, words.texts.no_link);
    const address = window.location.origin + link;
    return make("a", { href: address, "data-link": address, "data-label": label }, label);
  }

  /* A short link stands where it belongs; a long one gets a number, and stands at the end. */
  function numberLinks(sheet, place, words) {
    const long = [];
    sheet.querySelectorAll("a[data-link]").forEach((each) => {
      const { link, label } = each.dataset;
      if (link.length <= LONGEST_SHOWN) {
        each.textContent = label + ": " + link;
        return;
      }
      if (!long.includes(link)) long.push(link);
      each.textContent = label + " [" + (long.indexOf(link) + 1) + "]";
    });
    if (!place) return;
    const listed = long.map((link) => make("li", {}, make("a", { href: link }, link)));
    place.replaceChildren(...(long.length
      ? [make("h3", {}, words.texts.links), make("ol", {}, listed)] : []));
  }

  function figure(told, words) {
    const place = make("div", { class: "proposal-plot", "data-plot": told.name });
    place.style.aspectRatio = told.size_px[0] + " / " + told.size_px[1];
    figures.set(place, told);
    const marks = told.key.map((entry) => {
      const mark = make("span", { class: "proposal-mark", "data-mark": entry.mark });
      mark.style.setProperty("--mark", entry.colour);
      return make("span", {}, mark, entry.label);
    });
    return make("figure", { class: told.whole ? "whole" : null },
      make("figcaption", {}, make("h3", { dir: "auto" }, told.title),
        make("p", { dir: "auto" }, told.takeaway)),
      make("div", { role: "img", "aria-label": told.title + ". " + told.takeaway }, place),
      make("p", { class: "proposal-key" }, marks),
      make("p", { class: "proposal-link" }, linked(told.link, told.opens, words), ". ",
        words.caution));
  }

  function group(told) {
    return make("div", {}, make("h3", {}, told.title),
      make("dl", {}, told.rows.map(([label, value]) =>
        make("div", {}, make("dt", {}, label), make("dd", { dir: "auto" }, value)))));
  }

  function list(told) {
    return make("div", { class: "proposal-list" }, make("h3", {}, told.title),
      make("ul", {}, told.items.map((text) => make("li", { dir: "auto" }, text))));
  }

  function lines(cell) {
    if (!Array.isArray(cell)) return cell;
    return cell.map((text, at) => (at ? [make("br"), text] : text));
  }

  function table(told) {
    const columns = told.head.length;
    const worded = (at, text) => [told.worded.includes(at) ? "worded" : "",
      LONG_WORD.test(text) ? "long" : ""].join(" ").trim() || null;
    const groups = told.groups.length
      ? make("tr", {}, told.groups.map(([text, over]) => make(text ? "th" : "td",
        { colspan: over, scope: text ? "colgroup" : null, class: worded(-1, text), dir: "auto" },
        text))) : null;
    const named = told.head.some((text) => text.length);
    const head = named ? make("tr", {}, told.head.map((text, at) => make(text.length ? "th" : "td",
      { scope: text.length ? "col" : null, class: worded(at, text), dir: "auto" },
      lines(text)))) : null;
    const rows = told.rows.map((row) => (row.length === 1
      ? make("tr", { class: "proposal-heading" },
        make("th", { colspan: columns, scope: "colgroup" }, row[0]))
      : make("tr", {}, row.map((cell, at) => make(at ? "td" : "th",
        { scope: at ? null : "row", class: worded(at, cell), dir: "auto" }, lines(cell))))));
    const grown = make("table", { class: columns > 8 ? "dense" : null },
      groups || head ? make("thead", {}, groups, head) : null, make("tbody", {}, rows));
    const short = told.rows.length <= MOST_TOGETHER;
    return make("div", { class: short ? "proposal-table short" : "proposal-table" },
      told.title ? make("h3", {}, told.title) : null, grown);
  }

  /* ---- charts ---- */

  function undrawn(sheet) {
    return sheet ? [...sheet.querySelectorAll("[data-plot]:not([data-drawn])")] : [];
  }

  /* Draw what is not drawn yet, as long as it may be seen: text that is hidden has no size. */
  async function drawCharts(sheet, maySee) {
    for (let places = undrawn(sheet); places.length && maySee(); places = undrawn(sheet)) {
      const place = places[0];
      place.dataset.drawn = "under way";
      const told = figures.get(place);
      const [width, height] = told.size_px;
      try {
        await window.crestlinePictures.drawStill(place, told.figure, width, height);
      } catch (error) {
        if (place.isConnected) place.textContent = "This chart could not be drawn.";
      }
      place.querySelectorAll(".main-svg").forEach((drawn) => {
        drawn.setAttribute("viewBox", "0 0 " + width + " " + height);
      });
      place.dataset.drawn = "yes";
    }
  }

  function forget(place) {
    place.querySelectorAll("[data-plot]").forEach((each) => window.Plotly.purge(each));
  }

  window.crestlinePaper = {
    content: content, // content(section, words, date)
    numberLinks: numberLinks, // numberLinks(sheet, place of the list, words)
    undrawn: undrawn,
    drawCharts: drawCharts, // drawCharts(sheet, whether it may be seen)
    forget: forget, // forget(place): before its charts go
  };
})();
