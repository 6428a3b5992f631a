/* What do the buttons below and in the lists do: add or remove an activity, a role, a point?

   Each makes another scenario of the one that the controls show, in such a way that a row that is
   added changes no answer: an activity comes with no share in any role, a role with no weight, a
   point on the line between its neighbours. What a removed row had goes to the others in
   proportion. */
document.addEventListener("DOMContentLoaded", () => {
  "use strict";

  const LONGEST_NAME = 80;
  const lists = {
    activities: {
      of: (scenario) => scenario.activities,
      place: (index) => "activities[" + index + "].name",
      add: (scenario) => {
        scenario.activities.push(copied(scenario.activities));
        return scenario.activities.length - 1;
      },
      remove: (scenario, index) => {
        const gone = scenario.activities.splice(index, 1)[0].name;
        const names = scenario.activities.map((activity) => activity.name);
        scenario.roles.forEach((role) => {
          const before = Object.entries(role.activity_pct);
          const freed = Object.hasOwn(role.activity_pct, gone) ? role.activity_pct[gone] : 0;
          const kept = before.filter((pair) => pair[0] !== gone);
          const named = kept.length ? kept : freed ? names.map((name) => [name, 0]) : [];
          const shares = shareOut(named.map((pair) => pair[1]), freed);
          role.activity_pct = Object.fromEntries(named.map((pair, at) => [pair[0], shares[at]]));
        });
        return 'Removed "' + gone + '"; its shares went to the others in proportion.';
      },
    },
    roles: {
      of: (scenario) => scenario.roles,
      place: (index) => "roles[" + index + "].name",
      add: (scenario) => {
        scenario.roles.push(Object.assign(copied(scenario.roles), { weight_pct: 0 }));
        return scenario.roles.length - 1;
      },
      remove: (scenario, index) => {
        const gone = scenario.roles.splice(index, 1)[0];
        const weights = shareOut(scenario.roles.map((role) => role.weight_pct), gone.weight_pct);
        scenario.roles.forEach((role, at) => (role.weight_pct = weights[at]));
        return 'Removed "' + gone.name + '"; its share of the sessions went to the others in proportion.';
      },
    },
    "day.present_pct": {
      of: (scenario) => scenario.day.present_pct,
      place: (index) => "day.present_pct[" + index + "][0]",
      add: (scenario) => addPoint(scenario.day.present_pct),
      remove: (scenario, index) => {
        const gone = scenario.day.present_pct.splice(index, 1)[0];
        return "Removed the point at " + gone[0] + ".";
      },
    },
  };

  /* The last entry once more, under a name that is free: "surveying", "surveying 2". */
  function copied(entries) {
    const copy = structuredClone(entries[entries.length - 1]);
    const taken = new Set(entries.map((entry) => entry.name));
    const root = copy.name.replace(/ \d+$/, "");
    for (let number = 2; taken.has(copy.name); number += 1) {
      const ending = " " + number;
      copy.name = [...root].slice(0, LONGEST_NAME - ending.length).join("").trim() + ending;
    }
    return copy;
  }

  /* Shares with what was freed added in proportion, in hundredths where they change. */
  function shareOut(shares, freed) {
    if (!freed || shares.length === 0) return shares;
    const whole = shares.reduce((sum, share) => sum + share, 0);
    const parts = shares.map((share) => (whole > 0 ? share / whole : 1 / shares.length));
    const out = parts.map((part) => Math.round(part * (whole + freed) * 100));
    const largest = out.indexOf(Math.max(...out));
    out[largest] += Math.round((whole + freed) * 100) - out.reduce((sum, share) => sum + share, 0);
    return out.map((share) => share / 100);
  }

  /* A point in the middle of the widest gap, where the curve runs anyway; null without a gap. */
  function addPoint(points) {
    const minutes = points.map(([clock]) => {
      return Number(clock.slice(0, 2)) * 60 + Number(clock.slice(3));
    });
    let at = 1;
    for (let i = 1; i < points.length; i += 1) {
      if (minutes[i] - minutes[i - 1] > minutes[at] - minutes[at - 1]) at = i;
    }
    const gap = minutes[at] - minutes[at - 1];
    if (!(gap > 1)) return null;
    const step = gap > 10 ? 5 : 1;
    const minute = Math.round((minutes[at - 1] + gap / 2) / step) * step;
    const way = (minute - minutes[at - 1]) / gap;
    const share = points[at - 1][1] + way * (points[at][1] - points[at - 1][1]);
    const two = (number) => String(number).padStart(2, "0");
    const clock = two(Math.floor(minute / 60)) + ":" + two(minute % 60);
    points.splice(at, 0, [clock, Math.round(share * 100) / 100]);
    return at;
  }

  function focusRow(kind, index) {
    const button = document.querySelector(
      '#controls [data-edit="remove"][data-list="' + kind + '"][data-index="' + index + '"]'
    );
    if (button && !button.disabled) button.focus();
    else window.crestline.focusControl(lists[kind].place(index));
  }

  function edit(button) {
    const page = window.crestline;
    const scenario = page.shown();
    if (scenario === null) return;
    const kind = button.dataset.list;
    const list = lists[kind];
    const note = (text) => page.setText("edited-" + kind, text);
    if (button.dataset.edit === "add") {
      const at = list.add(scenario);
      if (at === null) {
        note("There is no room between the points for another one.");
        return;
      }
      page.openEdited(scenario, () => {
        note("");
        page.focusControl(list.place(at));
      });
      return;
    }
    const index = Number(button.dataset.index);
    const told = list.remove(scenario, index);
    page.openEdited(scenario, () => {
      note(told + " The browser's Back button brings it back.");
      focusRow(kind, Math.min(index, list.of(scenario).length - 1));
    });
  }

  document.addEventListener("click", (event) => {
    const button = event.target instanceof Element && event.target.closest("#controls [data-edit]");
    if (button) edit(button);
  });

  /* Controls that are drawn anew come folded: what the visitor unfolded is unfolded again before
     anything is seen of it. */
  const unfolded = new Set();
  let scrolled = 0;
  const nameOf = (details) => {
    const group = details.parentElement.closest("details");
    const title = details.querySelector("summary").textContent;
    return group ? nameOf(group) + " / " + title : title;
  };

  function restore() {
    const controls = document.getElementById("controls");
    controls.querySelectorAll("details").forEach((details) => {
      if (unfolded.has(nameOf(details))) details.open = true;
    });
    controls.scrollTop = scrolled;
  }

  let watching = false;
  window.crestline.onAnswer(() => {
    if (watching) return;
    watching = true;
    const controls = document.getElementById("controls");
    new MutationObserver(restore).observe(controls, { childList: true });
    controls.addEventListener("scroll", () => (scrolled = controls.scrollTop), { passive: true });
  });

  /* Tables need room: the charts give it while one is unfolded. */
  document.addEventListener(
    "toggle",
    (event) => {
      const details = event.target;
      if (!(details instanceof Element) || !details.matches("#controls details")) return;
      if (details.open) unfolded.add(nameOf(details));
      else unfolded.delete(nameOf(details));
      if (details.matches(".wide-group")) window.dispatchEvent(new Event("resize"));
    },
    true
  );
});
