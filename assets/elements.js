/* How do the scripts make parts of a page?

   What people wrote is put on the page as text, never as markup. */
(function () {
  "use strict";

  /* make(tag, {attribute: value}, ...children): "text" is the text within, "onclick" and the like
     are listened to, true is an attribute without a value; what is false or null is left out. */
  function make(tag, given, ...children) {
    const element = document.createElement(tag);
    Object.entries(given || {}).forEach(([name, value]) => {
      if (name === "text") element.textContent = value;
      else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (value === true) element.setAttribute(name, "");
      else if (value !== false && value !== null && value !== undefined) {
        element.setAttribute(name, String(value));
      }
    });
    children.flat(Infinity).forEach((child) => {
      if (child !== null && child !== undefined) element.append(child);
    });
    return element;
  }

  function button(label, act, more) {
    return make("button", { type: "button", onclick: act, ...more }, label);
  }

  /* "1 log", "2,000 logs". */
  function count(number, one, many) {
    return number === 1 ? "1 " + one : number.toLocaleString("en") + " " + many;
  }

  Object.assign(window.crestline, { make: make, button: button, count: count });
})();
