/* What happens on a day when the card is switched on and off during it?

   A day comes over in one piece: what each second asks for without the card and with it. Here a
   queue is run second by second with the card as it was switched: applications first, frames get
   what they leave and the rest of them is dropped, what is left of the applications waits. What
   was switched is remembered, so that going back and on again shows the same; switching there
   replaces what came after. */
(function () {
  "use strict";

  const HIGHEST_PCT = 260; // drawn at most

  function unpack(text, Kind) {
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i += 1) bytes[i] = raw.charCodeAt(i);
    return new Kind(bytes.buffer); // little-endian, as every computer with a browser today
  }

  /* A course of the day: what each second is asked for, and sums up to it. */
  function newCourse(length) {
    return {
      demand: new Float32Array(length), // [% of CPU], work carried over included
      kept: new Float32Array(length), // frames [%]
      waiting: new Float64Array(length + 1), // application work carried over [core s]
      highest: new Float32Array(length), // demand so far [% of CPU]
      above: new Uint32Array(length), // seconds above 100 % so far
      done: 0, // seconds that hold
    };
  }

  /* Run the queue up to a second; `encode(second)` is the encoding work it leaves to the CPU. */
  function run(day, course, encode, upto) {
    for (let s = course.done; s <= upto; s += 1) {
      const before = course.waiting[s];
      const wanted = encode(s);
      const asked = day.app[s] + wanted + before;
      const dropped = Math.min(Math.max(asked - day.capacity, 0), wanted);
      course.demand[s] = (asked / day.capacity) * 100;
      course.kept[s] = wanted > 0 ? (1 - dropped / wanted) * 100 : 100;
      course.highest[s] = Math.max(s ? course.highest[s - 1] : 0, course.demand[s]);
      course.above[s] = (s ? course.above[s - 1] : 0) + (asked > day.capacity ? 1 : 0);
      course.waiting[s + 1] = Math.max(before + day.app[s] - day.capacity, 0);
    }
    course.done = Math.max(course.done, upto + 1);
  }

  function two(number) {
    return String(number).padStart(2, "0");
  }

  /* A day that can be played, from the server's answer. */
  window.crestline.playedDay = (answer) => {
    const day = Object.assign({}, answer, {
      app: unpack(answer.app, Float32Array),
      encode: [unpack(answer.software, Float32Array), unpack(answer.offloaded, Float32Array)],
      slotsInUse: unpack(answer.slots_in_use, Uint32Array),
      present: unpack(answer.present, Uint32Array),
      last: answer.length_s - 1,
      oneCourse: answer.slots === 0, // no session may use a card
      busiest: 0, // the second of the highest crest without the card
      switchings: 0, // changes whenever what was played no longer holds
    });
    day.courses = [0, 1].map((arm) => {
      const course = newCourse(day.length_s);
      run(day, course, (s) => day.encode[arm][s], day.last);
      return course;
    });
    day.courses[0].demand.forEach((pct, s) => {
      if (pct > day.courses[0].demand[day.busiest]) day.busiest = s;
    });
    const highest = Math.max(...day.courses.map((course) => course.highest[day.last]), 100);
    day.topPct = Math.ceil(Math.min(highest, HIGHEST_PCT) / 10) * 10 + 10;

    /* Nothing played, the card off. */
    day.restart = () => {
      day.cardOn = new Uint8Array(day.length_s); // 1 where it is on
      day.played = newCourse(day.length_s);
      day.switchings += 1;
    };
    day.playTo = (second) => {
      if (second < day.played.done) return;
      run(day, day.played, (s) => day.encode[day.cardOn[s]][s], second);
    };
    day.switchAt = (second) => {
      day.cardOn.fill(day.cardOn[second] ? 0 : 1, second);
      day.played.done = second; // what came after is played anew
      day.switchings += 1;
      day.playTo(second);
    };
    day.clock = (second) => {
      const at = day.start_s + second;
      return `${two(Math.floor(at / 3600))}:${two(Math.floor(at / 60) % 60)}:${two(at % 60)}`;
    };
    day.restart();
    return day;
  };
})();
