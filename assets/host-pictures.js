/* How does a chart become a picture for a proposal, and a picture a scenario again?

   The server gathers what stands on the pictures (app/pictures.py). Here each is set on a sheet of
   3200 x 1800 pixels: the height of every text is measured first, and the chart gets what is left,
   so that nothing overlaps. The link goes into the file (assets/png.js), and a picture that is
   dropped or picked on any page opens its scenario. `python -m app export` shows a bare page with
   this script, which then sends its pictures back instead of saving them. */
(function () {
  "use strict";

  const SHEET = { width: 3200, height: 1800 };
  const MARGIN = 80;
  const SCALE = 2; // pixels of the picture for one of the chart
  const FONT = "system-ui, sans-serif";
  const INK = "#1c2733";
  const SOFT = "#4a4f57";
  const RULE = "#c3cad2";
  const KEYWORD = "Crestline link";
  const LARGEST_BYTES = 64 * 1024 * 1024;
  const LARGEST_SCENARIO_BYTES = 900000; // the server takes no more in one request
  const MOST_LINK_LINES = 3;
  const FOOTER_PX = 420; // at most, so that the chart stays the largest part
  const layouts = {}; // of the pictures made last, by chart; read by the tests
  let busy = false;

  /* ---- text: measured, wrapped, cut only where it must be ---- */

  const brush = document.createElement("canvas").getContext("2d");

  function font(size, weight, family) {
    return (weight || 400) + " " + size + "px " + (family || FONT);
  }

  function widthOf(text, look) {
    brush.font = look;
    return brush.measureText(text).width;
  }

  function letters(text) {
    if (!window.Intl || !Intl.Segmenter) return Array.from(text);
    return Array.from(new Intl.Segmenter("en").segment(text), (part) => part.segment);
  }

  /* Lines no wider than `width`; a word that is wider itself is broken between letters. */
  function wrap(text, width, look) {
    const lines = [];
    let line = "";
    text.split(/\s+/).forEach((word) => {
      const longer = line ? line + " " + word : word;
      if (widthOf(longer, look) <= width) {
        line = longer;
        return;
      }
      const broken = widthOf(word, look) > width;
      if (line && !broken) lines.push(line);
      line = broken ? longer : word;
      while (widthOf(line, look) > width) {
        const fitting = leading(line, width, look);
        lines.push(fitting);
        line = line.slice(fitting.length);
      }
    });
    lines.push(line);
    return lines;
  }

  /* The longest start of a text that fits, at least one letter. */
  function leading(text, width, look) {
    const all = letters(text);
    let low = 1;
    let high = all.length;
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (widthOf(all.slice(0, middle).join(""), look) <= width) low = middle;
      else high = middle - 1;
    }
    return all.slice(0, low).join("");
  }

  function cut(lines, most, width, look) {
    if (lines.length <= most) return lines;
    const kept = lines.slice(0, most);
    const rest = lines.slice(most - 1).join(" ");
    const room = width - widthOf("\u2026", look);
    kept[most - 1] = leading(rest, room, look).trimEnd() + "\u2026";
    return kept;
  }

  /* One block of text: {kind, lines, width, height, ...}, not yet at its place. */
  function block(kind, text, width, size, options) {
    const given = Object.assign({ weight: 400, colour: INK, most: 99, family: FONT }, options);
    const look = font(size, given.weight, given.family);
    const lines = cut(wrap(text, width, look), given.most, width, look);
    return {
      kind: kind, lines: lines, look: look, colour: given.colour, size: size,
      width: Math.max(...lines.map((line) => widthOf(line, look))),
      height: Math.ceil(lines.length * size * 1.3),
    };
  }

  /* Paragraphs in the largest type in which they are no higher than `height`; in the smallest
     they are cut. */
  function paragraphs(texts, width, size, least, height) {
    for (let px = size; px >= least; px -= 2) {
      const blocks = texts.map((text) => block(text.kind, text.text, width, px, text));
      const total = blocks.reduce((sum, each) => sum + each.height + 8, 0);
      if (total <= height) return blocks;
    }
    let lines = Math.floor((height - 8 * texts.length) / (least * 1.3));
    return texts.map((text, i) => {
      const most = Math.max(1, lines - 2 * (texts.length - 1 - i));
      const made = block(text.kind, text.text, width, least, Object.assign({}, text, { most }));
      lines -= made.lines.length;
      return made;
    });
  }

  /* ---- the sheet ---- */

  function header(chart, data) {
    const wide = SHEET.width - 2 * MARGIN;
    return [
      block("name", data.name, wide, 40, { colour: SOFT, most: 2 }),
      block("title", chart.title, wide, 84, { weight: 700, most: 2 }),
      block("takeaway", chart.takeaway, wide, 46, { most: 3 }),
    ];
  }

  function keyRows(entries) {
    const look = font(38);
    let x = MARGIN;
    let row = 0;
    return entries.map((entry) => {
      const width = 130 + widthOf(entry.label, look);
      if (x > MARGIN && x + width > SHEET.width - MARGIN) {
        x = MARGIN;
        row += 1;
      }
      const box = { x: x, row: row, width: width, height: 50 };
      x += width + 60;
      return Object.assign(box, { kind: "key", look: look }, entry);
    });
  }

  function footer(data, origin) {
    const link = data.query === null ? null : origin + "?" + data.query;
    const gap = 100;
    const left = Math.round((SHEET.width - 2 * MARGIN - gap) * 0.6);
    const right = SHEET.width - 2 * MARGIN - gap - left;
    const summary = data.summary.map((text, i) => ({
      kind: "summary", text: text, weight: i === 0 ? 650 : 400,
    }));
    const mono = "ui-monospace, monospace";
    const lines = link ? wrap(link, right, font(28, 400, mono)).length : 0;
    const way = !link ? "none" : lines > MOST_LINK_LINES ? "inside" : origin ? "link" : "query";
    const notes = [
      { kind: "date", text: data.date, weight: 650 },
      { kind: "caution", text: data.caution, colour: SOFT },
      { kind: "reopen", text: data.reopen[way], colour: SOFT },
    ];
    const short = way === "link" || way === "query";
    const shown = short ? [block("link", link, right, 28, { family: mono })] : [];
    const taken = shown.reduce((sum, each) => sum + each.height + 8, 0);
    return [
      { x: MARGIN, blocks: paragraphs(summary, left, 34, 24, FOOTER_PX) },
      {
        x: MARGIN + left + gap,
        blocks: [...paragraphs(notes, right, 32, 24, FOOTER_PX - taken), ...shown],
      },
    ];
  }

  /* Put blocks below each other; the y below the last one. */
  function stack(blocks, x, y, gap) {
    blocks.forEach((each) => {
      each.x = x;
      each.y = y;
      y += each.height + gap;
    });
    return y;
  }

  /* Where everything stands: boxes of text and the box of the chart. */
  function plan(chart, data, origin) {
    const head = header(chart, data);
    const keyTop = stack(head, MARGIN, MARGIN, 6) + 14;
    const key = keyRows(chart.key);
    key.forEach((entry) => {
      entry.y = keyTop + entry.row * 56;
    });
    const top = Math.max(...key.map((entry) => entry.y + entry.height)) + 20;
    const columns = footer(data, origin);
    const height = Math.max(
      ...columns.map((column) => column.blocks.reduce((sum, each) => sum + each.height + 8, -8))
    );
    const footerTop = SHEET.height - MARGIN - height;
    columns.forEach((column) => stack(column.blocks, column.x, footerTop, 8));
    return {
      texts: [...head, ...columns.flatMap((column) => column.blocks)],
      key: key,
      rule: footerTop - 28,
      chart: { x: MARGIN, y: top, width: SHEET.width - 2 * MARGIN, height: footerTop - 56 - top },
    };
  }

  /* ---- the chart ---- */

  /* Names of activities in as many lines as there is room for. */
  function fitNames(figure, width, height) {
    const axis = figure.layout.yaxis;
    if (axis.type !== "category") return;
    const bars = figure.data.filter((trace) => trace.type === "bar");
    const names = [...new Set(bars.flatMap((trace) => trace.y))];
    const size = figure.layout.font.size;
    const look = font(size);
    const room = (height - figure.layout.margin.t - figure.layout.margin.b) / names.length;
    const most = Math.max(1, Math.min(3, Math.floor(room / (size * 1.3))));
    const widest = Math.round(width * 0.3);
    axis.tickvals = names;
    axis.ticktext = names.map((name) =>
      cut(wrap(name, widest, look), most, widest, look)
        .map((line) => line.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;"))
        .join("<br>")
    );
    axis.tickmode = "array";
  }

  function overlaps(one, other) {
    return (
      one.x < other.x + other.width && other.x < one.x + one.width &&
      one.y < other.y + other.height && other.y < one.y + one.height
    );
  }

  function boxOf(element, origin) {
    const { left, top, width, height } = element.getBoundingClientRect();
    return { x: left - origin.left, y: top - origin.top, width: width, height: height };
  }

  /* Where the lines run that cross the whole chart: `across` at a y, `upright` at an x. */
  function linesOf(drawing) {
    const whole = drawing._fullLayout;
    const place = (ref, value) => {
      const axis = whole[ref[0] + "axis" + ref.slice(1)];
      return axis._offset + axis.d2p(value);
    };
    const shapes = whole.shapes || [];
    return {
      across: shapes.filter((each) => each.xref === "paper").map((a) => place(a.yref, a.y0)),
      upright: shapes.filter((each) => each.yref === "paper").map((a) => place(a.xref, a.x0)),
    };
  }

  /* How far each label in the chart moves so that none covers another: a target's label along its
     line, above or below it; one on an upright line up or down. */
  function separation(drawing) {
    const origin = drawing.getBoundingClientRect();
    const size = drawing._fullLayout._size;
    const area = { left: size.l, right: size.l + size.w, top: size.t, bottom: size.t + size.h };
    const lines = linesOf(drawing);
    const between = (value, low, high) => value > low + 4 && value < high - 4;
    const labels = Array.from(drawing.querySelectorAll(".annotation"), (label) => {
      const index = Number(label.dataset.index);
      const along = drawing._fullLayout.annotations[index].xref === "paper";
      const box = boxOf(label.querySelector(".annotation-text-g"), origin);
      return { index: index, along: along, box: box };
    });
    labels.sort((one, other) => Number(other.along) - Number(one.along) || one.index - other.index);
    const placed = [];
    const moves = {};

    function fits(box, along) {
      const bottom = box.y + box.height;
      const right = box.x + box.width;
      if (right > area.right || box.y < area.top || bottom > area.bottom) return false;
      if (along && lines.across.some((y) => between(y, box.y, bottom))) return false;
      if (along && lines.upright.some((x) => between(x, box.x, right))) return false;
      return !placed.some((other) => overlaps(box, other));
    }

    labels.forEach(({ index, along, box }) => {
      const x = Math.min(Math.max(box.x, area.left), area.right - box.width);
      const tries = [];
      for (let i = 0; i < 200; i += 1) {
        if (along) [0, box.height, -box.height].forEach((dy) => tries.push({ dx: 12 * i, dy: dy }));
        else tries.push({ dx: 0, dy: 6 * i }, { dx: 0, dy: -6 * i });
      }
      const moved = tries
        .map((by) => Object.assign({}, box, { x: x + by.dx, y: box.y + by.dy }))
        .find((tried) => fits(tried, along));
      placed.push(moved || box);
      if (!moved) return;
      moves["annotations[" + index + "].xshift"] = moved.x - box.x;
      moves["annotations[" + index + "].yshift"] = box.y - moved.y;
    });
    return moves;
  }

  /* A chart in its place, at a size, its labels apart. */
  async function drawStill(place, drawn, width, height) {
    const figure = structuredClone(drawn);
    Object.assign(figure.layout, { width: width, height: height, autosize: false });
    fitNames(figure, width, height);
    await window.Plotly.newPlot(place, figure.data, figure.layout, { staticPlot: true });
    const moves = separation(place);
    if (Object.keys(moves).length) await window.Plotly.relayout(place, moves);
  }

  async function chartImage(chart, place) {
    const width = Math.floor(place.width / SCALE);
    const height = Math.floor(place.height / SCALE);
    const drawing = document.createElement("div");
    drawing.className = "picture-drawing";
    drawing.setAttribute("aria-hidden", "true");
    document.body.append(drawing);
    try {
      await drawStill(drawing, chart.figure, width, height);
      const origin = drawing.getBoundingClientRect();
      const texts = Array.from(drawing.querySelectorAll("svg text"))
        .filter((text) => text.textContent.trim())
        .map((text) => {
          const box = boxOf(text, origin);
          return {
            kind: "chart", text: text.textContent,
            x: place.x + SCALE * box.x, y: place.y + SCALE * box.y,
            width: SCALE * box.width, height: SCALE * box.height,
          };
        });
      const address = await window.Plotly.toImage(drawing, {
        format: "png", width: width, height: height, scale: SCALE,
      });
      const image = new Image();
      image.src = address;
      await image.decode();
      return { image: image, texts: texts };
    } finally {
      window.Plotly.purge(drawing);
      drawing.remove();
    }
  }

  /* ---- drawing ---- */

  const DASHES = {
    dash: [22, 14], dot: [4, 10], "thin dot": [4, 10], dashdot: [22, 10, 4, 10],
  };

  function drawKey(pen, entry) {
    const middle = entry.y + entry.height / 2;
    pen.save();
    pen.strokeStyle = entry.colour;
    pen.fillStyle = entry.colour;
    pen.lineWidth = entry.mark.startsWith("thin") ? 4 : 8;
    pen.setLineDash(DASHES[entry.mark] || []);
    pen.beginPath();
    if (entry.mark === "hatched" || entry.mark === "filled") {
      pen.rect(entry.x, middle - 18, 100, 36);
      if (entry.mark === "filled") pen.fill();
      pen.clip();
      if (entry.mark === "hatched") {
        pen.lineWidth = 5;
        pen.beginPath();
        for (let x = -40; x < 120; x += 16) {
          pen.moveTo(entry.x + x, middle + 20);
          pen.lineTo(entry.x + x + 40, middle - 20);
        }
        pen.rect(entry.x, middle - 18, 100, 36);
        pen.stroke();
      }
    } else if (entry.mark === "cross") {
      pen.lineWidth = 5;
      [-1, 1].forEach((way) => {
        pen.moveTo(entry.x + 36, middle - 14 * way);
        pen.lineTo(entry.x + 64, middle + 14 * way);
      });
      pen.stroke();
    } else if (entry.mark === "circle") {
      pen.lineWidth = 5;
      pen.arc(entry.x + 50, middle, 14, 0, 2 * Math.PI);
      pen.stroke();
    } else {
      pen.moveTo(entry.x, middle);
      pen.lineTo(entry.x + 100, middle);
      pen.stroke();
    }
    pen.restore();
    pen.font = entry.look;
    pen.fillStyle = INK;
    pen.fillText(entry.label, entry.x + 124, entry.y + 38);
  }

  function drawBlock(pen, each) {
    pen.font = each.look;
    pen.fillStyle = each.colour;
    each.lines.forEach((line, i) => {
      pen.fillText(line, each.x, each.y + (i + 0.5) * each.size * 1.3 + each.size * 0.35);
    });
  }

  /* What a picture says of its scenario: the query, behind the path of any page but the Host. */
  function linkOf(data) {
    return data.path ? data.path + "?" + data.query : data.query;
  }

  /* One picture: {name, bytes}. */
  async function picture(chart, data, origin) {
    const planned = plan(chart, data, origin);
    const { image, texts } = await chartImage(chart, planned.chart);
    const sheet = document.createElement("canvas");
    sheet.width = SHEET.width;
    sheet.height = SHEET.height;
    const pen = sheet.getContext("2d");
    pen.fillStyle = chart.figure.layout.paper_bgcolor;
    pen.fillRect(0, 0, SHEET.width, SHEET.height);
    pen.drawImage(image, planned.chart.x, planned.chart.y);
    planned.texts.forEach((each) => drawBlock(pen, each));
    planned.key.forEach((entry) => drawKey(pen, entry));
    pen.fillStyle = RULE;
    pen.fillRect(MARGIN, planned.rule, SHEET.width - 2 * MARGIN, 3);
    layouts[chart.name] = {
      sheet: SHEET,
      chart: planned.chart,
      boxes: [
        ...[...planned.texts, ...planned.key].map((each) => ({
          kind: each.kind, text: each.label || each.lines.join(" "),
          x: each.x, y: each.y, width: each.width, height: each.height,
        })),
        ...texts,
      ],
    };
    const blob = await new Promise((resolve) => sheet.toBlob(resolve, "image/png"));
    if (blob === null) throw new Error("The browser could not make the picture.");
    const bytes = new Uint8Array(await blob.arrayBuffer());
    const name = "crestline-" + chart.name + ".png";
    if (data.query === null) return { name: name, bytes: bytes };
    return { name: name, bytes: window.crestlinePng.withText(bytes, KEYWORD, linkOf(data)) };
  }

  /* ---- the buttons ---- */

  function say(text) {
    const status = document.getElementById("picture-status");
    status.textContent = text;
    clearTimeout(say.timer);
    if (text) say.timer = setTimeout(() => say(""), 8000);
  }

  function fail(sentence) {
    say("");
    window.crestline.setText("failure", sentence);
  }

  async function asked(address, question) {
    let answer;
    try {
      const response = await fetch(address, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
      answer = await response.json();
    } catch (error) {
      throw new Error("The server does not answer; try again.");
    }
    if (answer.error) throw new Error(answer.error);
    return answer;
  }

  function save(name, bytes, type) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([bytes], { type: type }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  async function makePictures(button, wanted) {
    if (busy || window.crestline.scenario() === null) return;
    busy = true;
    button.setAttribute("aria-busy", "true");
    say(wanted ? "Making the picture ..." : "Making four pictures ...");
    try {
      const data = await asked("/pictures", {
        scenario: window.crestline.scenario(),
        pin: window.crestline.pin(),
        sure: window.crestline.sure(),
      });
      const made = [];
      for (const chart of data.charts.filter((each) => !wanted || each.name === wanted)) {
        made.push(await picture(chart, data, window.location.origin + "/"));
      }
      const name = wanted ? made[0].name : "crestline-pictures.zip";
      if (wanted) save(name, made[0].bytes, "image/png");
      else save(name, window.crestlinePng.zip(made, new Date()), "application/zip");
      window.crestline.setText("failure", "");
      say("Saved " + name + ".");
    } catch (error) {
      fail("The picture could not be made: " + error.message);
    }
    busy = false;
    button.removeAttribute("aria-busy");
  }

  /* ---- opening a file ---- */

  async function queryOf(file) {
    if (file.size > LARGEST_BYTES) throw new Error("is larger than 64 MB");
    const bytes = new Uint8Array(await file.arrayBuffer());
    if (window.crestlinePng.isPng(bytes)) {
      const link = await window.crestlinePng.textOf(bytes, KEYWORD);
      if (link === null) throw new Error("is a PNG without a Crestline link");
      if (!/^[!"$-~]*$/.test(link)) throw new Error("holds a link that cannot be read");
      return link;
    }
    const text = bytes.length > LARGEST_SCENARIO_BYTES ? "" : new TextDecoder().decode(bytes);
    if (!text.trimStart().startsWith("{")) throw new Error("is neither a PNG nor a scenario file");
    try {
      return (await asked("/open-file", { text: text })).query;
    } catch (error) {
      throw new Error("could not be opened: " + error.message);
    }
  }

  async function openFiles(files) {
    if (!files.length) return;
    const name = files[0].name;
    try {
      if (files.length > 1) throw new Error("came with others; open one file at a time");
      const query = await queryOf(files[0]);
      window.crestline.setText("failure", "");
      const inside = /^(\/[a-z]+)\?(.*)$/.exec(query);
      if (inside) window.crestline.open(inside[2], inside[1]);
      else window.crestline.open(query);
      say("Opened " + name + ".");
    } catch (error) {
      const why = error instanceof TypeError ? "holds a text that cannot be read" : error.message;
      fail(name + " " + why + (why.endsWith(".") ? "" : "."));
    }
  }

  function listen() {
    const picker = document.createElement("input");
    picker.type = "file";
    picker.id = "open-file-picker";
    picker.accept = ".png,.json,image/png,application/json";
    picker.hidden = true;
    picker.addEventListener("change", () => {
      const files = Array.from(picker.files);
      picker.value = ""; // the same file can be picked again
      openFiles(files);
    });
    const hint = document.createElement("div");
    hint.id = "drop-hint";
    hint.hidden = true;
    hint.textContent = "Drop the picture or scenario file to open it";
    const status = document.createElement("div");
    status.id = "picture-status";
    status.setAttribute("role", "status");
    document.body.append(picker, hint, status);

    const holdsFiles = (event) => event.dataTransfer && event.dataTransfer.types.includes("Files");
    window.addEventListener("dragover", (event) => {
      if (event.defaultPrevented || !holdsFiles(event)) return; // a part of the page takes it
      event.preventDefault();
      event.dataTransfer.dropEffect = "copy";
      hint.hidden = false;
    });
    window.addEventListener("dragleave", (event) => {
      if (event.relatedTarget === null) hint.hidden = true;
    });
    window.addEventListener("drop", (event) => {
      hint.hidden = true;
      if (event.defaultPrevented || !holdsFiles(event)) return;
      event.preventDefault();
      openFiles(Array.from(event.dataTransfer.files));
    });
    window.crestline.actions.picture = (button) => makePictures(button, button.dataset.chart);
    window.crestline.actions.pictures = (button) => makePictures(button, null);
    window.crestline.actions["open-file"] = () => picker.click();
  }

  /* ---- for the command: send the pictures back ---- */

  async function sendBack() {
    const send = (name, body) => fetch(name, { method: "POST", body: body });
    try {
      const data = await (await fetch("data")).json();
      for (const chart of data.charts) {
        const made = await picture(chart, data, "");
        const reply = await send(chart.name, made.bytes);
        if (!reply.ok) throw new Error(await reply.text());
      }
    } catch (error) {
      await send("failure", String(error && error.message));
    }
  }

  /* A chart of another page, gathered by its own script, as a picture in a file. */
  async function savePicture(chart, data) {
    const made = await picture(chart, data, window.location.origin + (data.path || "/"));
    save(made.name, made.bytes, "image/png");
    say("Saved " + made.name + ".");
  }

  /* Several of them in one file. */
  async function saveAll(charts, data, name) {
    say("Making " + charts.length + " pictures ...");
    const made = [];
    for (const chart of charts) {
      made.push(await picture(chart, data, window.location.origin + (data.path || "/")));
    }
    save(name, window.crestlinePng.zip(made, new Date()), "application/zip");
    say("Saved " + name + ".");
  }

  window.crestlinePictures = {
    layouts: layouts,
    save: savePicture,
    saveAll: saveAll,
    make: (chart, data) => picture(chart, data, window.location.origin + (data.path || "/")),
    saveFile: save, // saveFile(name, bytes, type)
    drawStill: drawStill, // drawStill(place, figure, width, height)
    say: say,
  };
  document.addEventListener("DOMContentLoaded", () => {
    if (document.documentElement.dataset.export !== undefined) sendBack();
    else listen();
  });
})();
