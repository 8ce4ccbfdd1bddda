// -------------------------------------------------------------------- corrections

/** Tell whether a level of the song's beats is half the counts shown (it need not be below 1). */
function isHalf(level) {
  return data.half !== null && level === data.half.change;
}

/** Say a change in words. */
function changeWords(change) {
  const { shift_one_beats: beats, nudge_s } = change;
  const ms = Math.round(nudge_s * 1000);
  const side = (n) => (n > 0 ? "later" : "earlier");
  return [
    change.level && `counted ${isHalf(change.level) ? "half" : "twice"} as fast`,
    beats && `the one ${Math.abs(beats)} beat${Math.abs(beats) > 1 ? "s" : ""} ${side(beats)}`,
    ms && `all beats ${Math.abs(ms)} ms ${side(ms)}`,
    ...change.sections_at_s.map((time) => `a section at ${minutes(time)}`),
    ...change.no_section_at_s.map((time) => `no section at ${minutes(time)}`),
  ].filter(Boolean).join(", ");
}

/** Count anew with `change`, at the same place of the song. */
function apply(change) {
  state.change = change;
  state.score = scoreOf(change);
  state.index = -2;
  drawTable();
  drawSheet();
  setAgain(null);
  setRate(Number($("speed").value));
  showState();
  keep();
}

/** Say what is changed, and show of the plan only what still holds. */
function showState() {
  const { planned } = state.score;
  $("song").textContent = planned ? `${data.facts}; ${data.start}` : data.facts;
  $("planned").hidden = !planned;
  $("unplanned").hidden = planned;
  $("cues").hidden = !planned || !data.steps.length;
  $("repeat-wall").disabled = !planned;
  $("to-start").disabled = !planned;
  nameGroups();
  $("state").textContent = changeWords(state.change) || "nothing is changed";
  $("save").disabled = !data.save || isUntouched(state.change);
  $("undo").disabled = $("undo-all").disabled = !state.history.length;
}

function amend(part) {
  state.history.push(state.change);
  state.saved = false;
  apply({ ...state.change, ...part });
}

function undo() {
  state.saved = false;
  apply(state.history.pop());
}

function undoAll() {
  Object.assign(state, { history: [], saved: true });
  apply(UNTOUCHED);
}

function shiftOne(beats) {
  const most = data.most.shift_beats;
  amend({ shift_one_beats: clamp(state.change.shift_one_beats + beats, -most, most) });
}

/** Move all beats later by `ms` (earlier if negative). */
function allLater(ms) {
  const most = data.most.later_ms;
  amend({ nudge_s: clamp(Math.round(state.change.nudge_s * 1000) + ms, -most, most) / 1000 });
}

/** Count half or twice as fast; the one then stands where the program puts it at that level. */
function setLevel(level) {
  amend({ level: state.change.level === level.change ? null : level.change, shift_one_beats: 0 });
}

/** Say that a section starts at the bar playing now, or that none does. */
function markSection(wanted) {
  const { sections_at_s: marks, no_section_at_s: denied } = state.change;
  const bars = barsOf(state.change);
  const here = nearest(bars, position() - state.change.nudge_s);
  const far = (times) => times.filter((time) => Math.abs(nearest(bars, time) - here) >= NEAR_BARS);
  const added = (times) => [...times, bars[here]].sort((a, b) => a - b);
  if (wanted) amend({ sections_at_s: added(far(marks)), no_section_at_s: far(denied) });
  else if (far(marks).length < marks.length) amend({ sections_at_s: far(marks) });
  else amend({ no_section_at_s: added(far(denied)) });
}

/** Lay out the corrections as the program reads them. */
function correctionFile() {
  const { nudge_s, sections_at_s, no_section_at_s, ...others } = state.change;
  const moved = (times) => times.map((time) => Math.max(time + nudge_s, 0)); // with all beats
  return { format: "phrasefit-correction", version: 2, ...data.save, change: { ...others,
    nudge_s, sections_at_s: moved(sections_at_s), no_section_at_s: moved(no_section_at_s) } };
}

/** Hand the corrections over as a file for the program. */
function save() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(correctionFile(), null, 1)], { type: "application/json" }));
  link.download = `${(data.title.replace(/[^\p{L}\p{N}]+/gu, "-").slice(0, 60)) || "song"}-correction.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  state.saved = true;
  keep();
  $("save-note").textContent = `now take ${link.download} to the song's sheet at the desk (From a page's file), `
    + `or run: phrasefit correct SONG "${link.download}"; then make the page again`;
}

let taps = [];
function tap() {
  if (!sound.playing) return;
  const now = position() - (Number($("late").value) / 1000) * sound.rate;
  if (taps.length && (now < taps.at(-1) || now - taps.at(-1) > 12)) taps = [];
  taps.push(now);
  $("use-taps").disabled = true;
  $("taps").value = tapsOf(taps.length);
  if (taps.length < 4) return;
  const { beats, positions } = moved(state.change);
  const found = readTaps(taps, beats, positions, data.map.meter);
  const bars = found.apart / data.map.meter;
  const level = bars <= 0.5 ? data.double : bars >= 4 ? data.half : null;
  if (found.apart <= 1) $("taps").value = "you tap every beat; tap only the 1s";
  else if (!found.steady || found.share < 0.7) $("taps").value = "the taps do not agree yet; go on";
  else {
    const where = found.shift ? `on beat ${found.place}` : "on the ones that are marked";
    const also = level ? `; ${isHalf(level.change) ? "half" : "twice"} as fast?` : "";
    const pace = `every ${found.apart} beats at ${Math.round(found.bpm)} beats a minute`;
    $("taps").value = `${pace}, ${where}${also}`;
    $("use-taps").disabled = !found.shift && !level;
    $("use-taps").onclick = () => { taps = []; level ? setLevel(level) : shiftOne(found.shift); };
  }
}
