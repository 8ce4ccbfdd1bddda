// ------------------------------------------------------------------------ the view "Routines"
//
// /routines lists them, /routines/new offers templates, /routines/paste reads a typed sheet,
// /routines/edit?routine=KEY (or ?copy=KEY, ?template=KEY, ?draft) opens the form.

import { go } from "../desk.js";
import { make, once, say, tried, triedUnasked, trouble } from "../elements.js";
import { onceLetGo } from "../letting-go.js";
import { showForm } from "../routine/form.js";
import { forget, handOver, recall } from "../routine/drafts.js";
import { showPaste } from "../routine/paste.js";
import { get, news, post } from "../server.js";

export const title = "Routines";

const MOST_BYTES = 1_000_000; // a routine is some kilobytes

/** Fill `main`. */
export async function show(main, place) {
  const [page] = place.path;
  if (page === "edit") return showForm(main, place.query);
  if (page === "new") return showTemplates(main);
  if (page === "paste") return showPaste(main);
  return showList(main);
}

const edit = (name, key) => `/routines/edit?${name}=${encodeURIComponent(key)}`;

// ------------------------------------------------------------------------------- the list

async function showList(main) {
  const file = make("input", { type: "file", accept: ".toml", multiple: true, "aria-label": "Open a routine file",
    onchange: () => tried(() => takeIn([...file.files])) });
  const list = make("div", { class: "wide" });
  main.append(
    make("h1", {}, title),
    make("div", { class: "keys" },
      make("a", { class: "button main", href: "/routines/new" }, "New routine"),
      make("a", { class: "button", href: "/routines/paste" }, "Paste a step sheet"),
      make("span", { class: "button" }, "Open a routine file", file)),
    recall("")?.base === undefined ? "" : draftNote(),
    list);
  let routines = [];
  const draw = onceLetGo(list, () => list.replaceChildren(...tables(routines, load)));
  const load = async () => {
    ({ routines } = await get("/api/routines"));
    draw();
  };
  await load();
  const drop = (event) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    if (event.type === "drop") tried(() => takeIn([...event.dataTransfer.files]));
  };
  for (const kind of ["dragover", "drop"]) main.addEventListener(kind, drop);
  const again = () => triedUnasked(load);
  return news("routines", again, again);
}

/** Say that something is still being written. */
function draftNote() {
  const note = make("p", { class: "card" }, "A new routine is not saved yet. ",
    make("a", { class: "button", href: "/routines/edit?draft" }, "Go on with it"), " ",
    make("button", { onclick: () => { forget(""); note.remove(); } }, "Throw it away"));
  return note;
}

/** Save the routine files that were picked or dropped, and open the last one. */
async function takeIn(files) {
  const failed = [];
  let kept = null;
  for (const one of files) {
    if (!one.name.toLowerCase().endsWith(".toml") || one.size > MOST_BYTES) {
      failed.push(`${one.name} is no routine file; it ends in .toml. A typed sheet goes under "Paste a step sheet"`);
      continue;
    }
    kept = await post("/api/routines/save", { key: "", revision: 0, text: await one.text() });
  }
  if (kept) await go(edit("routine", kept.key));
  if (failed.length) trouble({ message: failed.join("\n") });
}

function tables(rows, load) {
  const own = rows.filter((row) => !row.supplied);
  const supplied = rows.filter((row) => row.supplied);
  return [
    make("h2", {}, "Your routines"),
    own.length ? table(own, load)
      : make("p", { class: "quiet" }, "None yet. Make one from a template, paste a sheet, or drop a routine file here."),
    make("h2", {}, "Examples"),
    make("p", { class: "quiet" }, "Invented routines that come with the program. To change one, copy it."),
    table(supplied, load),
  ];
}

const HEADS = ["Name", "Size", "Counts a minute", "Level"];

function table(rows, load) {
  return make("table", { class: "list" },
    make("thead", {}, make("tr", {}, HEADS.map((head) => make("th", { scope: "col" }, head)),
      make("th", { scope: "col" }, make("span", { class: "unseen" }, "What you can do")))),
    make("tbody", {}, rows.map((row) => line(row, load))));
}

function line(row, load) {
  const tempo = row.tempo_bpm ? row.tempo_bpm.map((n) => Number(n.toFixed(1))).join(" to ") : "";
  const found = [
    row.errors ? `${row.errors} to mend` : "",
    row.warnings ? `${row.warnings} to decide on` : "",
  ].filter(Boolean).join(", ");
  const name = make("th", { scope: "row" },
    make("a", { class: "name", href: edit(row.supplied ? "copy" : "routine", row.key) }, row.name),
    row.by ? make("span", { class: "quiet by" }, row.by) : null,
    found ? make("span", { class: `found ${row.errors ? "error" : "warning"}` }, found) : null);
  const cells = [row.size ?? "", tempo, row.level ?? ""]
    .map((text, i) => make("td", { "data-head": HEADS[i + 1] }, text));
  const keys = make("td", {}, make("div", { class: "keys" },
    row.errors ? null : make("a", { class: "button", href: `/songs?fits=${encodeURIComponent(row.key)}`,
      "aria-label": `Which songs fit? ${row.name}` }, "Which songs fit?"),
    make("a", { class: "button", href: edit("copy", row.key), "aria-label": `Copy and change ${row.name}` },
      "Copy and change"),
    make("a", { class: "button", href: `/api/routines/file?routine=${encodeURIComponent(row.key)}`, download: "",
      "aria-label": `As a file: ${row.name}` }, "As a file"),
    row.supplied ? null : make("button", { "aria-label": `Remove ${row.name}`,
      onclick: once(() => tried(() => remove(row, load))) }, "Remove")));
  return make("tr", {}, name, cells, keys);
}

/** Remove a routine; its row offers to take that back. */
async function remove(row, load) {
  const { text } = await post("/api/routines/remove", { key: row.key, revision: row.revision });
  const back = make("button", { onclick: () => tried(async () => {
    await post("/api/routines/save", { key: row.key, revision: 0, text });
    note.remove();
    await load();
    say(`${row.name} is back`);
  }) }, "Take it back");
  const note = make("p", { class: "card", role: "status" }, `${row.name} is removed. `, back);
  document.querySelector(".routines h1").after(note);
  await load();
  back.focus();
}

// ---------------------------------------------------------------------------- templates

async function showTemplates(main) {
  const { templates } = await get("/api/routines/words");
  const name = make("input", { type: "text", id: "new-name", autocomplete: "off" });
  main.append(
    make("h1", {}, "New routine"),
    make("p", {}, make("label", { for: "new-name" }, "Name "), name),
    make("h2", {}, "Begin with"),
    make("p", { class: "quiet" }, "Plain steps that are right as they stand. Write your own over them."),
    make("div", { class: "keys" }, templates.map((template) =>
      make("button", { onclick: () => {
        handOver({ text: template.text, name: name.value.trim() });
        go("/routines/edit?draft");
      } }, sentenceCase(template.title)))),
    make("p", {}, "On paper already? ", make("a", { href: "/routines/paste" }, "Paste the step sheet"), "."));
  name.focus();
}

const sentenceCase = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);
