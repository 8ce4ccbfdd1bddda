// ------------------------------------------------- what can be said about a count of the song
//
// `groupsAt` lists it in words; `work` holds what the view does: `correct(change)`,
// `ask(changes)`, `play(time)`, `loop(i)`, `hear(hearing)`, `name(i)`.

import { withPlace, withoutPlace } from "./beside.js";

const AROUND = 4; // counts heard before and after a place

/** Name count `i` in words: where in the dance it is, and when. */
export function countWords(score, i) {
  const row = score.rows[i];
  const where = { intro: () => `intro, ${-row.count} to go`, wall: () => `wall ${row.wall}, count ${row.count}`,
    tag: () => `tag, count ${row.count}`, after: () => "after the dance", counts: () => `count ${row.spoken}` };
  return `${where[row.kind]()}, ${minutes(score.times[i])}`;
}

/** Find the one of the bar that count `i` lies in. */
function oneBefore(score, i) {
  let one = i;
  while (one > 0 && !score.ones[one]) one--;
  return one;
}

const sectionAt = (score, i) => score.sections.findLast((section) => section.at <= i);

/** List the groups of the menu of count `i`. */
export function groupsAt({ doc, score, query, work }, i) {
  const time = score.times[i];
  return [
    { name: "play", items: [
      { words: "play from here", work: () => work.play(time) },
      { words: `repeat this ${score.group === 6 ? "six" : "eight"}`, work: () => work.loop(i) },
      { words: "hear four counts before and after", work: () => work.hear(around(score, i)) },
    ] },
    { name: "the one", items: onesAt(score, i, time, work) },
    { name: "counted", items: [
      doc.can.half && { words: "half as fast", work: () => work.correct({ level: doc.can.half }) },
      doc.can.double && { words: "twice as fast", work: () => work.correct({ level: doc.can.double }) },
    ].filter(Boolean) },
    { name: "sections", items: sectionsAt(doc, score, i, time, work) },
    { name: "this bar has", items: oddBarsAt(doc, score, i, work) },
    { name: "the dance", items: doc.plan ? danceAt(doc, query, i, time, work) : [] },
  ];
}

function onesAt(score, i, time, work) {
  const shift = (beats) => () => work.correct({ shift_one_beats: beats });
  return [
    !score.ones[i] && { words: "this is a one", work: () => work.correct({ ones_at_s: [time] }) },
    { words: "the one is a beat earlier", work: shift(-1) },
    { words: "the one is a beat later", work: shift(1) },
  ].filter(Boolean);
}

function around(score, i) {
  const { times } = score;
  return { start_s: times[Math.max(0, i - AROUND)], end_s: times[Math.min(times.length - 1, i + AROUND)],
    clicks_s: [times[i]], strong_s: [times[i]] };
}

function sectionsAt(doc, score, i, time, work) {
  const here = sectionAt(score, i);
  const bar = doc.sheet.map.meter / doc.sheet.map.beats_per_count;
  const isFirst = here === score.sections[0];
  const near = score.sections.find((s) => s !== score.sections[0] && Math.abs(s.at - i) < 2 * bar);
  return [
    here?.at !== i && { words: "a section starts here", work: () => work.correct({ sections_at_s: [time] }) },
    near && !(isFirst && near === here) && {
      words: near.at === i ? "none starts here" : `none starts at ${minutes(score.times[near.at])}`,
      work: () => work.correct({ no_section_at_s: [score.times[near.at]] }),
    },
    here && { words: "name this section…", work: () => work.name(i) },
    { words: "the singing begins here", work: () => work.correct({ singing_at_s: time }) },
    doc.corrections.singing_at_s !== null && { words: "not said where the singing begins",
      work: () => work.correct({ no_singing: true }) },
  ].filter(Boolean);
}

function oddBarsAt(doc, score, i, work) {
  const at_s = score.times[oneBefore(score, i)];
  const odd = doc.notes.some((note) => note.kind === "odd" && note.at === oneBefore(score, i));
  return [
    ...doc.can.odd_bars.map((beats) => ({ words: `${beats} beats`, said: `this bar has ${beats} beats`,
      work: () => work.correct({ odd_bars: [{ at_s, beats }] }) })),
    odd && { words: `${doc.can.meter}: no odd bar`, work: () => work.correct({ no_odd_bar_at_s: [at_s] }) },
  ].filter(Boolean);
}

function danceAt(doc, query, i, time, work) {
  const items = [{ words: "start the dance here",
    work: () => work.ask({ start: time.toFixed(3), intro: null, changes: null }) }];
  for (const kind of ["restart", "tag"]) {
    const places = doc.plan.places.filter((place) => place.kind === kind && place.at === i);
    for (const place of places) {
      items.push({ words: `take back: ${place.wanted ? "a" : "no"} ${kind} here`,
        work: () => work.ask(withoutPlace(query, place)) });
    }
    if (places.length) continue;
    items.push({ words: `a ${kind} here`, work: () => work.ask(withPlace(query, { kind, at_s: time, wanted: true })) });
    items.push({ words: `never a ${kind} here`, work: () => work.ask(withPlace(query, { kind, at_s: time, wanted: false })) });
  }
  return items;
}
