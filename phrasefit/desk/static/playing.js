// ------------------------------------------------------------ the song, on one clock
//
// The song is an audio element; clicks are laid on the audio clock beside it. What is drawn
// is taken from the song's own place, less the time that sound needs to reach the ear.
// Needs counting.js, clicking.js and starting.js, and knows nothing of the view.

const LATE = "sound-late-ms"; // how late sound is heard on this device, as set by ear
const AHEAD_S = 0.3; // clicks are laid so far ahead
const SOFT = 0.6; // of the level of a click: the song stays in front

/** Read what was set by ear on this device; null if nothing was. */
export function lateByEar() {
  try {
    const kept = localStorage.getItem(LATE);
    return kept === null ? null : clamp(Number(kept) || 0, 0, 600);
  } catch { return null; }
}

/** Keep what was set by ear. */
export function setLateByEar(ms) {
  try { localStorage.setItem(LATE, String(Math.round(ms))); } catch { /* kept until the page goes */ }
}

export class Player {
  /**
   * `address` is that of the sound; `draw(time, playing)` is called with the place heard;
   * `fail(words)` is told why the song does not sound.
   */
  constructor(address, { draw, fail }) {
    Object.assign(this, { draw, fail, clicks: false, again: null, excerpt: null, kinds: null });
    this.song = new Audio();
    this.song.preload = "auto";
    this.song.preservesPitch = this.song.webkitPreservesPitch = true;
    this.song.src = address;
    this.song.addEventListener("ended", () => this.pause());
    this.song.addEventListener("error", () => this.#tellBroken());
    this.ticking = new Set();
    this.next = 0;
  }

  /** Say which counts sound: the score, and `{ clicks, peak, second_tone_s }` of the document. */
  setScore(score, kinds) {
    Object.assign(this, { score, kinds });
  }

  get playing() { return !this.song.paused; }

  get rate() { return this.song.playbackRate; }

  /** How late sound is heard [s]. */
  get late_s() {
    return lateByEar() === null ? this.context?.outputLatency || 0 : lateByEar() / 1000;
  }

  /** The place of the song that is heard now [s]. */
  get place() {
    return Math.max(0, this.song.currentTime - (this.playing ? this.late_s * this.rate : 0));
  }

  setRate(share) {
    this.song.defaultPlaybackRate = this.song.playbackRate = share;
  }

  /** Begin to play, from `time` if it is given. */
  async play(time = null) {
    this.excerpt = null;
    if (time !== null) this.seek(time);
    await this.#start();
  }

  async #start() {
    this.context ??= new AudioContext();
    try {
      await Promise.all([startClock(this.context), this.song.play()]);
    } catch (error) {
      this.song.pause();
      if (this.song.error) this.#tellBroken();
      else if (!(error instanceof DOMException)) this.fail(error.message);
      else if (error.name !== "AbortError") this.fail(`the song does not play here (${error.message})`);
      return;
    }
    this.next = this.song.currentTime - 1e-3;
    clearInterval(this.timer);
    this.timer = setInterval(() => this.#layClicks(), 80);
    this.#layClicks();
    this.#frame();
  }

  #tellBroken() {
    this.fail(whySilent(this.song, "the song does not play here; its file may have been moved,"
      + " or this browser does not know its kind"));
  }

  pause() {
    this.song.pause();
    clearInterval(this.timer);
    this.#silence();
    this.excerpt?.done();
    this.excerpt = null;
    this.draw(this.place, false);
  }

  seek(time) {
    this.#silence();
    if (this.again && (time < this.again.start - 1e-6 || time >= this.again.end)) this.again = null;
    this.song.currentTime = Math.max(0, time);
    this.next = time - 1e-3;
    if (!this.playing) this.draw(time, false);
  }

  /** Repeat a stretch `{ start, end }` [s]; none with null. */
  repeat(stretch) {
    this.again = stretch;
  }

  /** Play a stretch with its own clicks, then go back to where the song was; ends when it ends. */
  async hear({ start_s, end_s, clicks_s, strong_s }) {
    if (this.playing) this.pause();
    const before = this.song.currentTime;
    const strong = new Set(strong_s);
    const calls = clicks_s.map((time) => ({ time, kind: strong.has(time) ? "eight" : "count" }));
    this.again = null;
    this.seek(start_s);
    const ended = new Promise((done) => { this.excerpt = { end_s, calls, done }; });
    await this.#start();
    if (!this.playing) this.pause();
    await ended;
    if (!this.playing) this.seek(before);
  }

  /** Leave: nothing sounds any more. */
  close() {
    this.pause();
    this.song.removeAttribute("src");
    this.song.load();
    this.context?.close();
  }

  #silence() {
    for (const tone of [...this.ticking]) tone.stop();
  }

  /** Find the first click at or after a place of the song: its time and kind. */
  #callAfter(time) {
    if (this.excerpt) return this.excerpt.calls.find((call) => call.time >= time - 1e-9);
    if (!this.clicks || !this.score) return null;
    const found = countAfter(this.score.times, time, null);
    const row = found && this.score.rows[found.index];
    if (!row) return null;
    return { time: found.time, kind: row.event || (row.spoken === 1 ? "eight" : "count") };
  }

  #layClicks() {
    if (!this.playing) return;
    const here = this.song.currentTime;
    const now = this.context.currentTime;
    if (Math.abs(this.next - here) > 0.6) this.next = here; // a repeat, a jump
    for (;;) {
      const call = this.#callAfter(this.next);
      if (!call || call.time > here + AHEAD_S * this.rate) return;
      const at = now + (call.time - here) / this.rate;
      if (at >= now - 0.03) this.#click(Math.max(at, now), call.kind);
      this.next = call.time + 1e-3;
    }
  }

  #click(at, kind) {
    const [tones, decay_s, level] = this.kinds.clicks[kind] ?? this.kinds.clicks.count;
    soundClick(this.context, at, [tones, decay_s, level * SOFT], this.kinds, this.ticking);
  }

  #frame() {
    if (!this.playing) return;
    requestAnimationFrame(() => this.#frame());
    const { again, excerpt } = this;
    if (excerpt && this.song.currentTime >= excerpt.end_s) return void this.pause();
    if (again && this.song.currentTime >= again.end) this.seek(again.start);
    this.draw(this.place, true);
  }
}
