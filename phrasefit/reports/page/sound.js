// ----------------------------------------------------------------- the clock of the sound

const song = new Audio();
song.preservesPitch = song.webkitPreservesPitch = true;
song.preload = "auto";
const sound = {
  source: "clicks", playing: false, rate: 1, context: null,
  anchor: { position: 0, context: 0 }, // clicks: the song's place at a time of the audio clock
  lead: null, // the count-in under way
  next: 0, // where the next click is looked for, in running time
  ticking: new Set(),
};

const HELD_UP_S = 0.02; // a busy computer can stop a page between two lines

/** Give the time of the audio clock that is heard now. */
function heardAt() {
  const { context } = sound;
  const stamp = context.getOutputTimestamp ? context.getOutputTimestamp() : {};
  const heard = stamp.performanceTime > 0
    ? stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000
    : context.currentTime - (context.outputLatency || 0);
  return Math.min(heard, context.currentTime);
}

/** Give the running time (repeats not folded) that belongs to a time of the audio clock. */
const runningAt = (time) => sound.anchor.position + (time - sound.anchor.context) * sound.rate;

/** Say where in the song the sound is now. */
function position() {
  if (sound.source === "song") return song.currentTime;
  if (!sound.playing) return sound.anchor.position;
  return wrapped(Math.max(runningAt(heardAt()), sound.anchor.position), state.again);
}

/** Sound one click at `time` of the audio clock. */
function click(time, kind) {
  soundClick(sound.context, time, data.clicks[kind], data, sound.ticking);
}

/** Place the clicks of the near future on the audio clock; a hidden page wakes only each second. */
function scheduleClicks() {
  if (!sound.playing || sound.lead?.waiting) return;
  const withSong = sound.source === "song";
  if (withSong && (!$("clicks").checked || song.paused)) return;
  const before = sound.context.currentTime;
  const place = song.currentTime;
  const now = sound.context.currentTime;
  if (withSong && now - before > HELD_UP_S) return; // not read together; the next pass tries again
  const here = withSong ? place : runningAt(now);
  if (withSong && Math.abs(sound.next - here) > 0.6) sound.next = here; // a repeat, a jump
  const horizon = here + (withSong ? 0.3 : 1.5) * sound.rate;
  for (;;) {
    const found = countAfter(state.score.times, sound.next, withSong ? null : state.again);
    if (!found || found.time > horizon || found.index >= state.score.rows.length) return;
    const row = state.score.rows[found.index];
    const kind = row.event || (row.spoken === 1 ? "eight" : "count");
    const at = now + (found.time - here) / sound.rate;
    if (at >= now - 0.02) click(Math.max(at, now), kind);
    sound.next = found.time + 1e-4;
  }
}

function silence() {
  for (const tone of [...sound.ticking]) tone.stop();
  if ("speechSynthesis" in window) speechSynthesis.cancel();
}

/** Count in to `from`: what is called at which time of the audio clock. */
function countIn(from) {
  const i = lastAt(state.score.times, from + 1e-6);
  const row = state.score.rows[i];
  const how = $("count-in").value;
  if (how === "off" || !row || row.kind === "intro") return null;
  const span = (state.score.times[i + 1] - state.score.times[i]) / sound.rate;
  const begin = sound.context.currentTime + 0.2;
  const calls = Array.from({ length: data.group }, (_, k) => ({
    at: begin + k * span, number: mod(row.spoken - 1 - data.group + k, state.score.calls) + 1,
  }));
  const spoken = how === "spoken" && "speechSynthesis" in window && speechSynthesis.getVoices().length;
  if (!spoken) calls.forEach((call, k) => click(call.at, k ? "count" : "eight"));
  return { calls, spoken, said: -1, end: begin + data.group * span, waiting: sound.source === "song" };
}

async function play() {
  sound.context ??= new AudioContext();
  if (sound.source === "song" && song.paused) { // some browsers let only a tap start a sound, so
    song.play().catch(() => {}); // the element is used once now, before any count-in
    song.pause();
  }
  try {
    await startClock(sound.context);
  } catch (error) {
    return say(error.message);
  }
  keepAwake();
  if (position() >= lastMoment() - 0.05) seek(0);
  const from = position();
  sound.playing = true;
  sound.lead = countIn(from);
  sound.anchor = { position: from, context: sound.lead ? sound.lead.end : sound.context.currentTime + 0.08 };
  sound.next = from - 1e-4;
  if (sound.source === "song" && !sound.lead) await startSong();
  scheduleClicks();
  showPlaying();
}

async function startSong() {
  try {
    await song.play();
  } catch (error) {
    if (error.name === "AbortError") return;
    say(whySilent(song, `this browser cannot play the file (${error.message})`));
  }
}

function pause() {
  const at = position();
  sound.playing = false;
  sound.lead = null;
  song.pause();
  sound.anchor = { position: at, context: 0 };
  silence();
  letSleep();
  showPlaying();
}

/** Begin anew at `time` on the same clock, without a count-in. */
function jump(time) {
  silence();
  sound.lead = null;
  sound.next = time - 1e-4;
  if (sound.source === "song") {
    song.currentTime = time;
    if (sound.playing && song.paused) startSong();
  }
  sound.anchor = { position: time, context: sound.context ? sound.context.currentTime + 0.03 : 0 };
  scheduleClicks();
}

function seek(time) {
  if (state.again && (time < state.again.start - 1e-6 || time >= state.again.end)) setAgain(null);
  jump(clamp(time, 0, lastMoment()));
}

const lastMoment = () => Math.max(data.duration_s, state.score.times.at(-1));

function setRate(percent) {
  const at = position();
  sound.rate = percent / 100;
  song.playbackRate = song.defaultPlaybackRate = sound.rate;
  if (sound.source === "clicks" && sound.playing) jump(at);
  $("speed").value = percent;
  $("percent").value = `${percent} %, ${Math.round(state.score.pace * sound.rate)} a minute`;
}
