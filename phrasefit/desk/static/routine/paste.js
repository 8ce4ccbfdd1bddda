// ---------------------------------------- a typed step sheet, read line by line as it is mended

import { go } from "../desk.js";
import { make, once, say, tried } from "../elements.js";
import { onceLetGo } from "../letting-go.js";
import { post } from "../server.js";
import { handOver } from "./drafts.js";

const READ_AFTER_MS = 300;
const EXAMPLE = `Pewter Ladle Stroll
32 counts, 4 walls, improver
1-2  Walk forward right, left
3&4  Shuffle forward R, L, R`;

/** Show the place to paste into, and below it how each line was understood. */
export function showPaste(main) {
  const text = make("textarea", { id: "sheet", rows: 14, spellcheck: "false", placeholder: EXAMPLE });
  const result = make("section", { "aria-label": "How the lines were understood" });
  let soon = null;
  let turn = 0;
  let sheet = null;
  let typing = ""; // the field of the line that is being mended: it stays one until it is left
  const read = () => tried(async () => {
    clearTimeout(soon);
    const mine = ++turn;
    const sent = text.value;
    const answer = sent.trim() ? await post("/api/routines/pasted", { text: sent }) : null;
    if (mine !== turn || sent !== text.value) return; // it is read anew by then
    sheet = answer && { ...answer, of: sent };
    draw();
  });
  const readSoon = () => { clearTimeout(soon); soon = setTimeout(read, READ_AFTER_MS); };

  /** Put a mended line in place of what was pasted. */
  const mend = (number, words) => {
    const lines = text.value.split(/\r\n|\r|\n/);
    lines[number - 1] = words;
    text.value = lines.join("\n");
    readSoon();
  };

  const goOn = once(async () => {
    if (sheet.of !== text.value) await read(); // typed a moment ago
    if (sheet?.of !== text.value) return;
    handOver({ text: sheet.text, name: "" });
    go("/routines/edit?draft");
  });

  const draw = onceLetGo(result, () => {
    if (!sheet) { result.replaceChildren(); return; }
    typing = result.contains(document.activeElement) ? document.activeElement.id : "";
    const marked = sheet.lines.filter((line) => !line.kind);
    const status = marked.length === 0 ? "Every line was understood."
      : marked.length === 1 ? "1 line was not understood and is marked. Mend it here, or later in the form."
        : `${marked.length} lines were not understood and are marked. Mend them here, or later in the form.`;
    result.replaceChildren(
      make("p", { class: "status", id: "pasted-status", role: "status" }, status),
      make("button", { class: "main", id: "take-over", onclick: goOn }, "Go on in the form"),
      make("ol", { class: "read" }, sheet.lines.map((line) => lineOf(line, mend, typing))));
    say(status);
  });
  result.addEventListener("focusout", () => setTimeout(() => { // where to is known then
    if (typing && document.activeElement.id !== typing) draw();
  }));

  text.addEventListener("input", readSoon);
  main.append(
    make("h1", {}, "Paste a step sheet"),
    make("p", {}, "Paste it as it was typed. Each line is shown with what was understood; what could mean two things is marked, and nothing is guessed."),
    make("label", { for: "sheet" }, "The step sheet"), text, result);
  text.focus();
  return () => { clearTimeout(soon); turn = -1; };
}

function lineOf(line, mend, typing) {
  const id = `mend-${line.number}`;
  if (line.kind && id !== typing) {
    return make("li", { class: `taken ${line.kind}` }, make("span", { class: "was" }, line.text),
      make("span", { class: "as" }, line.taken_as));
  }
  return make("li", { class: "marked" },
    make("label", { for: id }, `Line ${line.number}, ${line.kind ? "understood" : "not understood"}`),
    make("input", { type: "text", id, value: line.text, "aria-describedby": `why-${line.number}`,
      "aria-invalid": line.kind ? null : "true", oninput: (event) => mend(line.number, event.target.value) }),
    make("span", { class: line.kind ? "as" : "found error", id: `why-${line.number}` }, line.kind ? line.taken_as : line.why));
}
