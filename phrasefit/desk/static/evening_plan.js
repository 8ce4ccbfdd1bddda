// ------------------------------------------------------------- one evening, put together
//
// `state` is what the server keeps; every change is sent with the revision that was seen,
// one after the other, and the page is drawn from the answer.

import { make, once, say, tried, triedUnasked, trouble } from "./elements.js";
import { courseOf } from "./evening_drawing.js";
import { placesOf } from "./evening_places.js";
import { facts, routinesForm, songSearch, songsForm, wishesForm } from "./evening_wishes.js";
import { onceLetGo } from "./letting-go.js";
import { save } from "./saving.js";
import { get, news, post } from "./server.js";

const PAPERS = [["a4", "A4"], ["letter", "Letter"]];
const BESIDE = [["", "anywhere"], ["1", "the folder of the songs"]];

/** Fill `main` with an evening; gives what to do when the person leaves. */
export async function showPlan(main, id) {
  const address = `/api/evenings/${id}`;
  const [first, { wishes }, { routines }] = await Promise.all(
    [get(address), get("/api/evenings"), get("/api/routines")]);
  const usable = routines.filter((routine) => !routine.errors);
  const page = { state: first, address, unanswered: 0 };
  let waiting = Promise.resolve();

  const take = (state) => {
    page.state = state;
    draw();
  };
  /**
   * Ask the server to change something, after all that was asked before: `value` makes of the
   * state by then what is sent, and null where there is nothing left to change.
   */
  const asked = (where, value, said) => {
    page.unanswered++;
    waiting = waiting.then(() => tried(() => send(where, value, said))).then(() => { page.unanswered--; });
    return waiting;
  };
  const send = async (where, value, said) => {
    const wanted = value(page.state);
    if (!wanted) return;
    try {
      take(await post(address + where, { revision: page.state.revision, ...wanted }));
      if (said) say(said);
    } catch (error) {
      page.moved = null;
      if (error.state) {
        take(error.state);
        fill();
      } else draw(); // what was typed and refused goes back to how it is kept
      throw error;
    }
  };
  page.change = (what, value, said) => asked("", (state) => {
    const wanted = value(state);
    return wanted && { do: what, ...wanted };
  }, said);
  page.search = (value, said) => asked("/search", value, said);
  page.settings = (value) => page.change("settings", () => value, "Kept");

  const parts = partsOf(page, wishes, usable);
  const fill = () => parts.forms.forEach((form) => form.fill(page.state));
  const draw = onceLetGo(parts.all, () => drawn(page, parts));
  main.append(parts.all);
  fill();
  draw();
  const again = () => triedUnasked(async () => {
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
  }, again);
  const watch = new ResizeObserver(() => courseOf(parts.course, page.state.course));
  watch.observe(parts.course);
  return () => { ended(); watch.disconnect(); clearInterval(page.ticking); };
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
    make("h2", {}, "Print and save"), parts.files.element);
  return parts;
}

/** Draw what depends on the state; the button that had the focus keeps it. */
function drawn(page, parts) {
  const { state } = page;
  const { moved } = page;
  const pressed = moved && focusOf(parts, moved.from);
  const top = pressed && pressed === document.activeElement ? pressed.getBoundingClientRect().top : null;
  parts.head.textContent = state.title || "Evening";
  parts.about.textContent = state.rows.length ? state.about : "No dances yet: choose below, then fill the evening.";
  parts.notes.replaceChildren(...state.notes.map((words) => make("li", {}, words)));
  parts.keys.replaceChildren(...keysOf(page));
  parts.places.replaceChildren(...placesOf(page));
  courseOf(parts.course, state.course);
  parts.words.replaceChildren(...state.course.words.map((words) => make("li", {}, words)));
  parts.files.element.hidden = !state.rows.length;
  parts.files.fill(state);
  const now = moved && focusOf(parts, moved.to);
  if (now && top !== null) follow(now, top);
  page.moved = null;
}

const focusOf = (parts, name) => parts.all.querySelector(`[data-focus="${name}"]`);

/** Go along with a button that has moved, so that the next press hits the same dance. */
function follow(button, top) {
  button.focus({ preventScroll: true });
  window.scrollBy(0, button.getBoundingClientRect().top - top);
}

function keysOf(page) {
  const { state } = page;
  clearInterval(page.ticking);
  if (state.searching) {
    return [
      searching(page),
      make("button", { class: "main", data: { focus: "fill" }, onclick: once(() => tried(() => post(`${page.address}/stop`))) }, "Stop"),
    ];
  }
  const again = state.rows.some((row) => row.kind === "dance");
  const fill = state.rows.some((row) => row.locked) ? "Fill again around the locked ones" : "Fill again";
  return [
    make("button", { class: "main", data: { focus: "fill" }, onclick: once(() => page.search(() => ({}), "Filling the evening")) },
      again ? fill : "Fill the evening"),
    make("button", { data: { focus: "undo" }, disabled: !state.can_undo, onclick: () => page.change("undo", () => ({}), "Undone") }, "Undo"),
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
  const search = songSearch("Add", (song) => {
    const dance = { song: song.hash, routine: routine.value };
    page.change("add", () => dance, `${song.title} is added`);
  });
  return make("details", {},
    make("summary", {}, "Add a dance by hand"),
    make("label", { class: "field" }, make("span", {}, "Routine"), routine), search);
}

/** Say which folder the songs' is, where a playlist finds them though all of it is moved. */
function folderWords(songs) {
  if (!songs) return "The songs lie in no one folder: a playlist names them in full.";
  return songs.is_above
    ? `The songs lie in several folders; a playlist beside them has to lie above them all, in ${songs.path}`
    : `The folder of the songs is ${songs.path}`;
}

/** Make the buttons that print and save; `fill(state)` tells them where the songs lie. */
function filesOf(page) {
  const choice = (name, options) =>
    make("label", { class: "field" }, make("span", {}, name),
      make("select", {}, options.map(([value, words]) => make("option", { value }, words))));
  const paper = choice("Paper", PAPERS);
  const beside = choice("A playlist will lie in", BESIDE);
  const query = () => new URLSearchParams({ paper: paper.lastChild.value, beside: beside.lastChild.value });
  const file = (name, words) => make("button", { onclick: () => tried(() => save(`${page.address}/files/${name}?${query()}`)) }, words);
  const folder = make("p", { class: "quiet" });
  const element = make("div", {},
    make("div", { class: "keys ends" }, paper,
      file("floor.pdf", "Floor list (PDF)"), file("cards.pdf", "DJ cards (PDF)")),
    make("div", { class: "keys ends" }, beside,
      file("list.xspf", "XSPF"), file("list.m3u8", "M3U8"), file("list.csv", "CSV")), folder);
  const fill = ({ songs_folder: songs }) => {
    beside.lastChild.lastChild.disabled = !songs;
    if (!songs) beside.lastChild.value = "";
    folder.textContent = folderWords(songs);
  };
  return { element, fill };
}
