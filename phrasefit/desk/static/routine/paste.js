// ---------------------------------------- a typed step sheet, read line by line as it is mended

import { go } from "../desk.js";
import { make, say, tried } from "../elements.js";
import { post } from "../server.js";
import { handOver } from "./drafts.js";

const READ_AFTER_MS = 300;
const EXAMPLE = `Copper Kettle Stroll
32 counts, 4 walls, improver
1-2  Walk forward right, left
3&4  Shuffle forward R, L, R`;

/** Show the place to paste into, and below it how each line was understood. */
export function showPaste(main) {
  const text = make("textarea", { id: "sheet", rows: 14, spellcheck: "false", placeholder: EXAMPLE });
  const result = make("section", { "aria-label": "How the lines were understood" });
  let soon = null;
  let turn = 0;
  const read = () => tried(async () => {
    clearTimeout(soon);
    const mine = ++turn;
    if (!text.value.trim()) { result.replaceChildren(); return; }
    const sheet = await post("/api/routines/pasted", { text: text.value });
    if (mine === turn) show(sheet);
  });
  const readSoon = () => { clearTimeout(soon); soon = setTimeout(read, READ_AFTER_MS); };

  /** Put a mended line in place of what was pasted. */
  const mend = (number, words) => {
    const lines = text.value.split(/\r\n|\r|\n/);
    lines[number - 1] = words;
    text.value = lines.join("\n");
    readSoon();
  };

  function show(sheet) {
    const focused = document.activeElement?.dataset?.line;
    const marked = sheet.lines.filter((line) => !line.kind);
    const status = marked.length === 0 ? "Every line was understood."
      : marked.length === 1 ? "1 line was not understood and is marked. Mend it here, or later in the form."
        : `${marked.length} lines were not understood and are marked. Mend them here, or later in the form.`;
    result.replaceChildren(
      make("p", { class: "status", id: "pasted-status", role: "status" }, status),
      make("button", { class: "main", id: "take-over", onclick: () => {
        handOver({ text: sheet.text, name: "" });
        go("/routines/edit?draft");
      } }, "Go on in the form"),
      make("ol", { class: "read" }, sheet.lines.map((line) => lineOf(line, mend))));
    if (focused) {
      const again = result.querySelector(`[data-line="${focused}"]`);
      again?.focus();
      again?.setSelectionRange?.(again.value.length, again.value.length);
    }
    say(status);
  }

  text.addEventListener("input", readSoon);
  main.append(
    make("h1", {}, "Paste a step sheet"),
    make("p", {}, "Paste it as it was typed. Each line is shown with what was understood; what could mean two things is marked, and nothing is guessed."),
    make("label", { for: "sheet" }, "The step sheet"), text, result);
  text.focus();
  return () => { clearTimeout(soon); turn = -1; };
}

function lineOf(line, mend) {
  if (line.kind) {
    return make("li", { class: `taken ${line.kind}` }, make("span", { class: "was" }, line.text),
      make("span", { class: "as" }, line.taken_as));
  }
  const id = `mend-${line.number}`;
  return make("li", { class: "marked" },
    make("label", { for: id }, `Line ${line.number}, not understood`),
    make("input", { type: "text", id, value: line.text, data: { line: line.number }, "aria-describedby": `why-${line.number}`,
      "aria-invalid": "true", oninput: (event) => mend(line.number, event.target.value) }),
    make("span", { class: "found error", id: `why-${line.number}` }, line.why));
}
