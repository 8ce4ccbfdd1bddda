// ------------------------------------------------ what an evening is called and chosen from
//
// Each form has an `element` and `fill(state)`, which writes what is kept into it; a field
// that is being typed in is left alone.

import { make, once, tried } from "./elements.js";
import { onceLetGo } from "./letting-go.js";
import { get } from "./server.js";

const MOST_FOUND = 20;

const field = (words, input, about = "") => make("label", { class: "field" },
  make("span", {}, words), input, about ? make("small", {}, about) : null);

function put(input, value) {
  if (document.activeElement !== input) input.value = value;
}

/** Name, date, beginning and place. */
export function facts(page) {
  const kinds = { title: ["Name", "text"], date: ["Date", "date"], starts_at: ["Begins at", "time"], where: ["Where", "text"] };
  const inputs = Object.entries(kinds).map(([name, [words, type]]) => {
    const input = make("input", { type, name, maxlength: type === "text" ? 200 : null });
    input.addEventListener("change", () => page.settings({ [name]: input.value }));
    return [name, words, input];
  });
  return {
    element: make("div", { class: "fields" }, inputs.map(([, words, input]) => field(words, input))),
    fill: (state) => inputs.forEach(([name, , input]) => put(input, state[name])),
  };
}

/** The wishes, in the server's own words. */
export function wishesForm(page, wishes) {
  const made = wishes.map((wish) => ({ wish, ...inputOf(page, wish) }));
  const fields = (some) => make("div", { class: "fields" }, some.map(({ element }) => element));
  const often = made.filter(({ wish }) => wish.often);
  const seldom = made.filter(({ wish }) => !wish.often);
  return {
    element: make("div", {}, make("h3", {}, "Wishes"), fields(often),
      make("details", {}, make("summary", {}, "More wishes"), fields(seldom))),
    fill: (state) => made.forEach(({ wish, write }) => write(state.wishes[wish.field])),
  };
}

/** Make the field of one wish: its element, and how a value is written into it. */
function inputOf(page, wish) {
  const send = (value) => page.settings({ wishes: { [wish.field]: value } });
  if (wish.kind === "yes") {
    const input = make("input", { type: "checkbox", onchange: () => send(input.checked) });
    return { element: make("label", { class: "check" }, input, wish.label), write: (on) => { input.checked = on; } };
  }
  if (wish.kind === "words" || wish.kind === "places") {
    const input = make("textarea", { rows: 3, onchange: () => send(input.value.split("\n")) });
    return { element: field(wish.label, input, wish.about), write: (texts) => put(input, texts.join("\n")) };
  }
  if (wish.kind === "tempos") {
    const read = () => input.value.split(/[,;\s]+/).filter(Boolean).map((text) => (Number.isNaN(Number(text)) ? text : Number(text)));
    const input = make("input", { type: "text", onchange: () => send(read()) });
    return { element: field(wish.label, input, wish.about), write: (tempos) => put(input, tempos.join(", ")) };
  }
  const [min, max] = wish.bounds;
  const input = make("input", { type: "number", min, max, step: wish.kind === "whole" ? 1 : "any",
    onchange: () => send(input.value === "" ? null : Number(input.value)) });
  return { element: field(wish.label, input, wish.about), write: (value) => put(input, value) };
}

