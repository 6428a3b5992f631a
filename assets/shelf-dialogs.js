/* In which dialogs is an item saved, named, and its revisions looked through? */
(function () {
  "use strict";

  const shelf = window.crestline.shelf;
  const { make, button, ask, trouble, notice, tell, clock, timeOf } = shelf;
  const { opened, remember, openItem } = shelf;

  let labels = 0;

  function field(label, input, help) {
    labels += 1;
    input.id = "shelf-field-" + labels;
    const told = help ? make("small", { class: "help", id: input.id + "-help" }, help) : null;
    if (told) input.setAttribute("aria-describedby", told.id);
    return make("div", { class: "shelf-field" },
      make("label", { for: input.id }, label), input, told);
  }

  /* Show a dialog; `act` is given the dialog's way to tell what is wrong. */
  function dialog(title, parts, actLabel, act) {
    labels += 1;
    const heading = make("h2", { id: "shelf-dialog-" + labels, dir: "auto" }, title);
    const alert = make("div", { class: "shelf-alert", role: "alert" });
    const cancel = button(act ? "Cancel" : "Close", () => box.close());
    const go = act ? make("button", { type: "submit", class: "main" }, actLabel) : null;
    const form = make("form", {},
      parts, alert, make("div", { class: "shelf-buttons" }, go, cancel));
    const box = make("dialog", { class: "shelf-dialog", "aria-labelledby": heading.id },
      heading, form);
    box.addEventListener("close", () => box.remove());
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (!act || go.disabled) return;
      go.disabled = true;
      alert.replaceChildren();
      await act((...children) => alert.replaceChildren(...children), box);
      go.disabled = false;
    });
    document.body.append(box);
    box.showModal();
    return box;
  }

  function textInput(value, longest) {
    return make("input", { type: "text", value: value, maxlength: longest, autocomplete: "off" });
  }

  function tagList(text) {
    return text.split(",").map((tag) => tag.trim()).filter((tag) => tag !== "");
  }

  function labelFields(item) {
    const name = textInput(item.name, 120);
    const tags = textInput(item.tags.join(", "), 600);
    const note = make("textarea", { rows: 4, maxlength: 5000 });
    note.value = item.note;
    return {
      parts: [
        field("Name", name),
        field("Tags", tags, "Words with commas between them."),
        field("Note", note),
      ],
      read: () => ({ name: name.value, tags: tagList(tags.value), note: note.value }),
    };
  }

  /* Save the scenario that the Host page shows. */
  function shelve() {
    const scenario = window.crestline.scenario();
    if (scenario === null) return;
    const known = opened();
    const fresh = labelFields({ name: JSON.parse(scenario).name, tags: [], note: "" });
    const words = textInput("", 500);
    const revisionPart = make("div", {},
      field("What changed", words, "If it stays empty, what differs is written down."));
    const freshPart = make("div", {}, fresh.parts);
    let asRevision = known !== null;
    const choices = [];
    function choose(value) {
      asRevision = value;
      revisionPart.hidden = !asRevision;
      freshPart.hidden = asRevision;
    }
    if (known) {
      const radio = (label, value) => {
        const input = make("input",
          { type: "radio", name: "where", checked: value, onchange: () => choose(value) });
        return make("label", { class: "shelf-choice", dir: "auto" }, input, label);
      };
      choices.push(make("fieldset", { class: "shelf-where" },
        make("legend", {}, "Save as"),
        radio("a new revision of " + known.name, true), radio("a new scenario", false)));
    }
    choose(asRevision);

    function done(told, box) {
      remember(told.item, told.item.revisions);
      box.close();
      tell("Saved on the shelf: " + told.item.name + ", revision " + told.item.revisions + ".");
      shelf.refresh();
    }

    async function saveFresh(label, wrong, box) {
      const told = await ask("/items", { scenario: scenario, ...label });
      if (told.item) done(told, box);
      else wrong(make("p", {}, trouble(told)));
    }

    dialog("Save on the shelf", [...choices, revisionPart, freshPart], "Save", async (wrong, box) => {
      if (!asRevision) {
        await saveFresh(fresh.read(), wrong, box);
        return;
      }
      const body = { scenario: scenario, version: known.version, words: words.value };
      const told = await ask("/items/" + known.id + "/revisions", body);
      if (told.item) {
        done(told, box);
        return;
      }
      const children = [make("p", {}, trouble(told))];
      if (told.changed || told.gone) {
        const copy = {
          name: (known.name.slice(0, 113) + " (copy)"), tags: [], note: "",
          words: "Saved as a copy of " + known.name + ".",
        };
        children.push(button("Save as a copy", () => saveFresh(copy, wrong, box)));
      }
      const inAddress = document.getElementById("link-note").textContent === "";
      if (told.changed && !told.changed.deleted && inAddress) {
        children.push(button("Open the newer one", () => openItem(known, 0)));
        children.push(make("p", { class: "help" },
          "The browser's Back button brings your own scenario back."));
      }
      wrong(...children);
    });
  }
  window.crestline.actions.shelve = shelve;

  function edit(item) {
    const form = labelFields(item);
    let version = item.version;
    dialog("Name, tags and note of " + item.name, form.parts, "Save", async (wrong, box) => {
      const told = await ask("/items/" + item.id + "/relabel", { version: version, ...form.read() });
      if (told.item) {
        const known = opened();
        if (known && known.id === item.id && known.version === version) {
          remember(told.item, known.revision);
        }
        shelf.renamePicked(item.id, told.item.name);
        box.close();
        shelf.refresh();
        return;
      }
      const children = [make("p", {}, trouble(told))];
      if (told.changed && !told.changed.deleted) {
        version = told.changed.version;
        const newer = await ask("/items/" + item.id + "/revisions");
        children[0].textContent = "It was changed at " + clock(told.changed.at_ms) +
          ", after you opened it. Save again to replace what it says now:";
        if (newer.item) {
          children.push(make("dl", {}, [
            ["Name", newer.item.name], ["Tags", newer.item.tags.join(", ") || "none"],
            ["Note", newer.item.note || "none"],
          ].map(([name, value]) => [make("dt", {}, name), make("dd", { dir: "auto" }, value)])));
        }
      }
      wrong(...children);
    });
  }

  async function showRevisions(item) {
    const told = await ask("/items/" + item.id + "/revisions");
    const wrong = trouble(told);
    if (wrong) {
      notice(make("p", {}, wrong));
      return;
    }
    const rows = told.revisions.map((each) =>
      make("li", {},
        make("div", {}, make("strong", {}, "Revision " + each.number), ", ", timeOf(each.saved_ms)),
        make("div", { class: "shelf-words", dir: "auto" }, each.words),
        button("Open", () => openItem(item, each.number),
          { "aria-label": "Open revision " + each.number })));
    dialog("Revisions of " + item.name, [make("ol", { class: "shelf-revisions" }, rows)]);
  }

  Object.assign(shelf, { edit: edit, showRevisions: showRevisions });
})();
