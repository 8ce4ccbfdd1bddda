// ------------------------------------------------------------------------- the view "Sheet"
//
// What the server answers is drawn; the browser guesses nothing about the music. Shared with
// the rehearsal page: sheet.js (lines of counts), counting.js, clicking.js.

import { make, say, tried, triedUnasked, trouble } from "../elements.js";
import { get, news, post } from "../server.js";
import { questionCard } from "../answering.js";
import { handOutFold } from "../hand-out.js";
import { plansOf, routineChoice, verdictOf, withQuery } from "../beside.js";
import { dragOn } from "../dragging.js";
import { countWords, groupsAt } from "../count-menu.js";
import { onceLetGo } from "../letting-go.js";
import { closeMenu, openMenu } from "../menu.js";
import { nameDialog } from "../naming.js";
import { playBar } from "../play-bar.js";
import { Player } from "../playing.js";

export const title = "Sheet";
export const room = "one-song"; // .sheet are the lines of a song, on every page

const NARROW = matchMedia("(max-width: 640px)");
const FINGERS = matchMedia("(pointer: coarse)");
const FINGER_PX = 44; // what a fingertip hits
const TIMES_PX = 42; // the column of times before the lines
const COUNT_IN = 8; // counts heard before a start

/** Fill `main` with the sheet that the address names. */
export async function show(main, { path, query }) {
  const [hash] = path;
  if (!hash) {
    main.append(...chooseFirst());
    return undefined;
  }
  const [doc, { routines }] = await Promise.all([sheetOrSong(hash, query), get("/api/routines")]).catch((error) => {
    if (error.status === 404) main.append(...chooseFirst());
    throw error;
  });
  const view = new SheetView(main, { hash, query, routines });
  view.take(doc);
  return () => view.leave();
}

const chooseFirst = () => [make("h1", {}, title), make("p", {}, "Choose a song first: ",
  make("a", { href: "/songs" }, "all your songs"), ".")];

/** Ask for the sheet; where what is asked for is gone or cannot be danced, for the song alone and why. */
async function sheetOrSong(hash, query) {
  try {
    return await get(`/api/sheet/${hash}?${query}`);
  } catch (error) {
    if (![404, 422].includes(error.status) || !query.size) throw error;
    return { ...await get(`/api/sheet/${hash}`), trouble: error.message };
  }
}

/** Say how many groups make a line: four as on paper, for fingers as many as have room. */
function groupsIn(width, group) {
  if (!FINGERS.matches) return NARROW.matches ? 2 : 4;
  return [4, 2].find((groups) => width - TIMES_PX >= groups * group * FINGER_PX) ?? 1;
}

/** Make of a document what sheet.js draws, in lines of `groups` groups. */
function scoreOf(doc, groups) {
  const { times, ones, rows, events, intro } = doc.sheet.score;
  const at = (start_s) => nearest(times, start_s);
  return {
    times, ones, rows, intro, group: doc.sheet.group, groups,
    events: [...events, ...doc.notes], parts: stretches(rows), loudness: doc.loudness,
    sections: doc.sheet.sections.map((s) => ({ ...s, at: at(s.start_s) })),
    phrases: doc.sheet.phrases.map((p) => ({ strength: p.strength, at: at(p.start_s) })),
  };
}

