// The rehearsal page: one score of counts, one clock that says where the sound is, one
// function that draws the moment.  Times are seconds of the song, facings degrees clockwise
// from the front; indices start at 0.  Texts of users go into the page as text only.

const data = JSON.parse(document.getElementById("plan").textContent);
const $ = (id) => document.getElementById(id);

// -------------------------------------------------- counting again after a correction

const UNTOUCHED = {
  level: null, shift_one_beats: 0, nudge_s: 0, sections_at_s: [], no_section_at_s: [],
};
const isUntouched = (change) => JSON.stringify(change) === JSON.stringify(UNTOUCHED);

/** Move every one by `shift` beats; whole bars fill the gap at the edge. */
function shifted(positions, meter, shift) {
  const size = positions.length;
  return positions.map((_, i) => {
    const from = i - shift;
    if (from < 0) return mod(positions[0] - 1 + from, meter) + 1;
    if (from < size) return positions[from];
    return mod(Math.min(positions[size - 1], meter) + from - size, meter) + 1;
  });
}

/** Lay beats out in counts; `step` beats make a count, afresh from each downbeat. */
function counted(beats, positions, end, step) {
  if (step === 0.5) {
    const edges = [...beats, end];
    const times = beats.flatMap((time, i) => [time, (time + edges[i + 1]) / 2]);
    return { times: [...times, end], barStart: positions.flatMap((p) => [p === 1, false]) };
  }
  const left = new Array(beats.length); // beats to the next downbeat
  for (let i = beats.length - 1, next = beats.length; i >= 0; i--) {
    left[i] = next - i;
    if (positions[i] === 1) next = i;
  }
  const kept = [...beats.keys()].filter((i) =>
    (positions[i] - 1) % step === 0 && (positions[i] === 1 || 2 * left[i] > step || step === 1));
  return {
    times: [...kept.map((i) => beats[i]), end],
    barStart: kept.map((i) => positions[i] === 1),
  };
}

/** Tell how many counts most bars have. */
function barSize(ones) {
  const starts = [...ones.keys()].filter((i) => ones[i]);
  return starts.length > 1 ? median(gaps(starts)) : data.group;
}

/** Call counts bar by bar: which bars make an eight is for the program to say. */
function called(ones) {
  let spoken = mod(-ones.indexOf(true), barSize(ones)); // the first bar need not be whole
  return ones.map((one, i) => {
    spoken = one ? 1 : (spoken % data.group) + 1;
    return { kind: "counts", wall: 0, count: i + 1, spoken, facing: null, name: "", event: "",
      step: null };
  });
}

/** Apply a change to the beats: half or double, then the one, then all beats later or earlier. */
function moved(change) {
  const level = [data.half, data.double].find((l) => l?.change === change.level) ?? data.map;
  const positions = shifted(level.positions, data.map.meter, change.shift_one_beats);
  const beats = level.beats_s.map((time) => Math.max(0, time + change.nudge_s));
  return { level, positions, beats };
}

/** Count the song again with a change; where the walls then lie is for the program to say. */
function recounted(change) {
  const { level, positions, beats } = moved(change);
  const { times, barStart: ones } =
    counted(beats, positions, level.end_s + change.nudge_s, level.beats_per_count);
  const moved_s = change.nudge_s + change.shift_one_beats * median(gaps(beats));
  const bars = [...ones.keys()].filter((i) => ones[i]);
  const wanted = nearest(bars.map((i) => times[i]), data.start_s + moved_s);
  const start = bars[wanted] ?? 0; // a bar near the old start; not where the dance begins
  return { times, ones, rows: called(ones), events: [], start };
}

const NEAR_BARS = 2; // a section found nearer than this to a mark gives way to it

/** Give the times of the ones, as they are before all beats move. */
function barsOf(change) {
  const { level, positions } = moved(change);
  return level.beats_s.filter((_, i) => positions[i] === 1);
}

/** List the sections that are sure to be the program's after `change`, in order.
 *
 * On other bars it looks for sections anew, so only a person's marks are known, each on the
 * one nearest to it.  Marks on the bars as they were leave the others in place, but letters
 * are given anew: then sections have none.
 */
function sectionsAfter(change) {
  if (isUntouched(change)) return data.sections;
  const { sections_at_s: marks, no_section_at_s: denied } = change;
  const bars = barsOf(change);
  const bar = (time) => nearest(bars, time);
  const found = change.level === null && !change.shift_one_beats ? data.sections : [];
  const named = !marks.length && !denied.length;
  const at = new Map(found.map((s) => [bar(s.start_s), named ? s.name : "section"]));
  const first = found.length ? bar(found[0].start_s) : null; // always stays
  const marked = new Set(marks.map(bar));
  const isNear = (one, other) => one !== first && Math.abs(one - other) < NEAR_BARS;
  for (const denial of denied.map(bar)) {
    const near = [...at.keys(), ...marked].filter((one) => isNear(one, denial));
    const gone = near[nearest(near, denial)];
    at.delete(gone);
    marked.delete(gone);
  }
  for (const one of [...at.keys()]) if ([...marked].some((mark) => isNear(one, mark))) at.delete(one);
  for (const mark of marked) at.set(mark, "new section");
  return [...at].sort(([one], [other]) => one - other)
    .map(([one, name]) => ({ start_s: bars[one], name }));
}

// ----------------------------------------------------------------------- the score

/** Add to times, rows and events what the page draws: stretches, sections, phrases. */
function scoreOf(change) {
  const planned = isUntouched(change);
  const { times, ones, rows, events, intro, start: begin } = planned ? data.score : recounted(change);
  const countAt = (time) => Math.max(0, nearest(times, time + change.nudge_s));
  const sections = sectionsAfter(change).map((s) => ({ ...s, at: countAt(s.start_s) }));
  const phrases = planned // after a correction the program looks for them again
    ? data.phrases.map((p) => ({ at: countAt(p.start_s), strength: p.strength })) : [];
  const start = begin ?? Math.max(0, rows.findIndex((row) => row.kind === "wall"));
  const pace = change.level === null ? data.counts_per_minute : 60 / median(gaps(times));
  const calls = planned ? data.group : barSize(ones); // counts up to this number
  return { planned, times, ones, rows, events, intro, sections, phrases, start, pace, calls,
    group: data.group, parts: stretches(rows), end: events.at(-1) };
}

const state = { change: UNTOUCHED, history: [], saved: true, score: null, again: null, index: -2,
  dragging: false };
