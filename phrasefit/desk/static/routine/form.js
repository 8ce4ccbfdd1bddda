// --------------------------------------------------------- the form in which a routine is made
//
// `base` is the text of the file as it was opened, `form` what stands in the form now. The desk
// puts the one into the other, so that nothing else in the file changes, and checks it.

import { make, putOff, say, tried, triedUnasked } from "../elements.js";
import { onceLetGo } from "../letting-go.js";
import { get, news, post } from "../server.js";
import { forget, handOver, recall, remember } from "./drafts.js";
import { headOf, partHeadOf, placesIn, tagHeadOf } from "./head.js";
import { menuFor } from "./menu.js";
import { addLine, countsAfter, newLine, rowsOf, showChecked } from "./rows.js";

const CHECK_AFTER_MS = 250;
const MOST_UNDO = 200;

/** Show the form for what the address asks. */
export async function showForm(main, query) {
  const [opened, words] = await Promise.all([open(query), get("/api/routines/words")]);
  const form = new Form(main, words, opened);
  form.draw();
  form.showCheck(opened);
  const quiet = news("routines", (changed) => form.heard(changed));
  return () => { quiet(); form.leave(); };
}

/** Open a saved routine, a copy of one, or what was handed over; typed but not saved goes first. */
async function open(query) {
  const key = query.get("routine") ?? "";
  if (query.has("copy")) {
    const copied = await get(`/api/routines/open?routine=${encodeURIComponent(query.get("copy"))}`);
    const name = copied.form ? `${copied.form[0].fields.name} (mine)` : "";
    handOver({ text: copied.text, name });
    history.replaceState(null, "", "/routines/edit?draft"); // a reload goes on with the copy
  }
  const draft = recall(key);
  if (draft?.made) return { ...(await named(draft.made.text, draft.made.name)), fresh: true };
  const kept = key ? await get(`/api/routines/open?routine=${encodeURIComponent(key)}`) : null;
  if (draft?.base !== undefined) {
    const check = await post("/api/routines/check", { text: draft.base, form: draft.form });
    return { ...check, key, revision: draft.revision, base: draft.base, form: draft.form, kept, again: true };
  }
  return kept ?? { ...(await post("/api/routines/new", { text: 'name = "New routine"\ncounts = 32\nwalls = 4\n' })), fresh: true };
}

async function named(text, name) {
  const state = await post("/api/routines/new", { text });
  if (state.form && name) state.form[0].fields.name = name;
  return state;
}

class Form {
  constructor(main, words, opened) {
    Object.assign(this, { main, words, key: opened.fresh ? "" : opened.key ?? "" });
    this.revision = opened.fresh ? 0 : opened.revision;
    this.base = opened.base ?? opened.text;
    this.form = opened.form;
    this.check = opened;
    this.unkept = Boolean(opened.fresh || opened.again);
    this.again = Boolean(opened.again);
    this.kept = opened.kept ?? null;
    this.undone = [];
    this.done = [];
    this.snapshot = this.state();
    this.lastTyped = null;
    this.asked = null;
    this.showIt = onceLetGo(main, () => this.checked());
    this.drawOpened = onceLetGo(main, () => {
      this.draw();
      this.showCheck(this.check);
    });
  }

  get group() { return (this.check.routine?.meter ?? 4) === 3 ? 6 : 8; }

  state() { return JSON.stringify({ base: this.base, form: this.form }); }

  // ------------------------------------------------------------------------- changes

  /** A field was typed in: one step to undo for each field. */
  typed(id) {
    this.note(id);
    this.askSoon();
  }

  /** Lines or blocks came or went: draw anew, and go to `focus`. */
  changed(focus) {
    this.note(null);
    this.draw();
    this.showCheck(this.check, { stale: true });
    if (focus) this.main.querySelector(`#${CSS.escape(focus)}`)?.focus();
    this.ask();
  }

