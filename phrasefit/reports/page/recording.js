// ------------------------------------------------------------------ the user's recording

const NO_SONG = "no song open: clicks are made here";
const MOST_OFF_S = 1; // two copies of one recording differ by less: silence at the ends

/** Take the file `blob` as the sound, and look whether it can be the song of the plan. */
const open = (blob, name) => take(URL.createObjectURL(blob), name);

/** Take what an address leads to as the sound. */
function take(address, name) {
  if (sound.playing) pause();
  if (song.src) URL.revokeObjectURL(song.src);
  song.src = address;
  song.playbackRate = song.defaultPlaybackRate = sound.rate;
  sound.source = "song";
  say(`playing ${name}`);
  $("not-the-song").hidden = true;
  song.onloadedmetadata = () => {
    if (Math.abs(song.duration - data.duration_s) > MOST_OFF_S) warnOfSong(name);
  };
  song.onpause = () => { // by a key of the keyboard or headphones
    if (song.paused && sound.playing && !sound.lead && !song.ended) pause();
  };
  song.onended = () => {
    if (!sound.playing || !state.again) return pause();
    song.currentTime = state.again.start;
    return startSong();
  };
  song.onerror = () => {
    useClicks();
    say(`${name} cannot be played by this browser; the page goes on with clicks`);
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

/** Stop everything for the question whether this can be right, and keep a line about it. */
function warnOfSong(name) {
  if (sound.playing) pause();
  const lengths = `${name} lasts ${minutes(song.duration)},`
    + ` the song of the plan ${minutes(data.duration_s)}`;
  $("wrong-words").textContent = `${lengths}. Counts and walls will not agree with what is heard.`;
  $("not-the-song").textContent = `Not the song of the plan: ${lengths}`;
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
