// -------------------------------------------------- the step lines of a block, one row each

import { make } from "../elements.js";
import { facingOf, feetOf } from "./drawing.js";

const CELLS = ["counts", "step", "feet", "turn"];
const HINTS = { counts: "1-2", step: "step", feet: "R L", turn: "1/4 L" };
const KINDS = {
  heading: ["Heading", "a name for the steps below"],
  facing: ["Everyone faces", "3:00"],
  other: ["Remark", ""],
};

/** Make an empty line of a kind. */
export const newLine = (kind, cells = ["", "", "", ""], text = "") => ({ kind, cells, text, was: null });

/** Give the counts that follow those of a line: as many again, from 1 after a section. */
export function countsAfter(lines, at, group) {
  const steps = lines.filter((line) => line.kind === "step");
  const numbers = (line) => (line.cells[0].match(/\d+/g) ?? []).map(Number);
  const before = lines.slice(0, at + 1).findLast((line) => line.kind === "step");
  if (!before || !numbers(before).length) return "1-2";
  const bySection = Math.max(...steps.flatMap(numbers)) <= group && steps.length > 1;
  const last = Math.max(...numbers(before));
  const first = bySection && last >= group ? 1 : last + 1;
  return /&/.test(before.cells[0]) ? `${first}&${first + 1}` : `${first}-${first + 1}`;
}

/**
 * Make the rows of a block.
 *
 * `form` offers `typed(id)` after a field changed, `changed(focus)` after lines came or went,
 * and `menu(button, choices)`.
 */
export function rowsOf(block, b, form) {
  return make("ol", { class: "rows", "aria-label": block.title },
    block.lines.map((line, r) => rowOf(block, b, line, r, form)));
}

function rowOf(block, b, line, r, form) {
  const id = `${b}-${r}`;
  if (line.kind === "other" && !line.text) return make("li", { hidden: true, data: { row: id } });
  const fields = line.kind === "step"
    ? CELLS.map((name, c) => cellOf(line, c, name, id, form))
    : [textOf(line, id, form)];
  const item = make("li", { class: `row ${line.kind}`, data: { row: id } }, fields,
    make("span", { class: "drawn" }),
    make("button", { class: "line", "aria-haspopup": "true", "aria-label": `Change ${saidOf(line)}`,
      onclick: (event) => form.menu(event.currentTarget, choices(block, b, r, form)) }, "Line"),
    make("div", { class: "findings", id: `f-${id}` }));
  item.addEventListener("keydown", (event) => keys(event, block, b, r, form));
  return item;
}

const saidOf = (line) => (line.kind === "step" ? `the line ${line.cells[0]} ${line.cells[1]}` : `the line ${line.text}`);

function cellOf(line, c, name, id, form) {
  return make("label", { class: `cell ${name}` }, make("span", {}, name),
    make("input", { type: "text", id: `c-${id}-${c}`, value: line.cells[c], placeholder: HINTS[name],
      list: name === "step" ? "step-names" : null, autocomplete: "off", spellcheck: "false",
      "aria-describedby": `f-${id}`,
      oninput: (event) => { line.cells[c] = event.target.value; form.typed(event.target.id); } }));
}

function textOf(line, id, form) {
  const [name, hint] = KINDS[line.kind];
  return make("label", { class: "text" }, make("span", {}, name),
    make("input", { type: "text", id: `c-${id}-0`, value: line.text, placeholder: hint, autocomplete: "off",
      "aria-describedby": `f-${id}`,
      oninput: (event) => { line.text = event.target.value; form.typed(event.target.id); } }));
}

/** Put a line into a block and go to it. */
export function addLine(block, b, r, line, form) {
  block.lines.splice(r + 1, 0, line);
  form.changed(`c-${b}-${r + 1}-${line.kind === "step" && line.cells[0] ? 1 : 0}`);
}

function move(block, b, r, by, form) {
  const to = r + by;
  if (to < 0 || to >= block.lines.length) return;
  block.lines.splice(to, 0, ...block.lines.splice(r, 1));
  form.changed(`c-${b}-${to}-0`);
}

const stepAfter = (block, r, form) => newLine("step", [countsAfter(block.lines, r, form.group), "", "", ""]);

function choices(block, b, r, form) {
  return [
    ["Add a step below", () => addLine(block, b, r, stepAfter(block, r, form), form)],
    ["Add a heading below", () => addLine(block, b, r, newLine("heading"), form)],
    ["Add where everyone faces", () => addLine(block, b, r, newLine("facing"), form)],
    ["Move up", () => move(block, b, r, -1, form)],
    ["Move down", () => move(block, b, r, 1, form)],
    ["Take this line out", () => {
      block.lines.splice(r, 1);
      form.changed(`c-${b}-${Math.max(0, r - 1)}-0`);
    }],
  ];
}

/** Enter goes on with the next line, Alt and an arrow move the line. */
function keys(event, block, b, r, form) {
  if (event.target.tagName !== "INPUT") return;
  if (event.key === "Enter") {
    event.preventDefault();
    const next = block.lines.findIndex((line, at) => at > r && line.kind === "step");
    if (next >= 0 && !event.shiftKey) document.getElementById(`c-${b}-${next}-1`).focus();
    else addLine(block, b, r, stepAfter(block, r, form), form);
  } else if (event.altKey && (event.key === "ArrowUp" || event.key === "ArrowDown")) {
    event.preventDefault();
    move(block, b, r, event.key === "ArrowUp" ? -1 : 1, form);
  }
}

/** Show beside each row what is wrong with it, and what it leads to. */
export function showChecked(main, check) {
  for (const place of main.querySelectorAll(".findings")) place.replaceChildren();
  for (const input of main.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  for (const place of main.querySelectorAll(".row.step .drawn")) place.replaceChildren();
  for (const found of check.findings) findingOf(main, found);
  for (const row of check.rows) {
    const place = main.querySelector(`[data-row="${row.block}-${row.row}"] .drawn`);
    if (!place) continue;
    if (row.feet.length) place.append(feetOf(row.feet));
    place.append(facingOf(row.facing, row.clock));
    place.classList.toggle("turns", row.turn_deg !== 0);
  }
}

const SEVERITIES = { error: "To mend: ", warning: "To decide: ", note: "To know: " };

function findingOf(main, found) {
  const words = make("p", { class: `found ${found.severity}` },
    make("b", {}, SEVERITIES[found.severity]), found.message);
  const id = "row" in found ? `f-${found.block}-${found.row}` : `f-${found.block}-${found.field}`;
  const place = main.querySelector(`#${CSS.escape(id)}`) ?? main.querySelector("#f-general");
  if (place.id === "f-general") words.prepend(`Line ${found.line} of the file. `);
  place.append(words);
  if (found.severity !== "error") return;
  for (const input of main.querySelectorAll(`[aria-describedby="${CSS.escape(id)}"]`)) input.setAttribute("aria-invalid", "true");
}
