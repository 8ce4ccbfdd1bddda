// ---------------------------------------------------------- repeating and stepping

/** Find the count under way at the sound's place, the last if the song is over. */
const countNow = () =>
  clamp(lastAt(state.score.times, position()), 0, state.score.rows.length - 1);

/** Repeat a stretch of counts; none with null. */
function setAgain(stretch) {
  const at = position();
  const { times } = state.score;
  state.again = stretch
    && { ...stretch, start: times[stretch.first], end: times[stretch.after] };
  if (sound.source === "clicks" && sound.playing) jump(at);
  $("repeat-group").setAttribute("aria-pressed", stretch?.kind === "group");
  $("repeat-wall").setAttribute("aria-pressed", stretch?.kind === "wall");
  markRepeated($("sheet"), state.again);
}

function repeat(kind) {
  if (state.again?.kind === kind) return setAgain(null);
  if (kind === "wall" && !state.score.planned) return;
  const i = countNow();
  const part = state.score.parts.find((p) => p.end > i);
  setAgain(kind === "group" ? groupAround(state.score, i) : { first: part.first, after: part.end, kind });
}

/** Go `n` groups of counts on or back, from the beginning of the one under way. */
function step(n) {
  let i = countNow();
  for (let left = Math.abs(n); left > 0; left--) {
    const here = groupAround(state.score, i);
    i = clamp(n > 0 ? here.after : groupAround(state.score, Math.max(0, here.first - 1)).first,
      0, state.score.rows.length - 1);
  }
  seek(state.score.times[i]);
}

function stepWall(n) {
  const i = lastAt(state.score.times, position());
  const starts = state.score.parts.map((part) => part.first);
  const here = Math.max(0, lastAt(starts, i));
  seek(state.score.times[starts[clamp(here + n, 0, starts.length - 1)]]);
}
