// ------------------------------------------------- everything that a plan gives to take away
//
// A plan is `{ hash, query, revision }`, `query` a URLSearchParams as in the address of the
// sheet. Files are links: the browser saves them.

import { make, once, say, tried, triedUnasked } from "./elements.js";
import { onceLetGo } from "./letting-go.js";
import { get, news, post } from "./server.js";

const SHEETS = [
  ["page", "for the class", "the plan on one page"],
  ["stand", "for the music stand", "large, on white"],
  ["floor", "to be read across the room", "very large"],
  ["steps", "the routine's steps", "as a step sheet"],
  ["dj", "cards for the DJ", "four on a page"],
];
const TEMPOS = [75, 80, 85, 90, 100];
const SAYINGS = [["cues", "calls"], ["numbers", "numbers"], ["both", "calls and numbers"], ["nothing", "nothing"]];
const EXPORTS = [
  ["export.csv", "the walls for a spreadsheet (CSV)"],
  ["export.mid", "tempo map and markers (Standard MIDI File)"],
  ["export.jams", "bars and sections for research (JAMS)"],
];
const LICENSES = "Playing music in public, and putting it into a video, needs licenses; sheets, "
  + "captions and practice audio carry none of the song.";

/** Write the address of one file of the plan; the revision keeps old pictures away. */
function address({ hash, query, revision }, wanted, more = {}) {
  const all = new URLSearchParams(query);
  all.set("revision", revision);
  for (const [key, value] of Object.entries(more)) if (value) all.set(key, value);
  return `/hand-out/${hash}/${wanted}?${all}`;
}

/** Make a link that saves a file. */
const saving = (href, ...words) => make("a", { class: "button", href, download: true }, ...words);

/** Make a choice of `chosen[name]` with a label; `work` follows it. */
function choice(label, chosen, name, options, work) {
  const list = make("select", { onchange: () => { chosen[name] = list.value; work(); } },
    options.map(([value, words]) => make("option", { value, selected: value === chosen[name] }, words)));
  return make("label", {}, `${label} `, list);
}

/** Make the fold in which a sheet offers it; `take(plan)` tells which plan, null for none. */
export function handOutFold() {
  const room = make("div");
  const fold = make("details", { class: "hand-out", ontoggle: () => draw() },
    make("summary", {}, "Hand out: paper, practice audio, tablet, everything"), room);
  const chosen = { paper: "a4", say: "cues", groove: "", ending: ".mp3" }; // also for the next plan
  let plan = null;
  let leave = null;
  let drawn = "";
  function draw() {
    const now = plan && fold.open ? `${plan.hash}?${plan.query} ${plan.revision}` : "";
    if (now === drawn) return;
    drawn = now;
    leave?.();
    leave = now ? handOut(room, plan, chosen) : null;
    if (!now) room.replaceChildren();
  }
  return {
    element: fold,
    take(next) { plan = next; fold.hidden = !plan; draw(); },
    end() { leave?.(); },
  };
}

/** Fill `main` with all that can be handed out. */
function handOut(main, plan, chosen) {
  const leave = [];
  main.replaceChildren(
    rehearsing(plan, leave),
    onPaper(plan, chosen),
    practising(plan, chosen),
    everything(plan, leave),
    forPrograms(plan),
    make("p", { class: "quiet" }, LICENSES),
  );
  return () => leave.forEach((work) => work());
}

function onPaper(plan, chosen) {
  const list = make("ul", { class: "papers" });
  const draw = () => list.replaceChildren(...SHEETS.map(([kind, words, more]) => make("li", {},
    make("img", { src: address(plan, "sheet.png", { kind, paper: chosen.paper, look: "yes" }), loading: "lazy",
      alt: `how the sheet ${words} looks` }),
    saving(address(plan, "sheet.pdf", { kind, paper: chosen.paper }), words), make("small", {}, more))));
  draw();
  return make("section", { "aria-label": "Paper" }, make("h2", {}, "Paper"),
    choice("Paper", chosen, "paper", [["a4", "A4"], ["letter", "Letter"]], draw),
    list);
}

