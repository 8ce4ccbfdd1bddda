// ------------------------------------------------------------- one evening, put together
//
// `state` is what the server keeps; every change is sent with the revision that was seen,
// one after the other, and the page is drawn from the answer.

import { make, say, tried, trouble } from "./elements.js";
import { courseOf } from "./evening_drawing.js";
import { placesOf } from "./evening_places.js";
import { facts, routinesForm, songSearch, songsForm, wishesForm } from "./evening_wishes.js";
import { onceLetGo } from "./letting-go.js";
import { Refused, get, news, post } from "./server.js";

const PAPERS = [["a4", "A4"], ["letter", "Letter"]];
const BESIDE = [["", "anywhere"], ["1", "the folder of the songs"]];

/** Fill `main` with an evening; gives what to do when the person leaves. */
export async function showPlan(main, id) {
  const address = `/api/evenings/${id}`;
  const [first, { wishes }, { routines }] = await Promise.all(
    [get(address), get("/api/evenings"), get("/api/routines")]);
  const usable = routines.filter((routine) => !routine.errors);
  const page = { state: first, address };
  let waiting = Promise.resolve();

  const take = (state) => {
    page.state = state;
    draw();
  };
  /** Ask the server to change something, after all that was asked before. */
  const asked = (where, value, said) => {
    waiting = waiting.then(() => tried(async () => {
      try {
        take(await post(address + where, { revision: page.state.revision, ...value }));
        if (said) say(said);
      } catch (error) {
        if (error.state) {
          take(error.state);
          fill();
        } else draw(); // what was typed and refused goes back to how it is kept
        throw error;
      }
    }));
    return waiting;
  };
  page.change = (what, value, said) => asked("", { do: what, ...value }, said);
  page.search = (value, said) => asked("/search", value, said);
  page.settings = (value) => page.change("settings", value, "Kept");

  const parts = partsOf(page, wishes, usable);
  const fill = () => parts.forms.forEach((form) => form.fill(page.state));
  const { draw, end } = onceLetGo(parts.all, () => drawn(page, parts));
  main.append(parts.all);
  fill();
  draw();
  const again = () => tried(async () => {
    const { revision, searching } = page.state;
    take(await get(address));
    if (page.state.revision !== revision) fill();
    if (searching && !page.state.searching && !page.state.trouble) say(page.state.about);
    if (page.state.trouble) trouble(new Error(page.state.trouble));
  });
  const ended = news("evening", (told) => {
    if (told.id !== id) return;
    waiting = waiting.then(() => { // by then the answer to a change of one's own is here
      if (told.revision !== page.state.revision) return again();
    });
  });
  const watch = new ResizeObserver(() => courseOf(parts.course, page.state.course));
  watch.observe(parts.course);
  return () => { ended(); end(); watch.disconnect(); clearInterval(page.ticking); };
}

/** Make all that is on the page, once. */
function partsOf(page, wishes, routines) {
  const parts = {
    head: make("h1"), about: make("p", { class: "about" }), notes: make("ul", { class: "notes" }),
    keys: make("div", { class: "keys" }), places: make("ol", { class: "places" }),
    course: make("div", { class: "course" }), words: make("ul"), files: filesOf(page),
  };
  parts.forms = [facts(page), routinesForm(page, routines), songsForm(page), wishesForm(page, wishes)];
  const [named, ...chosen] = parts.forms;
  parts.all = make("div", {},
    make("p", {}, make("a", { href: "/evening" }, "All evenings")),
    parts.head, named.element, parts.keys, parts.about, parts.notes, parts.places,
    byHand(page, routines),
    make("h2", {}, "Tempo and repeats"), parts.course, parts.words,
    make("h2", {}, "Choose from"), chosen.map((form) => form.element),
    make("h2", {}, "Print and save"), parts.files);
  return parts;
}