  note(id) {
    if (id === null || id !== this.lastTyped) {
      this.done.push(this.snapshot);
      if (this.done.length > MOST_UNDO) this.done.shift();
    }
    this.lastTyped = id;
    this.undone = [];
    this.snapshot = this.state();
    this.unkept = true;
    this.rememberIt();
    this.showKeys();
  }

  /** Go one step back (or forward again). */
  step(from, to) {
    if (!from.length) return;
    to.push(this.state());
    this.snapshot = from.pop();
    Object.assign(this, JSON.parse(this.snapshot), { lastTyped: null, unkept: true });
    this.rememberIt();
    this.draw();
    this.ask();
    say(from === this.done ? "Undone" : "Done again");
  }

  // -------------------------------------------------------------------------- checking

  askSoon() {
    clearTimeout(this.soon);
    this.soon = setTimeout(() => this.ask(), CHECK_AFTER_MS);
  }

  async ask() {
    clearTimeout(this.soon);
    const turn = Symbol("check");
    this.asked = turn;
    await tried(async () => {
      const check = await post("/api/routines/check", { text: this.base, form: this.form });
      if (this.asked === turn) this.showCheck(check);
    });
  }

  /** Show what the check says; `stale` = it is about the form before the last change. */
  showCheck(check, { stale = false } = {}) {
    const before = this.check.status;
    this.check = check;
    if (stale) return;
    this.showIt();
    if (before !== check.status) say(check.status);
  }

  /** Show the last check in the form: rows of findings come and go. */
  checked() {
    const { check } = this;
    this.showPlaces();
    showChecked(this.main, check);
    this.main.querySelector("#status").textContent = sentence(check.status);
    this.showKeys();
    this.main.querySelector("#summary").textContent = check.summary;
    this.showPoints(check);
    const text = this.main.querySelector("#as-text");
    if (text !== document.activeElement) text.value = check.text;
  }

  /** Let the rows of counts follow what was typed, but not each letter that is no routine yet. */
  showPlaces() {
    const many = (row) => row.querySelectorAll("button").length;
    this.form?.forEach((block, b) => placesIn(block, b, this).forEach((row) => {
      const old = this.main.querySelector(`#${row.id}`);
      if (old && (this.check.routine || many(row) !== many(old))) old.replaceWith(row);
    }));
  }

  /** Say under the row of counts where a restart is possible, and with which change of step. */
  showPoints({ routine }) {
    if (!routine) return;
    this.form?.forEach((block, b) => {
      const place = this.main.querySelector(`#p-${b}-restarts-points`);
      const part = block.kind === "part" ? routine.parts.find((p) => p.name === block.name) : routine.parts[0];
      if (!place || !part || (b === 0 && routine.sequence.length)) return;
      place.textContent = part.restarts.filter((point) => point.step_change)
        .map((point) => `After ${point.after_count}: ${point.step_change}.`).join(" ");
    });
  }

  // ----------------------------------------------------------------------------- keeping

  async keep(revision = this.revision) {
    if (await this.taking === false || this.keeping) return; // text that was refused, or pressed twice
    this.keeping = true;
    const sent = this.state();
    await tried(async () => {
      try {
        const kept = await post("/api/routines/save",
          { key: this.key, revision, text: this.base, form: this.form });
        const before = this.key;
        Object.assign(this, { key: kept.key, revision: kept.revision, unkept: this.state() !== sent });
        forget(before);
        if (this.unkept) this.rememberIt(); // typed while it was being saved
        this.main.querySelectorAll("#elsewhere > *, #again").forEach((note) => note.remove());
        this.showKeys();
        say("Saved");
        if (!before) history.replaceState(null, "", `/routines/edit?routine=${encodeURIComponent(kept.key)}`);
      } catch (error) {
        if (error.status !== 409) throw error;
        this.elsewhere(error.state);
      }
    });
    this.keeping = false;
  }

  rememberIt() {
    remember(this.key, { base: this.base, form: this.form, revision: this.revision });
  }