class SheetView {
  constructor(main, { hash, query, routines }) {
    Object.assign(this, { main, hash, query, routines, focused: 0, shown: -2 });
    this.player = new Player(`/api/songs/${hash}/sound`, {
      draw: (time, playing) => this.drawPlace(time, playing),
      fail: (words) => trouble(new Error(words)),
    });
    this.work = {
      correct: (change) => this.change("correct", { change }),
      ask: (changes) => this.ask(withQuery(this.query, changes)),
      play: (time) => this.player.play(time),
      loop: (i) => this.loop(i),
      hear: (hearing) => this.player.hear(hearing),
      name: (i) => nameDialog(this.score, i, (section_names) => this.work.correct({ section_names })),
    };
    this.parts = { head: make("div", { class: "head" }), doubt: make("div", { class: "doubt" }),
      lines: make("div", { class: "lines", role: "group" }), beside: make("div"),
      handOut: handOutFold() };
    this.draw = onceLetGo(main, () => this.drawn());
    this.bar = playBar(this);
    main.append(make("div", { class: "sheet-view" }, this.parts.head, this.parts.doubt, this.parts.lines,
      make("div", { class: "beside" }, this.parts.beside, this.parts.handOut.element)), this.bar.element);
    this.stopNews = news("song", (song) => this.hearNews(song), () => this.look());
    this.away = new AbortController();
    this.room = new ResizeObserver(() => { if (this.score && this.groups() !== this.score.groups) this.draw(); });
    this.room.observe(this.parts.lines);
    document.addEventListener("keydown", (event) => this.onKey(event), { signal: this.away.signal });
    document.addEventListener("visibilitychange", () => { // another program sends no news
      if (!document.hidden) this.look();
    }, { signal: this.away.signal });
  }

  leave() {
    closeMenu({ focus: false });
    this.stopNews();
    this.parts.handOut.end();
    this.away.abort();
    this.room.disconnect();
    this.player.close();
  }

  groups() { return groupsIn(this.parts.lines.clientWidth, this.doc.sheet.group); }

  /** Take what the server answered, and draw it. */
  take(doc) {
    this.doc = doc;
    this.draw();
    if (doc.trouble) trouble(new Error(doc.trouble));
  }

  drawn() {
    const { doc } = this;
    const focusedAt = this.score?.times[this.focused];
    const hadFocus = this.parts.lines.contains(document.activeElement);
    this.score = scoreOf(doc, this.groups());
    this.focused = focusedAt === undefined ? 0 : nearest(this.score.times.slice(0, -1), focusedAt);
    this.player.setScore(this.score, doc.sheet);
    document.title = `${doc.sheet.title} – the desk`;
    this.parts.head.replaceChildren(...this.headParts().flat());
    this.parts.doubt.replaceChildren(...[
      questionCard(doc.questions, { hear: this.work.hear, correct: this.work.correct,
        settle: (question, advice) => this.settle(question, advice) }),
      doc.plan && verdictOf(doc.plan)].filter(Boolean));
    this.drawLines(hadFocus);
    const listen = (time) => this.player.play(this.beforeStart(time));
    this.parts.beside.replaceChildren(...(doc.plan
      ? [plansOf(doc.plan, this.query, { ask: this.work.ask, listen })] : []));
    this.parts.handOut.take(doc.plan ? { hash: this.hash, query: this.query, revision: doc.corrections.revision } : null);
    this.bar.take(doc);
    this.shown = -2;
    this.drawPlace(this.player.place, this.player.playing);
  }

  headParts() {
    const { sheet, corrections, remarks } = this.doc;
    const step = (what) => () => this.change(`step/${what}`, {});
    return [
      make("h1", { dir: "auto" }, sheet.title),
      make("p", { dir: "auto" }, sheet.facts),
      remarks.map((words) => make("p", { class: "quiet", dir: "auto" }, words)),
      routineChoice(this.routines, this.query, (query) => this.ask(query)),
      make("div", { class: "corrected", role: "group", "aria-label": "Corrections" },
        make("span", { dir: "auto" }, `Corrected: ${corrections.words}.`),
        make("button", { disabled: corrections.undo === null, onclick: step("undo"), data: { focus: "undo" },
          "aria-label": corrections.undo === null ? "undo" : `undo: ${corrections.undo}` }, "Undo"),
        make("button", { disabled: corrections.redo === null, onclick: step("redo"), data: { focus: "redo" },
          "aria-label": corrections.redo === null ? "redo" : `redo: ${corrections.redo}` }, "Redo"),
        make("button", { disabled: corrections.words === "nothing", onclick: step("as-heard"), data: { focus: "as-heard" } }, "As it was heard"),
        make("label", { class: "button" }, "From a page's file",
          make("input", { type: "file", accept: ".json", data: { focus: "from-file" },
            onchange: (event) => this.takeFile(event.target) }))),
    ];
  }

