/* How are the courses of a played day drawn, sixty times a second?

   Four plots of one scale: a window around the head, the whole day without the card and with it,
   and the whole day as played. Only the first is drawn anew at every frame; the head of the others
   is an element of its own that is moved over them. */
(function () {
  "use strict";

  const WINDOW_S = { 1: 120, 10: 300, 60: 900, 300: 3600, 600: 7200 }; // by speed
  const NOW_AT = 0.72; // of the window's width
  const PIXELS_A_POINT = 2; // of a trace
  const MARGIN = 14; // right of each plot

  function tint(colour, alpha) {
    const hex = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
    return `rgba(${hex.join(",")},${alpha})`;
  }

  function hatch(colour, alpha) {
    const tile = document.createElement("canvas");
    const size = 8;
    tile.width = tile.height = size;
    const pen = tile.getContext("2d");
    pen.fillStyle = tint(colour, alpha * 0.4);
    pen.fillRect(0, 0, size, size);
    pen.strokeStyle = tint(colour, alpha);
    pen.lineWidth = 2;
    pen.beginPath();
    [-size, 0, size].forEach((shift) => {
      pen.moveTo(shift - 1, size + 1);
      pen.lineTo(shift + size + 1, -1);
    });
    pen.stroke();
    return pen.createPattern(tile, "repeat");
  }

  /* The plots of a day in a dialog. */
  window.crestline.dayPlots = (day, dialog) => {
    const words = day.words;
    const views = {};
    let look = {}; // colours
    let head = 0; // [s] after the start of the day
    let speed = 1;

    function second() {
      return Math.min(Math.floor(head), day.last);
    }

    function add(name, canvas, line, options) {
      views[name] = Object.assign({ canvas: canvas, head: line }, options);
    }

    function readLook() {
      const style = getComputedStyle(dialog);
      ["ground", "panel", "text", "soft", "line", "software", "offloaded"].forEach((name) => {
        look[name] = style.getPropertyValue(`--${name}`).trim();
      });
      look.colour = [look.software, look.offloaded];
      look.dash = [[9, 5], []];
      look.font = style.fontFamily;
      look.faint = [hatch(look.software, 0.32), tint(look.offloaded, 0.22)];
      look.strong = [hatch(look.software, 0.85), tint(look.offloaded, 0.6)];
    }

    function resize() {
      const ratio = window.devicePixelRatio || 1;
      const large = dialog.clientHeight > 1000 ? 16 : 13;
      const gutter = large * 4; // left of each plot, for its scale
      dialog.style.setProperty("--gutter", `${gutter}px`);
      dialog.style.setProperty("--margin", `${MARGIN}px`);
      Object.values(views).forEach((view) => {
        const box = view.canvas.parentElement.getBoundingClientRect();
        view.wide = Math.floor(box.width);
        view.high = Math.floor(box.height);
        view.canvas.width = Math.round(view.wide * ratio);
        view.canvas.height = Math.round(view.high * ratio);
        view.canvas.style.width = `${view.wide}px`;
        view.canvas.style.height = `${view.high}px`;
        view.font = view.small ? Math.max(large - 2, 12) : large;
        view.left = gutter;
        view.right = view.wide - MARGIN;
        view.top = view.font * 0.7;
        view.bottom = view.high - view.font - 8 - (view.ribbon || 0);
        view.pen = view.canvas.getContext("2d", { alpha: false });
        view.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
        view.drawnTo = null;
      });
      readLook();
      drawArms();
    }

    function yOf(view, pct) {
      return view.bottom - (Math.min(pct, day.topPct) / day.topPct) * (view.bottom - view.top);
    }

    function xOf(view, s) {
      return view.left + ((s - view.from) / (view.to - view.from)) * (view.right - view.left);
    }

    function clear(view) {
      view.pen.fillStyle = look.ground;
      view.pen.fillRect(0, 0, view.wide, view.high);
    }

    /* Written on a ground of its own, so that it can be read over a trace. */
    function label(view, text, x, y, align, colour) {
      const pen = view.pen;
      pen.font = `${view.font}px ${look.font}`;
      pen.textAlign = align;
      pen.textBaseline = "middle";
      const wide = pen.measureText(text).width;
      const from = align === "right" ? x - wide : x;
      pen.globalAlpha = 0.85;
      pen.fillStyle = look.ground;
      pen.fillRect(from - 2, y - view.font * 0.6, wide + 4, view.font * 1.2);
      pen.globalAlpha = 1;
      pen.fillStyle = colour;
      pen.fillText(text, x, y);
    }

    function across(view, pct, dash, colour, width) {
      const pen = view.pen;
      const y = Math.round(yOf(view, pct)) + 0.5;
      pen.setLineDash(dash);
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.moveTo(view.left, y);
      pen.lineTo(view.right, y);
      pen.stroke();
      pen.setLineDash([]);
    }

    function scale(view) {
      const pen = view.pen;
      pen.font = `${view.font}px ${look.font}`;
      pen.textBaseline = "middle";
      pen.textAlign = "right";
      pen.fillStyle = look.soft;
      const room = (view.bottom - view.top) / view.font / 1.6; // lines of text
      const step = [25, 50, 100].find((pct) => day.topPct / pct <= room) || 200;
      for (let pct = 0; pct <= day.topPct; pct += step) {
        across(view, pct, [], look.line, pct ? 0.5 : 1);
        pen.fillStyle = look.soft;
        pen.fillText(`${pct} %`, view.left - 6, yOf(view, pct));
      }
      const span = view.to - view.from;
      const wanted = (view.right - view.left) / (view.font * 7);
      const every = [30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 14400]
        .find((s) => span / s <= wanted) || 21600;
      const first = Math.ceil((day.start_s + view.from) / every) * every - day.start_s;
      pen.textAlign = "center";
      pen.textBaseline = "alphabetic";
      for (let s = first; s <= Math.min(view.to, day.length_s); s += every) {
        if (s < 0) continue;
        const x = xOf(view, s);
        pen.fillStyle = look.line;
        pen.fillRect(Math.round(x), view.bottom, 1, 4);
        pen.fillStyle = look.soft;
        const inside = Math.min(Math.max(x, view.left), view.right - view.font);
        pen.fillText(day.clock(s).slice(0, every < 60 ? 8 : 5), inside, view.high - 3);
      }
    }

    function limits(view, highest, target) {
      across(view, 100, [], look.text, 1.5);
      across(view, day.target_pct, [2, 4], look.soft, 1.5);
      const gap = view.font * 0.75;
      label(view, words.full, view.left + 4, yOf(view, 100) - gap, "left", look.text);
      if (target) {
        const y = yOf(view, day.target_pct) + gap;
        label(view, words.target.replace("{}", String(day.target_pct)), view.left + 4, y, "left",
          look.soft);
      }
      if (highest > day.topPct) {
        const text = words.cut_off.replace("{}", Math.round(highest).toLocaleString("en"));
        label(view, text, view.right - 4, view.top + gap, "right", look.text);
      }
    }

    /* The highest of every few seconds, so that a line drawn through them cuts no peak; they begin
       at whole multiples, so that a moving picture does not flicker. */
    function points(view, demand, from, to) {
      const wide = (view.right - view.left) / PIXELS_A_POINT;
      const size = Math.max(1, Math.ceil((view.to - view.from) / wide));
      const found = [];
      for (let s = Math.floor(Math.max(from, 0) / size) * size; s <= to; s += size) {
        let most = 0;
        const end = Math.min(s + size, to + 1);
        for (let i = s; i < end; i += 1) if (demand[i] > most) most = demand[i];
        found.push(xOf(view, Math.min(s + size / 2, to + 0.5)), yOf(view, most));
      }
      return found;
    }

    function trace(pen, line) {
      pen.moveTo(line[0], line[1]);
      for (let i = 2; i < line.length; i += 2) pen.lineTo(line[i], line[i + 1]);
    }

    function area(view, line, faint, strong) {
      const pen = view.pen;
      const fill = (style, low, high) => {
        pen.save();
        pen.beginPath();
        pen.rect(view.left, high, view.right - view.left, low - high);
        pen.clip();
        pen.beginPath();
        trace(pen, line);
        pen.lineTo(line[line.length - 2], view.bottom);
        pen.lineTo(line[0], view.bottom);
        pen.closePath();
        pen.fillStyle = style;
        pen.fill();
        pen.restore();
      };
      const full = yOf(view, 100);
      fill(faint, view.bottom, full);
      fill(strong, full, view.top - 2);
    }

    function stroke(view, line, arm, width, alpha) {
      const pen = view.pen;
      pen.globalAlpha = alpha;
      pen.strokeStyle = look.colour[arm];
      pen.lineWidth = width;
      pen.lineJoin = "bevel";
      pen.setLineDash(look.dash[arm]);
      pen.beginPath();
      trace(pen, line);
      pen.stroke();
      pen.setLineDash([]);
      pen.globalAlpha = 1;
    }

    /* Stretches of one position of the switch: [from, to, on]. */
    function stretches(from, to) {
      const found = [];
      let begin = from;
      for (let s = from + 1; s <= to + 1; s += 1) {
        if (s > to || day.cardOn[s] !== day.cardOn[begin]) {
          found.push([begin, s - 1, day.cardOn[begin]]);
          begin = s;
        }
      }
      return found;
    }

    function drawPlayed(view, from, to, width) {
      const pen = view.pen;
      pen.save();
      pen.beginPath();
      pen.rect(view.left, 0, view.right - view.left, view.high);
      pen.clip();
      stretches(from, to).forEach(([begin, end, on]) => {
        const line = points(view, day.played.demand, begin, end);
        const start = xOf(view, begin);
        if (begin > from) line.unshift(start, yOf(view, day.played.demand[begin - 1]));
        line.unshift(line[0] > start ? start : line[0], line[1]);
        line.push(xOf(view, end + 1), line[line.length - 1]);
        area(view, line, look.faint[on], look.strong[on]);
        stroke(view, line, on, width, 1);
        if (!day.oneCourse) ribbon(view, xOf(view, begin), xOf(view, end + 1), on);
      });
      pen.restore();
    }

    /* The position of the switch, in words and pattern, below the trace. */
    function ribbon(view, from, to, on) {
      const pen = view.pen;
      const left = Math.max(from, view.left);
      const wide = Math.max(Math.min(to, view.right) - left, 1);
      const high = view.ribbon - 4;
      const top = view.bottom - high - 1 + view.ribbon;
      pen.fillStyle = on ? look.offloaded : look.strong[0];
      pen.fillRect(left, top, wide, high);
      const text = words[on ? "card_on" : "card_off"];
      pen.font = `600 ${view.font - 1}px ${look.font}`;
      const room = pen.measureText(text).width;
      if (wide < room + 14) return;
      pen.textAlign = "left";
      pen.textBaseline = "middle";
      if (!on) {
        pen.fillStyle = look.ground;
        pen.fillRect(left, top, room + 12, high);
      }
      pen.fillStyle = on ? look.ground : look.software;
      pen.fillText(text, left + 6, top + high / 2 + 1);
    }

    function drawNow() {
      const view = views.now;
      const span = WINDOW_S[speed];
      view.from = head - span * NOW_AT;
      view.to = view.from + span;
      clear(view);
      scale(view);
      const pen = view.pen;
      const low = Math.max(Math.floor(view.from), 0);
      const high = Math.min(Math.ceil(view.to), day.last);
      drawPlayed(view, low, second(), 3);
      pen.save();
      pen.beginPath();
      pen.rect(view.left, 0, view.right - view.left, view.high);
      pen.clip();
      (day.oneCourse ? [0] : [1, 0]).forEach((arm) => {
        stroke(view, points(view, day.courses[arm].demand, low, high), arm, 1.5, 0.75);
      });
      pen.restore();
      limits(view, day.courses[day.cardOn[second()]].highest[day.last], true);
      const x = Math.round(xOf(view, head));
      pen.fillStyle = look.text;
      pen.fillRect(x - 1, 0, 3, view.bottom + view.ribbon);
      const now = yOf(view, day.played.demand[second()]);
      pen.beginPath();
      pen.arc(x + 0.5, now, 8, 0, 2 * Math.PI);
      pen.fillStyle = day.oneCourse ? look.software : look.colour[day.cardOn[second()]];
      pen.fill();
      pen.lineWidth = 3;
      pen.strokeStyle = look.ground;
      pen.stroke();
    }

    function drawArms() {
      (day.oneCourse ? [0] : [0, 1]).forEach((arm) => {
        const view = views[arm ? "offloaded" : "software"];
        view.from = 0;
        view.to = day.length_s;
        clear(view);
        scale(view);
        const line = points(view, day.courses[arm].demand, 0, day.last);
        area(view, line, look.faint[arm], look.strong[arm]);
        stroke(view, line, arm, 1.5, 1);
        limits(view, day.courses[arm].highest[day.last], true);
      });
    }

    function drawStrip() {
      const view = views.strip;
      const upto = Math.max(day.played.done - 1, 0);
      const column = Math.floor((upto / day.length_s) * view.wide);
      const drawn = `${column} ${day.switchings}`;
      view.from = 0;
      view.to = day.length_s;
      if (view.drawnTo === drawn) return;
      view.drawnTo = drawn;
      clear(view);
      scale(view);
      drawPlayed(view, 0, upto, 1.5);
      limits(view, day.played.highest[upto], false);
    }

    function draw() {
      drawNow();
      drawStrip();
      const share = head / day.length_s;
      ["software", "offloaded", "strip"].forEach((name) => {
        const view = views[name];
        if (!view) return;
        const x = view.left + share * (view.right - view.left);
        view.head.style.transform = `translateX(${x}px)`;
      });
    }

    return {
      add: add,
      resize: resize,
      draw: (at, times) => {
        head = at;
        speed = times;
        draw();
      },
    };
  };
})();