  heard({ key, revision }) {
    if (key !== this.key || !key || revision === this.revision) return;
    if (!this.unkept) triedUnasked(() => this.reopen());
    else get(`/api/routines/open?routine=${encodeURIComponent(key)}`)
      .then((state) => { if (state.revision !== this.revision) this.elsewhere(state); }, () => {});
  }

  async reopen() {
    const state = await get(`/api/routines/open?routine=${encodeURIComponent(this.key)}`);
    if (state.revision !== this.revision) this.take(state);
  }

  /** Two windows: say so, and let the person choose. */
  elsewhere(newer) {
    const place = this.main.querySelector("#elsewhere");
    place.replaceChildren(make("div", { class: "card", role: "alert" },
      make("p", {}, newer.revision ? "This routine was changed in another window meanwhile."
        : "This routine was removed in another window meanwhile."),
      make("div", { class: "keys" },
        newer.revision ? make("button", { onclick: () => this.take(newer) }, "Take the newer one") : null,
        make("button", { onclick: () => this.keep(newer.revision) }, "Save mine"))));
    place.scrollIntoView({ block: "nearest" });
  }

  take(state) {
    forget(this.key);
    Object.assign(this, { base: state.text, form: state.form, revision: state.revision, unkept: false, again: false });
    Object.assign(this, { snapshot: this.state(), done: [], undone: [], check: state });
    this.drawOpened();
    say("This is the newer one");
  }

  leave() {
    clearTimeout(this.soon);
    this.asked = null;
  }

  // ----------------------------------------------------------------------------- drawing

  menu(button, choices) { menuFor(button, choices); }

  draw() {
    const pieces = [
      make("h1", {}, this.form?.[0].fields.name || "Routine"),
      this.keysOf(),
      make("div", { id: "elsewhere" }),
      this.again ? this.againNote() : null,
      make("div", { class: "findings", id: "f-general" }),
      ...(this.form ? this.blocks().filter(Boolean) : []),
      make("details", { class: "follows", open: innerWidth > 1100 },
        make("summary", {}, "What follows from the steps"), make("pre", { id: "summary", tabindex: "0" })),
      make("details", { open: !this.form }, make("summary", {}, "The file as text"), this.asText()),
      make("datalist", { id: "step-names" }, this.words.steps.map((step) => make("option", { value: step }))),
      make("datalist", { id: "levels" }, this.words.levels.map((level) => make("option", { value: level })))];
    this.main.replaceChildren(...pieces.filter(Boolean));
    this.showKeys();
  }

  /** Say that what was typed is back, and offer what is saved instead. */
  againNote() {
    return make("p", { class: "card", id: "again" }, "What you had typed and not saved yet is here again. ",
      this.kept ? make("button", { onclick: () => this.take(this.kept) }, "Take what is saved instead") : null);
  }

  keysOf() {
    const key = (id, words, work, main = "") => make("button", { id, class: main, onclick: work }, words);
    return make("div", { class: "bar" },
      make("div", { class: "keys" },
        key("keep", "Save", () => this.keep(), "main"),
        key("undo", "Undo", () => this.step(this.done, this.undone)),
        key("redo", "Redo", () => this.step(this.undone, this.done)),
        make("a", { id: "as-file", class: "button", download: "" }, "As a file"),
        make("a", { id: "as-sheet", class: "button", download: "" }, "As a typed sheet"),
        make("a", { id: "fits", class: "button" }, "Which songs fit?")),
      make("p", { id: "status", class: "status", role: "status" }));
  }

  showKeys() {
    const at = (id) => this.main.querySelector(`#${id}`);
    putOff(at("keep"), !this.unkept);
    putOff(at("undo"), !this.done.length);
    putOff(at("redo"), !this.undone.length);
    const key = encodeURIComponent(this.key);
    at("as-file").hidden = !this.key || this.unkept;
    at("as-sheet").hidden = at("fits").hidden = !this.key || this.unkept || this.check.errors > 0;
    at("as-file").href = `/api/routines/file?routine=${key}`;
    at("as-sheet").href = `/api/routines/file?routine=${key}&as=sheet`;
    at("fits").href = `/songs?fits=${key}`;
    if (this.form) this.main.querySelector("h1").textContent = this.form[0].fields.name || "Routine";
  }