/** Draw what depends on the state; the button that had the focus keeps it. */
function drawn(page, parts) {
  const { state } = page;
  const focus = document.activeElement?.dataset?.focus;
  parts.head.textContent = state.title || "Evening";
  parts.about.textContent = state.rows.length ? state.about : "No dances yet: choose below, then fill the evening.";
  parts.notes.replaceChildren(...state.notes.map((words) => make("li", {}, words)));
  parts.keys.replaceChildren(...keysOf(page));
  parts.places.replaceChildren(...placesOf(page));
  courseOf(parts.course, state.course);
  parts.words.replaceChildren(...state.course.words.map((words) => make("li", {}, words)));
  parts.files.hidden = !state.rows.length;
  if (page.focus ?? focus) parts.all.querySelector(`[data-focus="${page.focus ?? focus}"]`)?.focus();
  page.focus = null;
}

function keysOf(page) {
  const { state } = page;
  clearInterval(page.ticking);
  if (state.searching) {
    return [
      searching(page),
      make("button", { class: "main", data: { focus: "fill" }, onclick: () => tried(() => post(`${page.address}/stop`)) }, "Stop"),
    ];
  }
  const again = state.rows.some((row) => row.kind === "dance");
  const fill = state.rows.some((row) => row.locked) ? "Fill again around the locked ones" : "Fill again";
  return [
    make("button", { class: "main", data: { focus: "fill" }, onclick: () => page.search({}, "Filling the evening") },
      again ? fill : "Fill the evening"),
    make("button", { data: { focus: "undo" }, disabled: !state.can_undo, onclick: () => page.change("undo", {}, "Undone") }, "Undo"),
    again ? make("a", { class: "button", href: `/evening/${state.id}/run` }, "Run it") : null,
  ].filter(Boolean);
}

/** Say what is searched for, and for how long already. */
function searching(page) {
  const { place, for_s: before } = page.state.searching;
  const what = place ? `Looking for the next best at place ${place}` : "Filling the evening";
  const line = make("p", { class: "searching" });
  const begun = performance.now() - 1000 * before;
  const tick = () => { line.textContent = `${what} … ${Math.round((performance.now() - begun) / 1000)} s`; };
  page.ticking = setInterval(tick, 1000);
  tick();
  return line;
}

/** Make the place where a dance is added by hand. */
function byHand(page, routines) {
  const routine = make("select", {}, routines.map((r) => make("option", { value: r.key }, r.name)));
  const search = songSearch("Add", (song) =>
    page.change("add", { song: song.hash, routine: routine.value }, `${song.title} is added`));
  return make("details", {},
    make("summary", {}, "Add a dance by hand"),
    make("label", { class: "field" }, make("span", {}, "Routine"), routine), search);
}

/** Make the buttons that print and save. */
function filesOf(page) {
  const choice = (name, options) =>
    make("label", { class: "field" }, make("span", {}, name),
      make("select", {}, options.map(([value, words]) => make("option", { value }, words))));
  const paper = choice("Paper", PAPERS);
  const beside = choice("A playlist will lie in", BESIDE);
  const file = (name, words) => make("button", { onclick: () => tried(() => save(name)) }, words);
  const save = async (name) => {
    const query = new URLSearchParams({ paper: paper.lastChild.value, beside: beside.lastChild.value });
    const answer = await fetch(`${page.address}/files/${name}?${query}`);
    if (!answer.ok) throw new Refused(answer.status, await answer.json());
    const called = answer.headers.get("content-disposition").split("filename*=UTF-8''")[1];
    const link = make("a", { href: URL.createObjectURL(await answer.blob()), download: decodeURIComponent(called) });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000); // the browser may still be saving it
  };
  return make("div", {},
    make("div", { class: "keys ends" }, paper,
      file("floor.pdf", "Floor list (PDF)"), file("cards.pdf", "DJ cards (PDF)")),
    make("div", { class: "keys ends" }, beside,
      file("list.xspf", "XSPF"), file("list.m3u8", "M3U8"), file("list.csv", "CSV")));
}
