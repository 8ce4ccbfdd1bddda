// ------------------------------------------------------------------------- the view "Record"

import { make, once, say, tried, triedUnasked } from "../elements.js";
import { onceLetGo } from "../letting-go.js";
import { get, news, post } from "../server.js";

export const title = "Record";

const FIELDS = [["date", "Date", "date"], ["routine", "Routine", "text"], ["title", "Song", "text"], ["artist", "Artist", "text"],
  ["tempo", "Counts a minute", "number"], ["where", "Where", "text"], ["note", "Note", "text"]];

/** Fill `main`. */
export async function show(main, { query }) {
  const list = make("ol", { class: "record-list" });
  const about = make("p", { class: "quiet", role: "status" });
  const search = make("input", { type: "search", value: query.get("search") ?? "" });
  const table = make("a", { class: "button", download: "" }, "Save as CSV");
  const put = make("div");
  let found = null;
  const written = new Map(); // the entries that are being corrected: drawn anew, they stay
  const entry = (lesson) => written.get(lesson.id) ?? entryOf(lesson, put, written, show);
  const show = onceLetGo(list, () => list.replaceChildren(...found.lessons.map(entry)));
  let turn = 0;
  const ask = async () => {
    const mine = ++turn;
    const words = new URLSearchParams({ search: search.value });
    table.href = `/api/lessons.csv?${words}`;
    const answer = await get(`/api/lessons?${words}`);
    if (mine !== turn) return; // other words are searched for by now
    found = answer;
    show();
    about.textContent = aboutOf(found, search.value);
    hand.querySelector("[name=date]").value ||= found.today;
  };
  let soon = 0;
  search.addEventListener("input", () => {
    clearTimeout(soon);
    soon = setTimeout(() => tried(ask), 150);
    history.replaceState(null, "", search.value ? `/record?${new URLSearchParams({ search: search.value })}` : "/record");
  });
  const hand = formOf({}, "Write it down", async (value) => {
    await post("/api/lessons", value);
    say("Written down");
  });
  main.append(
    make("h1", {}, "Record"),
    make("p", {}, "What was taught or danced, and with which song: written when a pack is made or an evening is run, or by hand."),
    make("div", { class: "keys ends" }, make("label", { class: "field" }, make("span", {}, "Search"), search), table),
    make("details", {}, make("summary", {}, "Write down by hand"), hand), put, about, list);
  const again = () => triedUnasked(ask);
  const ended = news("record", again, again); // what is written down while the list comes is heard of
  await again(); // a drop on the view meanwhile is told, and stays
  return ended;
}

function aboutOf({ lessons, n_found: n }, words) {
  if (!n) return words ? "Nothing with these words." : "Nothing is written down yet.";
  return lessons.length < n ? `${n} entries; the newest ${lessons.length} are shown, search for the others` : `${n} entr${n === 1 ? "y" : "ies"}`;
}

/** Make one entry: what it says, and what can be done with it; `show` draws the list anew. */
function entryOf(lesson, put, written, show) {
  const name = lesson.routine || lesson.title;
  const song = [lesson.title, lesson.artist].filter(Boolean).join(" – ");
  const pace = lesson.tempo ? `${Math.round(lesson.tempo)} counts a minute` : "";
  const key = encodeURIComponent(lesson.routine_key);
  const link = (there, href, words) => (there ? make("a", { class: "button", href, "aria-label": `${words}: ${name}` }, words) : null);
  return make("li", { class: "card" },
    make("strong", {}, lesson.routine || "No routine"), make("span", {}, song),
    make("p", { class: "quiet" }, [lesson.date, pace, lesson.where, lesson.note, lesson.how_words].filter(Boolean).join("; ")),
    make("div", { class: "keys" },
      link(lesson.routine_key && lesson.song, `/sheet/${lesson.song}?routine=${key}`, "The same again"),
      link(lesson.routine_key, `/songs?fits=${key}`, "With another song"),
      make("button", { onclick: once(() => correct(lesson, written, show)), "aria-label": `Correct ${name}`,
        data: { focus: `correct ${lesson.id}` } }, "Correct"),
      make("button", { onclick: once(() => remove(lesson, put)), "aria-label": `Remove ${name}`,
        data: { focus: `remove ${lesson.id}` } }, "Remove")));
}

/** Open the form of an entry in its place. */
function correct(lesson, written, show) {
  const back = () => { written.delete(lesson.id); show(); };
  const form = formOf(lesson, "Keep", async (value) => {
    await post(`/api/lessons/${lesson.id}`, { ...value, revision: lesson.revision });
    back();
    say("Corrected");
  }, back);
  written.set(lesson.id, make("li", { class: "card" }, form));
  show();
  form.querySelector("input").focus();
}

/** Remove an entry, and offer to put it back. */
const remove = (lesson, put) => tried(async () => {
  await post(`/api/lessons/${lesson.id}/remove`, { revision: lesson.revision });
  const back = make("button", { onclick: once(() => tried(async () => {
    await post("/api/lessons", lesson);
    put.replaceChildren();
    say("It is back");
  })) }, "Put it back");
  put.replaceChildren(make("p", { class: "keys" }, `${lesson.routine || lesson.title} of ${lesson.date} is removed.`, back));
  back.focus();
});

/** Make the form of an entry; `keep` gets what was written. */
function formOf(lesson, words, keep, cancel = null) {
  const inputs = FIELDS.map(([name, label, type]) => [name, label, make("input", {
    type, name, value: lesson[name] ?? "", maxlength: type === "text" ? 500 : null, step: type === "number" ? "any" : null })]);
  const kept = once(() => tried(async () => {
    const value = Object.fromEntries(inputs.map(([name, , input]) => [name, input.value]));
    value.tempo = value.tempo === "" ? null : Number(value.tempo);
    if (!value.date) delete value.date;
    await keep(value);
    if (!cancel) for (const [name, , input] of inputs) if (name !== "date" && name !== "where") input.value = "";
  }));
  return make("div", { class: "fields" },
    inputs.map(([, label, input]) => make("label", { class: "field" }, make("span", {}, label), input)),
    make("div", { class: "keys" }, make("button", { class: "main", onclick: kept }, words),
      cancel ? make("button", { onclick: cancel }, "Leave it as it is") : null));
}
