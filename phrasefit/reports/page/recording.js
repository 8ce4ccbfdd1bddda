// ------------------------------------------------------------------ the user's recording

const NO_SONG = "no song open: clicks are made here";
const MOST_OFF_S = 1; // two copies of one recording differ by less: silence at the ends

/** Take the file `blob` as the sound, and look whether it can be the song of the plan. */
function open(blob, name) {
  take(URL.createObjectURL(blob), name);
  song.onloadedmetadata = () => check(blob, name);
}

/** Take what an address leads to as the sound. */
function take(address, name) {
  if (sound.playing) pause();
  if (song.src) URL.revokeObjectURL(song.src);
  song.src = address;
  song.playbackRate = song.defaultPlaybackRate = sound.rate;
  sound.source = "song";
  say(`playing ${name}`);
  $("not-the-song").hidden = true;
  song.onloadedmetadata = null;
  song.onpause = () => { // by a key of the keyboard or headphones
    if (song.paused && sound.playing && !sound.lead && !song.ended) pause();
  };
  song.onended = () => {
    if (!sound.playing || !state.again) return pause();
    song.currentTime = state.again.start;
    return startSong();
  };
  song.onerror = () => {
    const why = whySilent(song, `${name} cannot be played by this browser; the page goes on with clicks`);
    useClicks();
    say(why);
  };
  seek(0);
}

/** Put the song away and make clicks again. */
function useClicks() {
  if (sound.playing) pause();
  sound.source = "clicks";
  $("not-the-song").hidden = true;
  say(NO_SONG);
}

/** Warn of a file that is not as long as the song of the plan, or loud and soft elsewhere. */
async function check(blob, name) {
  if (Math.abs(song.duration - data.duration_s) > MOST_OFF_S) {
    return warnOfSong(`${name} lasts ${minutes(song.duration)},`
      + ` the song of the plan ${minutes(data.duration_s)}`);
  }
  const { src } = song;
  const samples = data.heard && await decoded(blob);
  if (samples === null || song.src !== src) return; // cannot tell; another one is open by now
  document.body.dataset.alike = likeness(samples, data.heard).toFixed(3);
  if (Number(document.body.dataset.alike) < ALIKE) {
    warnOfSong(`${name} is as long as the song of the plan, but loud and soft at other places`);
  }
}

/** Stop everything for the question whether this can be right, and keep a line about it. */
function warnOfSong(why) {
  if (sound.playing) pause();
  $("wrong-words").textContent = `${why}. Counts and walls will not agree with what is heard.`;
  $("not-the-song").textContent = `Not the song of the plan: ${why}`;
  $("not-the-song").hidden = false;
  if (!$("wrong").open) $("wrong").showModal();
}

/** Take the recording that came with the page, if one did. */
function openEmbedded() {
  const block = $("recording");
  if (!block) return say(`${NO_SONG}; start quietly, they are sharper than music`);
  const bytes = Uint8Array.from(atob(block.textContent.trim()), (c) => c.charCodeAt(0));
  open(new Blob([bytes], { type: block.dataset.type }), data.title);
}
