// ----------------------------------------------- taps: on every 1, and on clicks of the device
//
// Needs counting.js.

import { make, say } from "./elements.js";
import { lateByEar, setLateByEar } from "./playing.js";

const LEAST_TAPS = 4;
const LONGEST_GAP_S = 12;
const TEST_CLICKS = 12;
const TEST_STEP_S = 0.6;

/** Collects taps on every 1 of a song, and says what they mean. */
export class Taps {
  constructor() {
    this.times = [];
  }

  /** Take a tap at `time` of the song; `map` holds its beats. Gives words, and a change or null. */
  add(time, map, can) {
    const last = this.times.at(-1);
    if (last !== undefined && (time < last || time - last > LONGEST_GAP_S)) this.times = [];
    this.times.push(time);
    if (this.times.length < LEAST_TAPS) return { words: `${tapsOf(this.times.length)}; go on`, change: null };
    const found = readTaps(this.times, map.beats_s, map.positions, map.meter);
    if (found.apart <= 1) return { words: "you tap every beat; tap only the 1s", change: null };
    if (!found.steady || found.share < 0.7) return { words: "the taps do not agree yet; go on", change: null };
    const bars = found.apart / map.meter;
    const level = bars <= 0.5 ? can.double : bars >= 4 ? can.half : null;
    const pace = `a 1 every ${found.apart} beats`;
    if (level) return { words: `${pace}: it is counted ${bars <= 0.5 ? "twice" : "half"} as fast`, change: { level } };
    if (!found.shift) return { words: `${pace}, on the ones that are marked`, change: null };
    return { words: `${pace}, on beat ${found.place} of the bars`, change: { shift_one_beats: found.shift } };
  }
}

/** Ask for taps on clicks, to learn how late sound is heard on this device. */
export function openTapTest() {
  const late = lateByEar();
  const words = make("p", { role: "status" }, late === null ? "Not set yet." : `Set to ${late} ms.`);
  const start = make("button", { class: "main" }, "Start the clicks");
  const hand = make("input", { type: "number", min: 0, max: 600, step: 10, value: late ?? 0 });
  const dialog = make("dialog", { class: "test", "aria-labelledby": "late-head" },
    make("h2", { id: "late-head" }, "Sound comes late?"),
    make("p", {}, "Wireless speakers delay the sound. Start the clicks and tap the button below, or"
      + " the space bar, on every click you hear; the count is then drawn when you hear it."),
    words, make("p", { class: "keys" }, start),
    make("p", {}, make("label", {}, "or set it by hand: ", hand, " ms")),
    make("p", { class: "keys" }, make("button", { onclick: () => dialog.close() }, "Done")));
  hand.addEventListener("change", () => setLateByEar(clamp(Number(hand.value) || 0, 0, 600)));
  let run = null;
  const tap = () => run.taps.push(run.context.currentTime);
  start.addEventListener("pointerdown", () => { if (run) tap(); }); // a click comes too late
  dialog.addEventListener("keydown", (event) => {
    if (!run || ![" ", "Enter", "t"].includes(event.key)) return;
    event.preventDefault();
    if (!event.repeat) tap();
  });
  start.addEventListener("click", () => {
    if (run) return;
    run = clicksFrom(new AudioContext());
    start.textContent = "Tap here";
    setTimeout(finish, (TEST_CLICKS * TEST_STEP_S + 1) * 1000);
  });
  function finish() {
    if (!run) return;
    const delays = run.taps.map((time) => time - run.clicks[nearest(run.clicks, time)]);
    run.context.close();
    run = null;
    start.textContent = "Start the clicks";
    if (delays.length < LEAST_TAPS) return void (words.textContent = "These were too few taps; try again.");
    const ms = Math.round(clamp(median(delays), 0, 0.6) * 1000);
    setLateByEar(ms);
    hand.value = ms;
    words.textContent = `Sound is heard ${ms} ms late here; the count follows it.`;
    say(words.textContent);
  }
  dialog.addEventListener("close", () => { run?.context.close(); run = null; dialog.remove(); });
  document.body.append(dialog);
  dialog.showModal();
}

/** Sound the clicks of the test; gives when they sound on the clock of `context`. */
function clicksFrom(context) {
  const begin = context.currentTime + 0.5;
  const clicks = Array.from({ length: TEST_CLICKS }, (_, k) => begin + k * TEST_STEP_S);
  const kind = { peak: 0.5, second_tone_s: 0 };
  for (const time of clicks) soundClick(context, time, [[1200], 0.02, 1], kind, new Set());
  return { context, clicks, taps: [] };
}
