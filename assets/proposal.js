/* How is what was decided gathered into one sheet, printed, and saved as pictures?

   At the left boxes say what goes in; at the right stands the sheet as it prints. Each part is
   asked for on its own (app/proposal_answers.py), two at a time, and again only when something
   changes on which it depends; what is seen meanwhile is marked as being of earlier inputs. The
   visitor's own texts never leave the browser. Everything is put on the page as text. */
(function () {
  "use strict";

  const ORDER = ["host", "pin", "event", "sure", "fleet", "shelf", "evidence", "inputs", "close"];
  const FLOWING = ["pin", "event", "sure", "close"]; // do not begin a page of their own on paper
  const MOST_AT_ONCE = 2;
  const PATIENCE_MS = 120000;
  const TEXTS_KEPT = "crestline-proposal"; // in localStorage
  const TICKS_KEPT = "crestline-proposal-ticks"; // in sessionStorage
  const CAUTION = "Crestline caution"; // keyword in a picture
  const crestline = window.crestline;
  const paper = window.crestlinePaper;
  const root = document.documentElement;
  const parts = {}; // by key: what it depends on, its section, whether it is under way
  let words = null;
  let chosen = {}; // by key: whether the visitor has ticked it, where not left to itself
  let items = []; // picked from the shelf: {id, name, version}
  let texts = {}; // the visitor's own
  let shelf = { items: [], total: null, page: 1, search: "", wrong: "" };
  let evidence = { able: false, mark: "" };
  let date = "";
  let underWay = 0;
  let drawing = false;
  let looked = 0; // counts questions about shelf and evidence; the newest counts
  let known = false; // whether shelf and evidence were looked at since the page was opened
  let printing = false;
  let title = null; // of the page, while it prints

  function make(...given) {
    return crestline.shelf.make(...given);
  }

  function find(name) {
    return document.getElementById("proposal-" + name);
  }

  function filled(text, ...values) {
    return values.reduce((made, value) => made.replace("{}", () => String(value)), text);
  }

  function onPage() {
    return root.dataset.page === "proposal";
  }

  function kept(storage, name, otherwise) {
    try {
      return JSON.parse(storage().getItem(name)) || otherwise;
    } catch (error) {
      return otherwise;
    }
  }

  function keep(storage, name, value) {
    try {
      storage().setItem(name, JSON.stringify(value));
      return true;
    } catch (error) {
      return false;
    }
  }

  const local = () => window.localStorage;
  const tab = () => window.sessionStorage;

  async function post(address, question, patience_ms) {
    try {
      const response = await fetch(address, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
        signal: AbortSignal.timeout(patience_ms),
      });
      return await response.json();
    } catch (error) {
      return { failure: words.texts.unanswered };
    }
  }

  /* ---- what can go in, and what does ---- */

  function sureKey() {
    const section = document.getElementById("sure");
    return section && section.dataset.stale !== "yes" ? crestline.sure() : null;
  }

  function isAble(key) {
    if (key === "pin") return crestline.pin() !== null;
    if (key === "event") return crestline.beside("if") !== null;
    if (key === "sure") return sureKey() !== null;
    if (key === "shelf") return items.length > 0 || shelf.total > 0;
    if (key === "evidence") return evidence.able;
    return true;
  }

  function isTicked(key) {
    if (key === "host") return true;
    if (!isAble(key)) return false;
    if (key in chosen) return chosen[key];
    if (key === "fleet") return crestline.beside("fleet") !== null;
    return key !== "shelf";
  }

  function goesIn(key) {
    if (key === "inputs" || key === "close") return true;
    return isTicked(key) && (key !== "shelf" || items.length > 0);
  }

  function shown() {
    return ORDER.filter(goesIn);
  }

  /* What a part is asked with; equal texts are equal answers. */
  function questionOf(key) {
    const ticked = (name, value) => (goesIn(name) ? value : null);
    const scenario = crestline.scenario();
    const pin = ticked("pin", crestline.pin());
    const event = ticked("event", crestline.beside("if"));
    const about = {
      host: () => ({ pin: pin, sure: ticked("sure", sureKey()) }),
      pin: () => ({ pin: pin }),
      event: () => ({ event: event }),
      sure: () => {
        const answer = document.getElementById("sure-answer");
        return { sure: sureKey(), ranking: answer ? answer.value : null };
      },
      fleet: () => {
        const seen = crestline.fleet ? crestline.fleet.question() : {};
        return {
          fleet: crestline.beside("fleet"), event: event, choice: seen.choice, role: seen.role,
        };
      },
      shelf: () => ({ items: items.map((each) => each.id) }),
      evidence: () => ({}),
      inputs: () => ({}),
      close: () => ({ pin: pin, event: event, fleet: ticked("fleet", crestline.beside("fleet")) }),
    };
    return { scenario: scenario, include: [key], ...about[key]() };
  }

  /* What else an answer depends on, which is not asked with. */
  function besides(key) {
    if (key === "shelf") return items.map((each) => each.version);
    if (key === "evidence") return evidence.mark;
    return null;
  }

  /* ---- asking, part by part ---- */

  function update() {
    if (!onPage() || words === null || crestline.scenario() === null || !known) return;
    ORDER.forEach((key) => {
      if (!goesIn(key)) {
        delete parts[key];
        return;
      }
      const question = questionOf(key);
      const needs = JSON.stringify([key === "shelf" ? { ...question, scenario: "" } : question,
        besides(key)]);
      const part = parts[key] || (parts[key] = { section: null, busy: false });
      if (part.needs === needs) return;
      Object.assign(part, { needs: needs, question: question, due: true, wrong: "" });
    });
    pump();
    drawControls();
    drawSheet();
  }

  function pump() {
    shown().forEach((key) => {
      const part = parts[key];
      if (underWay >= MOST_AT_ONCE || !part || !part.due || part.busy) return;
      ask(part);
    });
  }

  async function ask(part) {
    const needs = part.needs;
    Object.assign(part, { due: false, busy: true });
    underWay += 1;
    const told = await post("/proposal/compose", part.question, PATIENCE_MS);
    underWay -= 1;
    part.busy = false;
    if (part.needs === needs) take(part, told);
    pump();
    drawControls();
    drawSheet();
  }

  function take(part, told) {
    part.wrong = told.failure || (told.error ? told.error.message : "");
    if (part.wrong) return; // what was there before stays, marked
    date = told.date;
    part.section = told.sections[0];
    part.drawn = false;
  }

  function isWaiting(part) {
    return part === undefined || part.due || part.busy;
  }

  function waiting() {
    return shown().filter((key) => isWaiting(parts[key]));
  }

  function failed() {
    return shown().filter((key) => {
      const part = parts[key];
      return part && !isWaiting(part) && (part.wrong || (part.section && part.section.failed));
    });
  }

  function titles(keys) {
    return keys.map((key) => words.parts[key][0]).join(", ");
  }

  function tryAgain() {
    failed().forEach((key) => {
      parts[key].needs = null;
    });
    look();
  }

  /* ---- shelf and evidence, as they are now ---- */

  async function look() {
    looked += 1;
    const own = looked;
    const [offered, listed] = await Promise.all([
      post("/proposal/offers", {}, PATIENCE_MS), listShelf(1, shelf.search),
    ]);
    if (own !== looked) return;
    known = true;
    if (offered.evidence) evidence = offered.evidence;
    takeShelf(listed, 1);
    update();
    drawControls();
  }

  function listShelf(page, search) {
    return crestline.shelf.ask("/items?search=" + encodeURIComponent(search) + "&page=" + page);
  }

  function takeShelf(told, page) {
    const wrong = crestline.shelf.trouble(told);
    if (wrong) {
      shelf.wrong = wrong;
      return;
    }
    const before = page > 1 ? shelf.items : [];
    const total = shelf.search ? shelf.total : told.total;
    Object.assign(shelf, { items: [...before, ...told.items], page: page, pages: told.pages,
      found: told.total, total: total, wrong: "" });
    items = items.map((each) => told.items.find((found) => found.id === each.id) || each);
  }

  async function search(text) {
    shelf.search = text;
    looked += 1;
    const own = looked;
    const told = await listShelf(1, text);
    if (own !== looked) return;
    takeShelf(told, 1);
    drawControls();
  }

  async function showMore() {
    const page = shelf.page + 1;
    const told = await listShelf(page, shelf.search);
    takeShelf(told, page);
    drawControls();
  }

  function pick(item, wanted) {
    items = items.filter((each) => each.id !== item.id);
    if (wanted) items.push({ id: item.id, name: item.name, version: item.version });
    if (wanted) chosen.shelf = true;
    keepTicks();
    update();
    drawControls();
  }

  function keepTicks() {
    keep(tab, TICKS_KEPT, { chosen: chosen, items: items });
  }

  /* ---- controls ---- */

  function reason(key) {
    if (!isAble(key)) return key === "shelf" && shelf.wrong ? shelf.wrong : words.not_there[key];
    const about = words.parts[key][1];
    if (key === "fleet") {
      const own = crestline.beside("fleet") !== null;
      return about + " " + words.texts[own ? "own_fleet" : "example_fleet"];
    }
    return about;
  }

  function box(key) {
    const id = "proposal-box-" + key;
    const input = make("input", {
      type: "checkbox", id: id, checked: isTicked(key), disabled: key === "host" || !isAble(key),
      "aria-describedby": id + "-about", "data-key": "box " + key,
      onchange: (event) => {
        chosen[key] = event.target.checked;
        keepTicks();
        update();
        drawControls();
      },
    });
    input.checked = isTicked(key);
    return make("div", { class: "proposal-choice" },
      make("label", {}, input, make("span", {}, words.parts[key][0])),
      make("small", { class: "help", id: id + "-about" }, reason(key)),
      key === "shelf" && isAble(key) ? picker() : null);
  }

  function picker() {
    const picked = new Set(items.map((each) => each.id));
    const rest = shelf.items.filter((each) => !picked.has(each.id));
    const full = items.length >= words.most_items;
    const line = (item, checked) => {
      const input = make("input", {
        type: "checkbox", disabled: full && !checked, "data-key": "item " + item.id,
        onchange: (event) => pick(item, event.target.checked),
      });
      input.checked = checked;
      return make("label", { dir: "auto" }, input, make("span", {}, item.name));
    };
    const searching = make("input", {
      type: "search", id: "proposal-search", "data-key": "search", placeholder: words.texts.search,
      "aria-label": words.texts.search, value: shelf.search,
      onchange: (event) => search(event.target.value),
    });
    const name = words.parts.shelf[0];
    return make("div", { class: "proposal-picker", role: "group", "aria-label": name },
      shelf.total > 5 || shelf.search ? searching : null,
      items.map((each) => line(each, true)), rest.map((each) => line(each, false)),
      shelf.page < shelf.pages
        ? crestline.shelf.button(words.texts.more, showMore, { "data-key": "more" }) : null,
      full ? make("small", { class: "help" }, words.texts.full) : null,
      shelf.wrong ? make("small", { class: "error" }, shelf.wrong) : null);
  }

  function drawControls() {
    if (words === null || !find("parts")) return;
    const focused = document.activeElement && document.activeElement.dataset.key;
    find("parts").replaceChildren(make("fieldset", { class: "group" },
      make("legend", {}, "What goes in"), words.choices.map(box)));
    if (focused && document.activeElement === document.body) {
      const again = [...find("parts").querySelectorAll("[data-key]")]
        .find((each) => each.dataset.key === focused);
      if (again) again.focus({ preventScroll: true });
    }
  }

  function drawTexts() {
    const rows = Object.entries(words.fields).map(([name, [label, , longest]]) => {
      const id = "proposal-text-" + name;
      const given = { id: id, maxlength: longest, "data-text": name, dir: "auto" };
      const control = name === "notes"
        ? make("textarea", { ...given, rows: 5 }) : make("input", { ...given, type: "text" });
      control.value = texts[name] || "";
      return make("div", { class: "proposal-field" }, make("label", { for: id }, label), control);
    });
    find("texts").replaceChildren(make("fieldset", { class: "group" },
      make("legend", {}, "In your own words"), rows,
      make("small", { class: "help", id: "proposal-own" }, words.own_texts),
      make("div", { class: "tools" },
        crestline.shelf.button(words.texts.clear, clearTexts, { "data-key": "clear" }))));
  }

  function typed(event) {
    texts[event.target.dataset.text] = event.target.value;
    const stays = keep(local, TEXTS_KEPT, texts);
    crestline.setText("proposal-own", stays ? words.own_texts
      : words.own_texts + " " + words.texts.unsaved);
    drawHead();
  }

  function clearTexts() {
    texts = {};
    keep(local, TEXTS_KEPT, texts);
    drawTexts();
    drawHead();
    find("texts").querySelector("[data-key=clear]").focus();
  }

  /* ---- the sheet ---- */

  function sheetTitle() {
    if (texts.title && texts.title.trim()) return texts.title.trim();
    return words.title + ": " + JSON.parse(crestline.scenario()).name;
  }

  function drawHead() {
    if (!find("sheet") || crestline.scenario() === null) return;
    const said = (name) => (texts[name] || "").trim();
    const named = (name) => (said(name)
      ? make("p", { dir: "auto" }, words.texts[name] + ": " + said(name)) : null);
    const leads = shown().filter((key) => parts[key] && parts[key].section
      && parts[key].section.lead);
    const short = leads.map((key) => {
      const { title: heading, lead } = parts[key].section;
      return make("li", { "data-of": key, class: isCurrent(key) ? null : "outdated" },
        key === "host" ? null : make("strong", {}, heading + (heading.endsWith("?") ? " " : ": ")),
        lead);
    });
    const pending = titles(waiting());
    find("head").replaceChildren(
      make("div", { class: "proposal-line" }, make("p", {}, "Crestline"), make("p", {}, date)),
      make("h1", { dir: "auto" }, sheetTitle()),
      ...[named("for"), named("by")].filter(Boolean),
      ...(said("notes")
        ? [make("p", { class: "proposal-notes", dir: "auto" }, said("notes"))] : []),
      ...(pending ? [make("p", { class: "proposal-wrong" },
        filled(words.texts.unfinished, pending))] : []),
      ...(short.length > 1 ? [make("div", { class: "proposal-short" },
        make("h2", {}, words.texts.short), make("ul", {}, short))] : []));
  }

  function isCurrent(key) {
    const part = parts[key];
    return part && part.section !== null && !isWaiting(part) && !part.wrong;
  }

  function drawSheet() {
    if (words === null || !find("sheet") || crestline.scenario() === null) return;
    if (!find("head")) find("sheet").replaceChildren(make("div", { id: "proposal-head" }));
    drawHead();
    let last = find("head");
    ORDER.forEach((key) => {
      const id = "proposal-part-" + key;
      let place = document.getElementById(id);
      if (!goesIn(key)) {
        if (place) discard(place);
        return;
      }
      if (!place) {
        place = make("section", { id: id, class: "proposal-part", "data-part": key,
          "aria-label": words.parts[key][0] });
        place.classList.toggle("flowing", FLOWING.includes(key));
      }
      if (last.nextSibling !== place) last.after(place);
      last = place;
      drawPart(key, place);
    });
    paper.numberLinks(find("sheet"), find("links"), words);
    drawStatus();
    drawFigures();
  }

  function discard(place) {
    paper.forget(place);
    place.remove();
  }

  function drawPart(key, place) {
    const part = parts[key];
    const section = part && part.section;
    place.classList.toggle("outdated", Boolean(section) && !isCurrent(key));
    if (!section) {
      const told = part && part.wrong && !isWaiting(part)
        ? make("p", { class: "proposal-wrong" }, filled(words.texts.failed, part.wrong))
        : make("p", { class: "soft" }, filled(words.texts.working, words.parts[key][0]));
      place.replaceChildren(make("h2", {}, words.parts[key][0]), told);
      return;
    }
    if (!part.drawn) {
      paper.forget(place);
      place.replaceChildren(...paper.content(section, words, date));
      part.drawn = true;
    }
    let note = place.querySelector(".proposal-earlier");
    const wanted = part.wrong && !isWaiting(part) ? words.texts.earlier + " " + part.wrong : "";
    if (!note && wanted) {
      note = make("p", { class: "proposal-wrong proposal-earlier" });
      place.firstElementChild.after(note);
    }
    if (note && wanted) note.textContent = wanted;
    else if (note) note.remove();
  }

  async function drawFigures() {
    if (drawing) return;
    drawing = true;
    await paper.drawCharts(find("sheet"), onPage);
    drawing = false;
    drawStatus();
  }

  function isComplete() {
    return known && shown().length > 0 && !waiting().length && !drawing
      && !paper.undrawn(find("sheet")).length;
  }

  function drawStatus() {
    const done = isComplete();
    const pending = waiting();
    crestline.setText("proposal-status", !done
      ? filled(words.texts.working, titles(pending.length ? pending : shown()))
        + (printing ? " " + words.texts.waiting : "")
      : words.texts.ready);
    const lost = failed();
    crestline.setText("proposal-failed", lost.length
      ? filled(words.texts.failed_parts, titles(lost)) : "");
    const again = document.querySelector("[data-action=proposal-again]");
    again.hidden = !lost.length;
    const print = document.querySelector("[data-action=proposal-print]");
    print.textContent = done ? "Print" : "Print, once complete";
    print.setAttribute("aria-busy", String(!done));
    root.dataset.proposal = done ? "complete" : "works";
    if (done) root.dataset.proposalDone = String(Number(root.dataset.proposalDone || 0) + 1);
  }

  /* ---- to take away ---- */

  async function once(done) {
    const since = performance.now();
    while (!done() && performance.now() - since < PATIENCE_MS) {
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  }

  async function print() {
    if (printing) return;
    printing = true;
    drawStatus();
    await once(isComplete);
    printing = false;
    drawStatus();
    if (onPage()) window.print();
  }

  async function savePictures(button) {
    if (button.getAttribute("aria-busy") === "true") return;
    button.setAttribute("aria-busy", "true");
    const say = window.crestlinePictures.say;
    try {
      await once(isComplete);
      const drawn = shown().flatMap((key) => (parts[key].section || {}).figures || []);
      const made = [];
      for (const each of drawn) {
        say(filled(words.texts.making, made.length + 1, drawn.length));
        const picture = await window.crestlinePictures.make(each, each.sheet);
        const bytes = window.crestlinePng.withText(picture.bytes, CAUTION, each.sheet.caution);
        made.push({ name: picture.name, bytes: bytes });
      }
      const name = "crestline-proposal.zip";
      const zip = window.crestlinePng.zip(made, new Date());
      window.crestlinePictures.saveFile(name, zip, "application/zip");
      say(filled(words.texts.saved, name));
      crestline.setText("failure", "");
    } catch (error) {
      say("");
      crestline.setText("failure", filled(words.texts.pictures_failed, error.message));
    }
    button.removeAttribute("aria-busy");
  }

  window.addEventListener("beforeprint", () => {
    if (!onPage() || words === null || crestline.scenario() === null) return;
    title = document.title;
    document.title = "Crestline: " + sheetTitle(); // browsers name the PDF after it
  });
  window.addEventListener("afterprint", () => {
    if (title !== null) document.title = title;
    title = null;
  });

  /* ---- when ---- */

  function start() {
    if (!onPage()) return;
    if (!document.getElementById("proposal")) {
      setTimeout(start, 50); // the framework has not drawn the page yet
      return;
    }
    if (words === null) {
      words = JSON.parse(document.getElementById("proposal").dataset.words);
      texts = kept(local, TEXTS_KEPT, {});
      const ticks = kept(tab, TICKS_KEPT, {});
      chosen = ticks.chosen || {};
      items = ticks.items || [];
      drawTexts();
      find("texts").addEventListener("input", typed);
    }
    known = false;
    drawStatus();
    look();
    drawFigures();
  }

  crestline.actions["proposal-print"] = print;
  crestline.actions["proposal-pictures"] = savePictures;
  crestline.actions["proposal-again"] = tryAgain;
  crestline.onAnswer((lane) => {
    if (lane === "curve") update();
  });
  window.addEventListener("crestline-page", start);
  window.addEventListener("crestline-beside", update);
})();
