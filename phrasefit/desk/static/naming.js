// ------------------------------------------------------------------ naming a section

import { make } from "./elements.js";

const NAMES = ["intro", "verse", "chorus", "bridge", "break", "solo", "ending"];
const MOST_LETTERS = 20;

/** Ask what the section of count `i` is called; `done(section_names)` gets the correction. */
export function nameDialog(score, i, done) {
  const section = score.sections.findLast((s) => s.at <= i);
  const at_s = score.times[section.at];
  const give = (name) => { dialog.close(); done([{ at_s, name }]); };
  const field = make("input", { type: "text", maxlength: MOST_LETTERS, "aria-label": "another name" });
  const dialog = make("dialog", { "aria-labelledby": "name-head" },
    make("h2", { id: "name-head" }, `What is the section at ${minutes(at_s)} called?`),
    make("p", { class: "keys" }, NAMES.map((name) => make("button", { onclick: () => give(name) }, name))),
    make("form", { class: "keys", method: "dialog", onsubmit: (event) => {
      event.preventDefault();
      if (field.value.trim()) give(field.value.trim());
    } }, field, make("button", { type: "submit" }, "Take this name")),
    make("p", { class: "keys" }, make("button", { onclick: () => give("") }, "No name"),
      make("button", { onclick: () => dialog.close() }, "Leave it")));
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
