// ------------------------------------------- whether a file is the song that was heard

// Two copies of one recording are alike by 0.98 and more (WAV, OGG, MP3 at 64 kbit/s, begun
// 0.6 s later); of 15 songs no other one, made as long, came nearer than 0.78.  A copy with
// much more bass (0.70 to 0.99), or much compressed, can be warned of wrongly.
const ALIKE = 0.85;
const LISTEN_HZ = 8000; // enough for loudness, and an hour still fits into memory
const FRAME_S = 0.02;
const FAINTEST = 1e-8; // of power; below that all is silence
const MOST_LATE_S = 1;
const LATE_STEP_S = 0.04;

/** Decode a file to one channel; null where the browser cannot. */
async function decoded(blob) {
  try {
    const context = new OfflineAudioContext(1, 1, LISTEN_HZ);
    const sound = await context.decodeAudioData(await blob.arrayBuffer());
    const channels = Array.from({ length: sound.numberOfChannels }, (_, k) => sound.getChannelData(k));
    return channels[0].map((_, i) => channels.reduce((sum, own) => sum + own[i], 0) / channels.length);
  } catch {
    return null;
  }
}

/** Sum up the loudness [dB] of frames: entry `i` is the sum of the first `i`. */
function loudnessSums(samples) {
  const size = LISTEN_HZ * FRAME_S;
  const sums = [0];
  for (let at = 0; at + size <= samples.length; at += size) {
    let power = 0;
    for (let i = at; i < at + size; i++) power += samples[i] ** 2;
    sums.push(sums.at(-1) + 10 * Math.log10(Math.max(power / size, FAINTEST)));
  }
  return sums;
}

/** Give the mean of `sums` over each beat, all of them `late_s` later; null outside the sound. */
function loudnessOfBeats(sums, beats_s, late_s) {
  const edges = beats_s.map((time) =>
    clamp(Math.round((time + late_s) / FRAME_S), 0, sums.length - 1));
  return gaps(edges).map((n, i) => (n > 0 ? (sums[edges[i + 1]] - sums[edges[i]]) / n : null));
}

/** Correlate two rows (Pearson) where the second one is known; 0 where one of them is level. */
function correlation(first, second) {
  const pairs = second.map((b, i) => [first[i], b]).filter(([, b]) => b !== null);
  const mean = (k) => pairs.reduce((sum, pair) => sum + pair[k], 0) / pairs.length;
  const [a, b] = [mean(0), mean(1)];
  let [ab, aa, bb] = [0, 0, 0];
  for (const [x, y] of pairs) {
    ab += (x - a) * (y - b);
    aa += (x - a) ** 2;
    bb += (y - b) ** 2;
  }
  return aa && bb ? ab / Math.sqrt(aa * bb) : 0;
}

/** Tell how alike `samples` and the song that was heard are, from beat to beat: 1 is the same. */
function likeness(samples, { beats_s, loudness_db }) {
  const sums = loudnessSums(samples);
  let best = 0;
  for (let late = -MOST_LATE_S; late <= MOST_LATE_S; late += LATE_STEP_S) {
    best = Math.max(best, correlation(loudness_db, loudnessOfBeats(sums, beats_s, late)));
  }
  return best;
}
