// --------------------------------------------- an evening while it is danced: one dark screen
//
// Space, the right arrow, Page Down (what a presenter's remote sends) or a tap go on; left
// arrow and Page Up go back. Where the evening stands is kept by the server: a reload, a
// dead battery or another device find it again. Needs awake.js.

import { go } from "./desk.js";
import { make, putOff, say, tried } from "./elements.js";
import { get, post } from "./server.js";

const ON = new Set([" ", "ArrowRight", "PageDown"]);
const BACK = new Set(["ArrowLeft", "PageUp"]);
const COMING = 2;

/** Fill `main` with the screen; gives what to do when the person leaves. */
export async function showRun(main, id) {
  const address = `/api/evenings/${id}/run`;
  const run = await get(address);
  const root = document.documentElement;
  const wasDark = root.classList.contains("dark");
  root.classList.add("dark", "running");
  keepAwake();
  const parts = partsOf(run, (by) => step(by), () => { if (confirm("Begin the evening anew?")) to(0); }, () => go(`/evening/${id}`));
  main.append(parts.all);
  let waiting = Promise.resolve();

  const to = (place) => {
    run.place = Math.min(Math.max(place, 0), run.dances.length + 1);
    draw(run, parts);
    const reached = run.place;
    waiting = waiting.then(() => tried(() => post(address, { place: reached })));
  };
  const step = (by) => to(run.place + by);
  const pressed = (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const by = ON.has(event.key) ? 1 : BACK.has(event.key) ? -1 : 0;
    const isOther = event.key === " " && event.target.closest?.("button, a") && event.target !== parts.on;
    if (!by || isOther) return;
    event.preventDefault();
    if (!event.repeat) step(by);
  };
  document.addEventListener("keydown", pressed);
  const tick = () => { parts.clock.textContent = new Date().toLocaleTimeString("en", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }); };
  tick();
  const ticking = setInterval(tick, 1000);
  draw(run, parts);
  return () => {
    document.removeEventListener("keydown", pressed);
    clearInterval(ticking);
    root.classList.remove("running");
    root.classList.toggle("dark", wasDark);
    letSleep();
  };
}

function partsOf(run, step, restart, leave) {
  const parts = {
    clock: make("span", { class: "clock" }), where: make("span", {}),
    now: make("section", { class: "dance-now", "aria-live": "polite" }), coming: make("section", { class: "coming" }),
    on: make("button", { class: "main on", onclick: () => step(1) }),
    back: make("button", { onclick: () => step(-1) }, "Back"),
  };
  parts.all = make("div", { class: "run" },
    make("header", {}, make("span", {}, run.title), parts.where, parts.clock),
    make("div", { class: "stage" }, parts.now, parts.coming),
    make("footer", { class: "keys" }, parts.back, parts.on,
      make("button", { onclick: restart }, "From the beginning"), make("button", { onclick: leave }, "Leave")));
  return parts;
}

function draw(run, parts) {
  const { dances, place } = run;
  const n = dances.length;
  parts.where.textContent = place < 1 ? `${n} dance${n === 1 ? "" : "s"}` : place > n ? "the end" : `${place} of ${n}`;
  parts.now.replaceChildren(...(place < 1 ? ready(run) : place > n ? ended() : large(dances[place - 1])));
  parts.coming.replaceChildren(...coming(dances.slice(place, place + COMING), place));
  parts.on.textContent = place < 1 ? "Begin" : place >= n ? "End" : "Next dance";
  putOff(parts.on, place > n || !n);
  putOff(parts.back, place < 1);
  say(place >= 1 && place <= n ? `${place} of ${n}: ${dances[place - 1].names.join(", ")}` : "");
}

const ready = (run) => [make("h1", {}, run.title || "Evening"),
  make("p", {}, run.dances.length ? "Press the space bar, the right arrow or the button to begin. Each dance you reach is written into the record."
    : "There are no dances yet; fill the evening first.")];

const ended = () => [make("h1", {}, "That was the evening"), make("p", {}, "What was danced is in the record.")];

/** Make the screen of the dance that is on now. */
function large(dance) {
  if (dance.fault) return [make("h1", {}, dance.names[0]), make("p", { class: "song" }, dance.names[1]), make("p", {}, `Cannot be danced: ${dance.fault}.`)];
  const changes = dance.calls.length ? dance.calls : ["no restart, no tag"];
  return [
    dance.lesson ? make("p", { class: "call" }, dance.lesson) : "",
    make("h1", {}, dance.names[0]), make("p", { class: "song" }, dance.names[1]),
    make("dl", {}, dance.rows.map(([label, words, strong]) => [
      make("dt", {}, label), make("dd", { class: strong ? "strong" : null }, words)])),
    make("ul", { class: "calls" }, changes.map((words) => make("li", {}, words))),
    make("p", {}, `Then ${dance.ends}.`),
  ];
}

const coming = (dances, place) => (dances.length ? [make("h2", {}, place < 1 ? "First" : "Next")] : []).concat(
  dances.map((dance) => make("div", { class: "card" },
    make("strong", {}, `${dance.place}. ${dance.names[0]}`), make("p", {}, dance.names[1]),
    dance.fault ? "" : make("p", { class: "quiet" }, [dance.when, dance.pace, dance.lesson].filter(Boolean).join("; ")))));