  blocks() {
    const [head, ...others] = this.form;
    const phrased = others.some((block) => block.kind === "part");
    head.title = "Steps";
    return [
      headOf(head, { phrased }, this),
      phrased ? null : this.stepsOf(head, 0),
      ...others.map((block, i) => this.otherOf(block, i + 1)),
      make("div", { class: "keys" },
        phrased ? make("button", { onclick: () => this.addPart() }, "Add a part") : null,
        make("button", { onclick: () => this.addTag() }, "Add a tag with steps of its own")),
    ];
  }

  stepsOf(block, b) {
    const add = make("button", { id: `add-${b}`, onclick: () => this.addStep(block, b) }, "Add a step");
    const clear = make("button", { onclick: () => this.clear(block, b) }, "Clear the steps");
    return make("section", { class: "steps" }, make("h2", {}, block.title ?? "Steps"),
      make("p", { class: "quiet" },
        "Feet: R, L, B (both) or . (no weight), one for each moment of the counts. Enter goes on."),
      make("div", { class: "findings", id: `f-${b}-steps` }),
      block.lines ? rowsOf(block, b, this) : null, make("div", { class: "keys" }, add, block.lines ? clear : null));
  }

  otherOf(block, b) {
    block.title = block.kind === "part" ? `Part ${block.name}` : `Tag ${block.fields.name}`.trim();
    const head = block.kind === "part" ? partHeadOf(block, b, this) : tagHeadOf(block, b, this);
    const out = make("button", { onclick: () => { this.form.splice(b, 1); this.changed(null); } },
      `Take ${block.kind === "part" ? "this part" : "this tag"} out`);
    const section = this.stepsOf(block, b);
    section.querySelector("h2").after(head);
    section.append(make("div", { class: "keys" }, out));
    return section;
  }

  addStep(block, b) {
    block.lines ??= [];
    const counts = countsAfter(block.lines, block.lines.length - 1, this.group);
    addLine(block, b, block.lines.length - 1, newLine("step", [counts, "", "", ""]), this);
  }

  clear(block, b) {
    block.lines = [newLine("step", ["1-2", "", "", ""])];
    this.changed(`c-${b}-0-1`);
  }

  addPart() {
    const taken = this.form.filter((block) => block.kind === "part").map((block) => block.name);
    const name = [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((letter) => !taken.includes(letter));
    const at = this.form.findLastIndex((block) => block.kind === "part") + 1;
    this.form.splice(at, 0, this.newBlock("part", name, { counts: "16", turn: "", restarts: "" }));
    this.changed(`c-${at}-0-1`);
  }

  addTag() {
    this.form.push(this.newBlock("tag", "", { name: "", counts: "4", turn: "" }));
    this.changed(`c-${this.form.length - 1}-0-1`);
  }

  newBlock(kind, name, fields) {
    return { kind, place: [], name, fields, lines: [newLine("step", ["1-2", "", "", ""])] };
  }

  // ------------------------------------------------------------------------- as text

  asText() {
    const text = make("textarea", { id: "as-text", rows: 18, spellcheck: "false", "aria-label": "The file as text",
      value: this.check.text ?? this.base });
    text.value = this.check.text ?? this.base;
    text.addEventListener("input", () => {
      this.unkept = true;
      this.showKeys();
    });
    text.addEventListener("change", () => {
      this.taking = tried(() => this.takeText(text.value)).then((taken = false) => {
        this.taking = null;
        return taken;
      });
    });
    return [text, make("p", { class: "quiet" },
      "For those who like it: what is written here goes into the form once you leave the text.")];
  }

  async takeText(text) {
    const state = await post("/api/routines/new", { text });
    Object.assign(this, { base: text, form: state.form, check: state });
    this.note(null);
    this.drawOpened();
    return true;
  }
}

const sentence = (words) => `${words.slice(0, 1).toUpperCase()}${words.slice(1)}.`;

