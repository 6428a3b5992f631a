/* How do the controls follow the server: another scenario, a changed list, a wrong input?

   A list that gets longer, shorter or another order is a scenario of its own: the server checks
   it and draws the controls anew, the page then asks about it as about any other. Until they are
   drawn no control is heard. The browser's Back button undoes such a change. */
(function () {
  "use strict";

  const crestline = window.crestline;
  const inside = crestline.inside;

  function opened(found) {
    if (found && found.error) {
      inside.redrawn = null;
      showError(found.error);
    } else if (found) {
      if (found.edited) inside.keepPlace();
      else {
        inside.setPin(found.pin);
        // in the address already
        Object.assign(inside.beside, { if: found.event, fleet: found.fleet });
      }
      inside.base = found.scenario;
      inside.current = structuredClone(inside.base);
      inside.ask(inside.base);
      if (!found.edited) Object.keys(inside.beside).forEach(inside.tellBeside);
      drawControls(inside.base, performance.now());
    }
    return window.dash_clientside.no_update;
  }

  function openEdited(scenario, done) {
    const waiting = done || (() => {});
    inside.redrawn = waiting;
    setTimeout(() => {
      if (inside.redrawn === waiting) inside.redrawn = null; // never answered
    }, inside.WATCHDOG_MS);
    window.dash_clientside.set_props("address", { data: JSON.stringify(scenario) });
  }

  /* The framework draws the controls a moment after it hands over the scenario. What scripts wrote
     into them meanwhile it does not know, so that is written again. */
  function drawControls(scenario, since) {
    if (inside.base !== scenario) return;
    if (!controlsShow(scenario) && performance.now() - since < 3000) {
      setTimeout(() => drawControls(scenario, since), 20);
      return;
    }
    inside.controlsOfScenario().forEach((control) => {
      const id = JSON.parse(control.id);
      if (control instanceof HTMLSelectElement) control.value = inside.valueAt(scenario, id.path);
      const value = inside.valueAt(scenario, id.path);
      inside.showValue(id.path, id.type === "weight" ? Math.round(value * 10) / 10 : value);
    });
    scenario.roles.forEach((role, i) => inside.showSum(i, Object.values(role.activity_pct)));
    inside.showNames(scenario);
    const done = inside.redrawn;
    inside.redrawn = null;
    if (done) done();
  }

  function controlsShow(scenario) {
    const lists = ["activities", "roles", "day.present_pct"];
    const rows = (list) => document.querySelectorAll(
      "#controls [data-edit='remove'][data-list='" + list + "']"
    ).length;
    return (
      lists.every((list) => rows(list) === inside.valueAt(scenario, list).length) &&
      inside.controlsOfScenario().every((control) => {
        if (control instanceof HTMLSelectElement) return true;
        const path = JSON.parse(control.id).path;
        const share = inside.habitAt(path);
        const wanted = share
          ? shareOf(scenario.roles[share[1]], scenario.activities[share[2]].name)
          : inside.valueAt(scenario, path);
        const held = control.type === "text" ? control.value : Number(control.value);
        return held === wanted;
      })
    );
  }

  /* A name such as "constructor" is no share that the role has. */
  function shareOf(role, name) {
    return Object.hasOwn(role.activity_pct, name) ? role.activity_pct[name] : 0;
  }

  function focusControl(path) {
    const control = inside.controlsOfScenario().find((each) => JSON.parse(each.id).path === path);
    if (!control) return;
    control.focus();
    if (control.type === "text") control.select();
  }

  function showError(error) {
    const small = errorPlace(twinOf(error.field));
    crestline.setText("stale", "Showing the last valid result. " + error.message);
    document.getElementById("results").classList.add("stale");
    if (small) {
      small.textContent = error.message;
      const place = small.closest("[data-whole]") || small.parentElement;
      place.querySelectorAll("input, select").forEach((input) => {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", small.id);
      });
    }
  }

  function clearErrors() {
    document.querySelectorAll("small.error:not(:empty)").forEach((small) => {
      small.textContent = "";
    });
    document.querySelectorAll("[aria-invalid=true]").forEach((input) => {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    });
    crestline.setText("stale", "");
    document.getElementById("results").classList.remove("stale");
  }

  /* Of two equal names the one that was changed last is told. */
  function twinOf(field) {
    const name = (path) => {
      const found = inside.controlsOfScenario().find((each) => JSON.parse(each.id).path === path);
      return /\.name$/.test(path) && found ? found.value.trim() : null;
    };
    const moved = inside.movedLast;
    return name(field) !== null && name(field) === name(moved) ? moved : field;
  }

  /* The place for a field's error, or for that of the row or list that holds the field. */
  function errorPlace(field) {
    for (let path = field; path; path = path.replace(/(^|[.[])[^.[]*$/, "")) {
      const small = document.getElementById("error-" + path);
      if (small) return small;
    }
    return null;
  }

  Object.assign(inside, {
    openEdited: openEdited,
    focusControl: focusControl,
    showError: showError,
    clearErrors: clearErrors,
  });
  /* Called by the framework, which starts once all scripts are read. */
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    crestline: { opened: opened, read_address: () => inside.readAddress() || null },
  });
})();