  drawLines(hadFocus) {
    const { score, doc } = this;
    const sheet = sheetOf(score);
    const doubtful = new Set(doc.doubtful);
    for (const box of sheet.querySelectorAll("i[data-at]")) {
      const at = Number(box.dataset.at);
      box.setAttribute("role", "button");
      box.setAttribute("aria-haspopup", "menu");
      box.setAttribute("aria-expanded", "false");
      box.setAttribute("aria-label", [countWords(score, at), score.ones[at] && "a one",
        doubtful.has(at) && "in doubt"].filter(Boolean).join(", "));
      box.classList.toggle("doubtful", doubtful.has(at));
      box.tabIndex = at === this.focused ? 0 : -1;
    }
    dragOn(sheet, [
      [".section[data-first]:not(:empty)", (from, to) => this.moveSection(from, to)],
      [`.piece.wall[data-first="${score.parts.find((part) => part.kind === "wall")?.first}"]`,
        (_, to) => this.work.ask({ start: score.times[to].toFixed(3), intro: null, changes: null })],
    ]);
    sheet.addEventListener("click", (event) => this.onClick(event));
    sheet.addEventListener("keydown", (event) => this.onSheetKey(event));
    this.sheet = sheet;
    this.parts.lines.setAttribute("aria-label",
      "The song in lines of counts: arrow keys move from count to count, Enter opens what can be said about one");
    this.parts.lines.classList.toggle("single", score.groups === 1);
    this.parts.lines.replaceChildren(sheet);
    if (hadFocus) this.boxOf(this.focused).focus({ preventScroll: true });
    markRepeated(sheet, this.again ?? null);
  }

  /** Let the section of count `from` begin on count `to`. */
  moveSection(from, to) {
    const { times } = this.score;
    this.change("correct", { changes: [{ no_section_at_s: [times[from]] }, { sections_at_s: [times[to]] }] });
  }

  // ------------------------------------------------------------------- where one is

  boxOf(i) { return this.sheet.querySelector(`i[data-at="${i}"]`); }

  focus(i, { take = true } = {}) {
    const at = clamp(i, 0, this.score.rows.length - 1);
    const old = this.boxOf(this.focused);
    if (old) old.tabIndex = -1;
    this.focused = at;
    const box = this.boxOf(at);
    box.tabIndex = 0;
    if (take) box.focus();
    return at;
  }

  onClick(event) {
    const cells = event.target.closest(".cells");
    const boxes = cells && [...cells.querySelectorAll("i[data-at]")];
    if (!boxes?.length || event.target.closest(".piece, .note, .section")) return;
    const found = boxes.findLast((box) => box.getBoundingClientRect().left <= event.clientX) ?? boxes[0];
    this.openMenuAt(Number(found.dataset.at));
  }

