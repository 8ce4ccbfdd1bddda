// ------------------------------------------------------------------------ a click
//
// Needs an AudioContext and nothing of the page.

/**
 * Sound one click at `time` of the audio clock: tones [Hz], how fast they die away [s], and
 * their level. `peak` and `second_tone_s` are those of all clicks; tones under way are in
 * `ticking`, so that they can be stopped.
 */
function soundClick(context, time, [tones, decay_s, level], { peak, second_tone_s }, ticking) {
  tones.forEach((hertz, i) => {
    const begin = time + i * second_tone_s;
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.frequency.value = hertz;
    gain.gain.setValueAtTime(peak * level, begin);
    gain.gain.exponentialRampToValueAtTime(1e-4, begin + 6 * decay_s);
    tone.connect(gain).connect(context.destination);
    tone.start(begin);
    tone.stop(begin + 6 * decay_s);
    ticking.add(tone);
    tone.onended = () => ticking.delete(tone);
  });
}
