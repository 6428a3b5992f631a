/* What do the address and the frame around the pages tell: the scenario, what is beside it, the
   page, the look?

   The address holds all that a link must bring back; the browser's Back button is obeyed. */
(function () {
  "use strict";

  const LONGEST_LINK = 16384; // characters, as the server reads them
  const TOO_LONG =
    "This is too long for a link, so the address does not hold it: save it on the shelf.";
  const LOOKS = ["system", "light", "dark"];
  const crestline = window.crestline;
  const inside = crestline.inside;
  let look = 0;

  function writeAddress() {
    if (inside.query === null) return;
    const whole = wholeQuery();
    if (whole.length > LONGEST_LINK) {
      crestline.setText("link-note", TOO_LONG);
      return;
    }
    const address = window.location.pathname + (whole ? "?" + whole : "");
    if (address !== window.location.pathname + window.location.search) {
      window.history.replaceState(null, "", address);
    }
  }

  /* The address holds the pin, then what else is beside the scenario, then the scenario. */
  function wholeQuery() {
    const parts = Object.entries(inside.beside).filter((part) => part[1] !== null);
    if (inside.query === null || !parts.length) return inside.query;
    const at = inside.query.startsWith("pin=") ? inside.query.indexOf("&") + 1 : 0;
    const told = parts.map((part) => part[0] + "=" + encodeURIComponent(part[1]) + "&").join("");
    return inside.query.slice(0, at) + told + (inside.query.slice(at) || "v=1");
  }

  /* The query of the scenario alone, without what is pinned. */
  function scenarioQuery() {
    if (inside.query === null) return null;
    const at = inside.query.startsWith("pin=") ? inside.query.indexOf("&") : -1;
    const own = inside.query.slice(at + 1);
    return own === "v=1" ? "" : own;
  }

  function setBeside(name, text) {
    if (inside.beside[name] === text) return;
    inside.beside[name] = text;
    writeAddress();
    tellBeside(name);
  }

  function tellBeside(name) {
    window.dispatchEvent(new CustomEvent("crestline-beside", { detail: name }));
  }

  function setPin(value) {
    inside.pin = value;
    document.documentElement.dataset.pinned = inside.pin === null ? "no" : "yes";
    if (inside.pin !== null) return;
    ["pin-note", "pin-change", "pin-crest"].forEach((id) => crestline.setText(id, ""));
  }

  function keepPlace() {
    writeAddress();
    window.history.pushState(null, "", window.location.href);
  }

  function readAddress() {
    showPage();
    return window.location.search;
  }

  /* Show another scenario (or the same with another pin) as a new entry of the history. */
  function open(address, page) {
    window.history.pushState(null, "", (page || "/") + (address ? "?" + address : ""));
    showPage();
    window.dash_clientside.set_props("address", { data: address ? "?" + address : "" });
  }

  /* Every page is there from the start; the path says which one is seen. */
  function showPage() {
    const name = window.location.pathname.split("/")[1] || "host";
    document.documentElement.dataset.page = name;
    document.querySelectorAll("main > [id^='page-']").forEach((panel) => {
      panel.hidden = panel.id !== "page-" + name;
    });
    document.querySelectorAll("nav [data-page]").forEach((link) => {
      if (link.dataset.page === name) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    });
    window.dispatchEvent(new CustomEvent("crestline-page", { detail: name }));
    const drawn = Object.keys(crestline.figures).length > 0;
    if (name === "host" && drawn) window.dispatchEvent(new Event("resize"));
  }

  function applyLook(look) {
    if (look === "system") delete document.documentElement.dataset.look;
    else document.documentElement.dataset.look = look;
    const words = { system: "as the system", light: "light", dark: "dark" };
    crestline.setText("look", "Look: " + words[look]);
    inside.askAgain();
  }

  Object.assign(crestline.actions, {
    pin: () => {
      if (scenarioQuery() === null) return;
      setPin(scenarioQuery());
      inside.askAgain();
    },
    unpin: () => {
      setPin(null);
      inside.askAgain();
    },
  });

  document.addEventListener("click", (event) => {
    const acting = event.target instanceof Element && event.target.closest("[data-action]");
    const act = acting && crestline.actions[acting.dataset.action];
    if (act) act(acting);
    const page = event.target instanceof Element && event.target.closest("nav a[data-page]");
    if (page && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
      event.preventDefault();
      window.history.pushState(null, "", page.getAttribute("href") + window.location.search);
      showPage();
    }
    if (event.target && event.target.id === "look") {
      look = (look + 1) % LOOKS.length;
      applyLook(LOOKS[look]);
    }
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", inside.askAgain);
  window.addEventListener("popstate", () => {
    showPage();
    const whole = wholeQuery();
    const shown = whole ? "?" + whole : "";
    if (readAddress() !== shown) {
      window.dash_clientside.set_props("address", { data: readAddress() });
    }
  });

  Object.assign(inside, {
    writeAddress: writeAddress,
    wholeQuery: wholeQuery,
    scenarioQuery: scenarioQuery,
    setBeside: setBeside,
    tellBeside: tellBeside,
    setPin: setPin, // setPin(query of a scenario, or null)
    keepPlace: keepPlace, // a new entry of the history, for what comes now
    readAddress: readAddress,
    open: open,
  });
})();