/** The routines to choose from, and which of them are taught that evening. */
export function routinesForm(page, routines) {
  const rows = routines.map((routine) => {
    const chosen = make("input", { type: "checkbox" });
    const taught = make("input", { type: "checkbox", "aria-label": `Teach ${routine.name}` });
    return { routine, chosen, taught };
  });
  const send = () => {
    const names = rows.filter((row) => row.taught.checked).map((row) => row.routine.name);
    page.settings({
      routines: rows.filter((row) => row.chosen.checked || row.taught.checked).map((row) => row.routine.key),
      wishes: { teach: names },
    }).then(() => { if (!page.unanswered) fill(page.state); }); // the next tick is there already
  };
  const all = (on) => {
    for (const row of rows) row.chosen.checked = on;
    send();
  };
  const fill = (state) => {
    for (const { routine, chosen, taught } of rows) {
      chosen.checked = state.routines.includes(routine.key);
      taught.checked = state.wishes.teach.includes(routine.name);
    }
  };
  const list = make("ul", { class: "routines" }, rows.map(({ routine, chosen, taught }) => make("li", {},
    make("label", { class: "check" }, chosen, `${routine.name}, ${routine.size}${routine.level ? `, ${routine.level}` : ""}`),
    make("label", { class: "check" }, taught, "teach"))));
  list.addEventListener("change", send);
  return {
    element: make("details", { open: routines.length <= 8 }, make("summary", {}, "Routines"),
      make("div", { class: "keys" }, make("button", { onclick: () => all(true) }, "All"),
        make("button", { onclick: () => all(false) }, "None")), list),
    fill,
  };
}

/** The songs to choose from: all that are known, or those chosen here. */
export function songsForm(page) {
  const about = make("p");
  const list = make("ul", { class: "routines" });
  const choose = (change) => page.change("settings", ({ songs }) => ({ songs: change(songs) }), "Kept")
    .then(() => fill(page.state));
  const everything = make("button", { onclick: () => choose(() => []) }, "All songs again");
  const search = songSearch("Choose", (song) => choose((songs) => [...songs, song.hash]));
  let titles = new Map();
  const draw = onceLetGo(list, () => list.replaceChildren(...page.state.songs.map((hash) => make("li", {},
    titles.get(hash) ?? "a song that is not known any more",
    make("button", { "aria-label": `Leave out ${titles.get(hash) ?? "this song"}`,
      onclick: once(() => choose((songs) => songs.filter((other) => other !== hash))) }, "Leave out")))));
  const fill = async ({ songs }) => {
    about.textContent = songs.length ? `${songs.length} chosen; only these are used.` : "All songs that are known are used. Choose some to use only those.";
    everything.hidden = !songs.length;
    const known = songs.length ? await tried(knownSongs) : [];
    titles = new Map((known ?? []).map((song) => [song.hash, song.title]));
    draw();
  };
  return { element: make("details", {}, make("summary", {}, "Songs"), about, everything, list, search), fill };
}

/** List all songs as `{hash, title, artist, ...}`. */
async function knownSongs() {
  const { columns, rows } = await get("/api/songs");
  return rows.map((row) => Object.fromEntries(columns.map((name, i) => [name, row[i]])));
}

/** Make a search for one song; `pick` gets the one whose button, named `verb`, is pressed. */
export function songSearch(verb, pick) {
  let songs = null;
  const found = make("ul", { class: "routines" });
  const more = make("p", { class: "quiet", role: "status" });
  const look = () => tried(async () => {
    songs ??= await knownSongs();
    const words = input.value.toLocaleLowerCase().split(/\s+/).filter(Boolean);
    const all = words.length ? songs.filter((song) => {
      const text = `${song.title} ${song.artist}`.toLocaleLowerCase();
      return words.every((word) => text.includes(word));
    }) : [];
    found.replaceChildren(...all.slice(0, MOST_FOUND).map((song) => {
      const name = [song.title, song.artist].filter(Boolean).join(" – ");
      return make("li", {}, make("span", {}, name),
        make("button", { "aria-label": `${verb} ${name}`, onclick: () => pick(song) }, verb));
    }));
    more.textContent = !words.length ? "" : all.length > MOST_FOUND ? `${all.length} songs; the first ${MOST_FOUND} are shown`
      : `${all.length} song${all.length === 1 ? "" : "s"}`;
  });
  const input = make("input", { type: "search", oninput: look });
  return make("div", { class: "search" }, field("Search a song", input, "words of its title or artist"), more, found);
}
