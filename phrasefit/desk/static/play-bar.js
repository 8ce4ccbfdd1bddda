// --------------------------------------- the bar below: play, the count large, tempo, taps

import { make, say } from "./elements.js";
import { Taps, openTapTest } from "./tapping.js";

/** Say in words where in the dance a row of the score is. */
function placeWords(row) {
  if (!row) return "";
  const words = { intro: "INTRO", wall: `WALL ${row.wall}`, tag: "TAG", after: "END", counts: "" };
  const facing = row.kind === "wall" || row.kind === "tag" ? clock(row.facing) : "";
  return [words[row.kind], facing].filter(Boolean).join("  ");
}

/** Make the bar of a view that has `player`, `work` and `doc`. */
export function playBar(view) {
  const { player } = view;
  const taps = new Taps();
  const play = make("button", { class: "main", onclick: () => toggle() }, "Play");
  const count = make("output", { class: "count", "aria-label": "count" });
  const where = make("b", { class: "where" });
  const time = make("span", { class: "time" });
  const pace = make("output", { class: "pace" });
  const tempo = make("input", { type: "range", min: 50, max: 110, step: 1, value: 100, oninput: () => setTempo() });
  const loop = make("button", { hidden: true, onclick: () => view.endLoop() }, "Repeat no longer");
  const taken = make("span", { role: "status", class: "taps" });
  const use = make("button", { hidden: true }, "Use the taps");
  const clicks = make("input", { type: "checkbox", onchange: () => { player.clicks = clicks.checked; } });
  const element = make("section", { class: "play-bar", "aria-label": "Playing" },
    play, count, make("span", { class: "place" }, where, time), loop,
    make("label", { class: "tempo" }, "Tempo ", tempo, pace),
    make("label", { class: "check" }, clicks, "clicks"),
    make("span", { class: "tapping" },
      make("button", { title: "key T", onpointerdown: () => tap(),
        onclick: (event) => { if (!event.detail) tap(); } }, "Tap every 1"),
      make("span", { class: "tapped" }, taken, use)),
    make("button", { onclick: () => openTapTest() }, "Sound late?"));

  function setTempo() {
    const share = Number(tempo.value) / 100;
    player.setRate(share);
    pace.value = `${tempo.value} %, ${Math.round(view.doc.sheet.counts_per_minute * share)} a minute`;
    tempo.setAttribute("aria-valuetext", pace.value);
  }

  function toggle() {
    if (player.playing) player.pause();
    else player.play();
  }

  function tap() {
    if (!player.playing) {
      taken.textContent = "play the song, then tap on every 1";
      return;
    }
    const { words, change } = taps.add(player.place, view.doc.sheet.map, view.doc.can);
    taken.textContent = words;
    use.hidden = !change;
    use.onclick = () => {
      taps.times = [];
      use.hidden = true;
      taken.textContent = "";
      view.work.correct(change);
    };
  }

  return {
    element, tap, toggle,
    /** Follow a new document: the tempo is told in its counts. */
    take() { setTempo(); },
    looping(on) { loop.hidden = !on; },
    drawTime(at, playing) {
      time.textContent = minutes(at);
      const words = playing ? "Pause" : "Play";
      if (play.textContent !== words) {
        play.textContent = words;
        say(playing ? "playing" : "paused");
      }
      if (!loop.hidden && !player.again && !player.excerpt) view.endLoop();
    },
    drawCount(row) {
      count.value = row ? row.spoken : "";
      where.textContent = placeWords(row);
    },
  };
}
