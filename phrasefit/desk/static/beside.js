// ------------------------------- beside the sheet: what is danced, how it fits, other plans

import { make } from "./elements.js";

const NUMBERS = [[32, 4, ""], [32, 2, ""], [64, 4, ""], [64, 2, ""], [48, 4, ""], [48, 4, "1"], [24, 4, "1"]];
const MOST = [0, 1, 2, 3, 4, 5, 6];

const numbersName = (counts, walls, waltz) =>
  `${counts} counts, ${walls} ${walls === 1 ? "wall" : "walls"}${waltz ? ", waltz" : ""}`;

/** Make the choice of what is danced; `ask(query)` shows the sheet for it. */
export function routineChoice(routines, query, ask) {
  const now = query.get("routine") ? `routine=${query.get("routine")}`
    : query.get("counts") ? `${query.get("counts")} ${query.get("walls") ?? 1} ${query.get("waltz") ?? ""}` : "";
  const option = (value, words) => make("option", { value, selected: value === now }, words);
  const numbers = NUMBERS.map((row) => [row.join(" "), numbersName(...row)]);
  if (now && !now.startsWith("routine=") && !numbers.some(([value]) => value === now)) {
    const [counts, walls, waltz] = now.split(" ");
    numbers.push([now, numbersName(Number(counts), Number(walls), waltz)]);
  }
  const select = make("select", { data: { focus: "danced" }, onchange: () => ask(queryFor(select.value)) },
    option("", "nothing: the song alone"),
    make("optgroup", { label: "routines" }, routines.filter((row) => !row.errors)
      .map((row) => option(`routine=${row.key}`, row.name))),
    make("optgroup", { label: "only counts and walls" },
      numbers.map(([value, words]) => option(value, words))));
  return make("label", { class: "choice" }, "Danced: ", select);
}

function queryFor(value) {
  if (!value) return new URLSearchParams();
  if (value.startsWith("routine=")) return new URLSearchParams({ routine: value.slice(8) });
  const [counts, walls, waltz] = value.split(" ");
  return new URLSearchParams({ counts, walls, ...(waltz ? { waltz } : {}) });
}

/** Change some parameters of an address; null takes one away. */
export function withQuery(query, changes) {
  const changed = new URLSearchParams(query);
  for (const [key, value] of Object.entries(changes)) {
    if (value === null) changed.delete(key);
    else changed.set(key, value);
  }
  return changed;
}

/** Make the verdict in two lines, and all reasons behind it. */
export function verdictOf(plan) {
  return make("section", { class: "verdict", "aria-label": "How it fits" },
    plan.verdict.map((line) => make("p", { dir: "auto" }, line)),
    make("details", {}, make("summary", {}, "Why"), make("p", { dir: "auto" }, plan.more),
      make("ul", {}, plan.reasons.map((reason) => make("li", { dir: "auto" }, reason)))));
}

/**
 * Make the plans side by side, the other starts, and what is demanded or ruled out.
 *
 * `ask(changes)` shows the plan of a changed address; `listen(time)` plays from there.
 */
export function plansOf(plan, query, { ask, listen }) {
  return make("section", { class: "plans", "aria-label": "Plans" },
    make("h2", {}, "Plans"),
    make("ul", { class: "rows" }, plan.plans.map((row) => rowOf({
      shown: row.shown,
      name: row.changes === 0 ? "no change" : row.changes === 1 ? "1 change" : `${row.changes} changes`,
      key: `plan ${row.changes}`, score: `${Math.round(row.score)} of 100${row.advised ? ", advised" : ""}`,
      words: row.words, time: row.start_s, listen,
      choose: () => ask({ changes: row.advised ? null : row.changes }),
    }))),
    mostChoice(plan, ask),
    make("h2", {}, "Where the dance begins"),
    make("ul", { class: "rows" }, plan.starts.map((row) => rowOf({
      key: `start ${row.start_s}`, shown: row.shown, name: minutes(row.start_s), score: `${Math.round(row.score)} of 100`,
      words: [`${row.intro} counts of intro`, row.words].filter(Boolean).join("; "),
      time: row.start_s, listen,
      choose: () => ask({ start: row.start_s.toFixed(3), intro: null, changes: null }),
    }))),
    plan.start_is_given ? make("p", {}, make("button", {
      onclick: () => ask({ start: null, intro: null, changes: null }),
    }, "Let the planner choose the start")) : null,
    placesOf(plan, query, ask));
}

function rowOf({ key, shown, name, score, words, time, choose, listen }) {
  return make("li", { class: shown ? "shown" : "" },
    make("button", { class: "choose", data: { focus: key }, "aria-pressed": String(Boolean(shown)), onclick: choose },
      make("b", {}, name), " ", make("span", { class: "score" }, score)),
    make("button", { "aria-label": `play ${name} from ${minutes(time)}`, onclick: () => { choose(); listen(time); } }, "▶"),
    make("span", { class: "words", dir: "auto" }, words));
}

function mostChoice(plan, ask) {
  const numbers = MOST.includes(plan.most) ? MOST : [...MOST, plan.most];
  const select = make("select", { data: { focus: "most" }, onchange: () => ask({ most: select.value, changes: null }) },
    numbers.map((n) => make("option", { value: n, selected: n === plan.most }, n)));
  return make("label", { class: "choice" }, "Most restarts and tags: ", select);
}

/** List what a person has demanded or ruled out, each with a button that takes it back. */
function placesOf(plan, query, ask) {
  if (!plan.places.length) return null;
  return make("div", {}, make("h2", {}, "At your wish"), make("ul", { class: "rows" },
    plan.places.map((place) => make("li", {},
      make("span", { class: "words" }, `${place.wanted ? "a" : "no"} ${place.kind} at ${minutes(place.at_s)}`),
      make("button", { onclick: () => ask(withoutPlace(query, place)) }, "Take it back")))));
}

const keyOf = (kind, wanted) => (wanted ? kind : `no_${kind}`);
const placesIn = (query, key) => (query.get(key) ?? "").split(",").filter(Boolean);

/** Say which parameters demand a tag or restart at a place, or rule it out. */
export function withPlace(query, { kind, at_s, wanted }) {
  const key = keyOf(kind, wanted);
  return { [key]: [...new Set([...placesIn(query, key), at_s.toFixed(3)])].join(","), changes: null };
}

/** Say which parameters take that back. */
export function withoutPlace(query, { kind, at_s, wanted }) {
  const key = keyOf(kind, wanted);
  const left = placesIn(query, key).filter((text) => Math.abs(Number(text) - at_s) > 1e-3);
  return { [key]: left.length ? left.join(",") : null, changes: null };
}