function practising(plan, how) {
  const links = make("p", { class: "keys" });
  const draw = () => links.replaceChildren(...TEMPOS.map((percent) => saving(
    address(plan, `practice${how.ending}`, { percent, say: how.say, groove: how.groove }),
    percent === 100 ? "at the song's tempo" : `at ${percent} %`)));
  draw();
  const backing = make("input", { type: "checkbox", checked: how.groove === "yes",
    onchange: () => { how.groove = backing.checked ? "yes" : ""; draw(); } });
  return make("section", { "aria-label": "Practice audio" }, make("h2", {}, "Practice audio"),
    make("p", {}, "Clicks and calls without the song, to practice and film to. "
      + "Words that this computer has no voice for are left out of the calls. "
      + "Start quietly with headphones: clicks are sharper than music."),
    make("p", { class: "keys" },
      choice("Spoken", how, "say", SAYINGS, draw),
      choice("as", how, "ending", [[".mp3", "MP3"], [".ogg", "OGG"], [".wav", "WAV"], [".flac", "FLAC"]], draw),
      make("label", { class: "check" }, backing, " quiet drums and bass")),
    links);
}

function forPrograms(plan) {
  return make("details", {}, make("summary", {}, "For a video, and for other programs"),
    make("p", { class: "keys" },
      saving(address(plan, "captions.vtt"), "captions (WebVTT)"),
      saving(address(plan, "captions.srt"), "captions (SRT)"),
      saving(address(plan, "rehearsal.html"), "the rehearsal page as a file"),
      EXPORTS.map(([wanted, words]) => saving(address(plan, wanted), words))));
}

function everything(plan, leave) {
  const line = make("p", { role: "status" });
  let isMaking = false;
  const button = make("button", { class: "main" }, "Make the pack"); // never disabled: it keeps the focus
  leave.push(news("pack", ({ hash, share, name }) => {
    if (hash === plan.hash && isMaking) line.textContent = `${Math.round(100 * share)} %: ${name}`;
  }));
  button.addEventListener("click", once(async () => {
    isMaking = true;
    line.textContent = "making everything; this takes a little";
    const made = await tried(() => post(address(plan, "pack")));
    isMaking = false;
    line.textContent = "";
    if (!made) return;
    line.append(saving(made.address, `Save ${made.name}`));
    line.firstChild.click();
    if (made.note) line.append(` ${made.note[0].toUpperCase()}${made.note.slice(1)}.`);
  }));
  return make("section", { "aria-label": "Everything" }, make("h2", {}, "Everything for a class"),
    make("p", {}, "Sheets, rehearsal page, practice audio, captions and files, in one folder (ZIP). "
      + "The record then knows that you taught this."),
    make("p", {}, button), line);
}

function rehearsing(plan, leave) {
  const room = make("div", { class: "room" });
  let state = null;
  const draw = onceLetGo(room, () => room.replaceChildren(...(state.address ? shared(state) : unshared())));
  const show = (newer) => { state = newer; draw(); };
  const unshared = () => [make("p", {}, make("button", { onclick: share }, "Share in this room"),
    " for a tablet or a phone in the same Wi-Fi: it can look and play, nothing else.")];
  const shared = ({ address: place, code, watching }) => [
    make("img", { src: code, alt: "the address as a code for the tablet's camera", class: "code" }),
    make("p", {}, make("b", {}, place)),
    make("p", {}, watching ? `${watching} ${watching === 1 ? "device looks" : "devices look"} on` : "nobody looks on yet"),
    make("p", { class: "keys" }, make("button", { onclick: share }, "Show this plan there"),
      make("button", { onclick: stop }, "Stop sharing"))];
  let turn = 0; // what was looked up before something was pressed is not so any more
  const change = (address, words) => tried(async () => {
    turn++;
    show(await post(address));
    say(words);
  });
  const share = () => change(`/api/room/${plan.hash}?${plan.query}`, "shared in this room");
  const stop = () => change("/api/room/stop", "no longer shared");
  const look = () => triedUnasked(async () => {
    const mine = turn;
    const found = await get("/api/room");
    if (mine === turn) show(found);
  });
  look();
  const again = setInterval(() => { if (room.querySelector(".code")) look(); }, 5000);
  leave.push(() => clearInterval(again));
  return make("section", { "aria-label": "Rehearse" }, make("h2", {}, "Rehearse"),
    make("p", {}, make("a", { class: "button main", href: `/rehearse/${plan.hash}?${plan.query}`, target: "_blank" },
      "Rehearsal view"), " large count, steps now and next, with the song"), room);
}