  onSheetKey(event) {
    const size = this.score.group * this.score.groups;
    const to = { ArrowLeft: this.focused - 1, ArrowRight: this.focused + 1, ArrowUp: this.focused - size,
      ArrowDown: this.focused + size, Home: 0, End: this.score.rows.length - 1 }[event.key];
    if (to !== undefined) this.focus(to);
    else if (event.key === "Enter" || event.key === " ") this.openMenuAt(this.focused);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  openMenuAt(i) {
    const at = this.focus(i, { take: false });
    openMenu({
      from: () => this.boxOf(this.focused), title: countWords(this.score, at),
      groups: groupsAt(this, at), step: (n) => this.openMenuAt(at + n),
    });
  }

  onKey(event) {
    const busy = event.target.closest?.("input, select, textarea, button, a, summary, dialog, [role=menu]");
    if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    if (event.key === " " && !busy) this.bar.toggle();
    else if (event.key.toLowerCase() === "t" && !event.target.closest?.("input, select, textarea")) this.bar.tap();
    else return;
    event.preventDefault();
  }

  // ---------------------------------------------------------------- what is played

  /** Find the time a count-in before a start. */
  beforeStart(time) {
    const { times } = this.score;
    return times[Math.max(0, nearest(times, time) - COUNT_IN)];
  }

  loop(i) {
    const { first, after } = groupAround(this.score, i);
    this.again = { first, after };
    this.player.play(this.score.times[first]).then(() => {
      this.player.repeat({ start: this.score.times[first], end: this.score.times[after] });
      this.bar.looping(true);
    });
    markRepeated(this.sheet, this.again);
  }

  endLoop() {
    this.again = null;
    this.player.repeat(null);
    markRepeated(this.sheet, null);
    this.bar.looping(false);
  }

  drawPlace(time, playing) {
    if (!this.score) return;
    const i = lastAt(this.score.times, time);
    this.bar.drawTime(time, playing);
    if (i === this.shown) return;
    this.shown = i;
    const box = walkTo(this.sheet, i);
    this.bar.drawCount(this.score.rows[i]);
    if (playing && box) keepInSight(box.closest("li"), this.bar.element);
  }

  // -------------------------------------------------------------- what is changed

  /** Change something on the server; of several, one after the other. */
  change(what, value) {
    this.pending = (this.pending ?? Promise.resolve()).then(() => tried(() => this.send(what, value)));
    return this.pending;
  }

  async send(what, value) {
    const { revision, mark } = this.doc.corrections;
    try {
      this.take(await post(`/api/sheet/${this.hash}/${what}?${this.query}`, { revision, mark, ...value }));
      say(`Corrected: ${this.doc.corrections.words}.`);
    } catch (error) {
      if (error.status === 409 && error.state) this.take(error.state);
      throw error;
    }
  }

  /** Take over what was corrected in a rehearsal page and saved there. */
  takeFile(input) {
    const [file] = input.files;
    return tried(async () => {
      const text = await file.text();
      input.value = ""; // the same file may be picked again
      await this.change("take", { name: file.name, file: documentIn(text, file.name) });
    });
  }

  async settle(question, advice) {
    await this.change("settle", { question });
    if (advice) trouble(new Error(advice));
  }

  /** Show another plan or routine; the address names it, and the song plays on. */
  ask(query) {
    const mine = this.asked = Symbol("asked");
    return tried(async () => {
      const doc = await get(`/api/sheet/${this.hash}?${query}`).catch((error) => {
        this.draw(); // the choices say again what is shown
        throw error;
      });
      if (mine !== this.asked) return; // another one was asked for meanwhile
      this.query = query;
      history.pushState(null, "", `/sheet/${this.hash}${query.size ? `?${query}` : ""}`);
      this.take(doc);
      say(doc.plan ? doc.plan.verdict[0] : "the song alone");
    });
  }

  /** Another window or program has changed a song. */
  async hearNews({ hash, revision }) {
    if (hash !== this.hash) return;
    await this.pending;
    if (revision !== this.doc.corrections.revision) await this.look();
  }

  /** Look whether the song has been changed elsewhere, and show it. */
  look() {
    return triedUnasked(async () => {
      const doc = await sheetOrSong(this.hash, this.query);
      const { revision, mark } = this.doc.corrections;
      if (doc.corrections.revision === revision && doc.corrections.mark === mark) return;
      this.take(doc);
      say("This song was changed in another window.");
    });
  }
}

function documentIn(text, name) {
  try {
    return JSON.parse(text);
  } catch {
    throw new Error(`${name}: is no correction file; save one in the rehearsal page`);
  }
}

/** Scroll only where the line that plays would be out of sight, or hidden by the bar. */
function keepInSight(line, bar) {
  const box = line.getBoundingClientRect();
  if (box.top >= 0 && box.bottom <= bar.getBoundingClientRect().top) return;
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  line.scrollIntoView({ block: "center", behavior: calm ? "instant" : "smooth" });
}
