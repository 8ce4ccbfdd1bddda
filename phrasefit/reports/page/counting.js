"use strict";
// ------------------------------------------------------------- small pure functions

const mod = (n, size) => ((n % size) + size) % size;
const clamp = (n, low, high) => Math.min(Math.max(n, low), high);
const median = (numbers) => [...numbers].sort((a, b) => a - b)[numbers.length >> 1];
const gaps = (times) => times.slice(1).map((time, i) => time - times[i]);
const nearest = (times, time) =>
  times.reduce((best, t, i) => (Math.abs(t - time) < Math.abs(times[best] - time) ? i : best), 0);

/** Find the last of increasing `times` that is not after `time`; -1 if all are. */
function lastAt(times, time) {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** Write a facing as a clock: 90 is 3:00. */
function clock(degrees) {
  const minutes = Math.round(mod(degrees, 360) * 2) % 720;
  return `${Math.floor(minutes / 60) || 12}:${String(minutes % 60).padStart(2, "0")}`;
}

/** Write seconds as m:ss.d. */
function minutes(seconds) {
  const tenths = Math.round(Math.max(0, seconds) * 10);
  const rest = String(Math.floor(tenths / 10) % 60).padStart(2, "0");
  return `${Math.floor(tenths / 600)}:${rest}.${tenths % 10}`;
}

const tapsOf = (n) => (n === 1 ? "1 tap" : `${n} taps`);

/** Write seconds as m:ss, rounded as on paper. */
const wholeMinutes = (seconds) => minutes(Math.round(seconds)).slice(0, -2);

/** Take a position that ran on past the end of a stretch that repeats back into it. */
const wrapped = (time, again) =>
  again && time >= again.end
    ? again.start + ((time - again.start) % (again.end - again.start)) : time;

/** Find the first count at or after the running time `time`, through all repeats so far. */
function countAfter(times, time, again) {
  const length = again ? again.end - again.start : 0;
  const passed = again && time >= again.end ? Math.floor((time - again.start) / length) : 0;
  const index = lastAt(times, time - passed * length - 1e-9) + 1;
  if (again && !(times[index] < again.end - 1e-9)) {
    return { index: lastAt(times, again.start + 1e-9), time: again.start + (passed + 1) * length };
  }
  return index < times.length ? { index, time: times[index] + passed * length } : null;
}

/** Read taps on every 1: how many beats apart, on which beat of the bar, how sure. */
function readTaps(taps, beats, positions, meter) {
  const beat_s = median(gaps(beats));
  const apart = median(gaps(taps)) / beat_s;
  const on = taps.map((time) => positions[nearest(beats, time)]);
  const votes = on.map((place) => on.filter((other) => other === place).length);
  const place = on[votes.indexOf(Math.max(...votes))];
  const later = mod(place - 1, meter);
  return {
    apart: Math.round(apart), steady: Math.abs(apart - Math.round(apart)) < 0.2,
    bpm: (60 / median(gaps(taps))) * Math.round(apart), share: Math.max(...votes) / on.length, place,
    shift: later > meter / 2 ? later - meter : later,
  };
}
