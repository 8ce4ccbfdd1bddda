"""Makes copies of songs, louder, softer, clipped, slower ..., and compares what is heard in them.

``python tests/torture/copies_long.py FOLDER... [--copies 240] [--seconds 90] [--jobs 2]``

Every song of the folders is cut to its first `--seconds` and heard; then copies of it are,
each a file of its own that no cache knows.  Kinds are dealt out in turn, so that as many songs
as possible are tried.  A beat is kept if one of the copy lies within 10 ms of it, times being
mapped from song to copy; a beat too many counts like one too few.  A plan (`COUNTS` counts,
four walls; in threes three quarters of it) is unchanged if level, start, walls, tags and
restarts are the same in counts from the first one of the song.  Exit code 1 if a bar is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import cycle, islice
from pathlib import Path

import numpy as np
import soundfile
import soxr

sys.path.insert(0, str(Path(__file__).parent.parent))

from phrasefit import pipeline
from phrasefit.errors import NoPulseError, PhrasefitError
from phrasefit.fit import fit_routine
from phrasefit.model import BarMap, Ending
from phrasefit.routine.spec import routine_from_numbers
from sound_files import write_song

AUDIO_ENDINGS = {".wav", ".ogg", ".flac", ".mp3"}
WITHIN_S = 0.010
LEAST_BEATS, LEAST_PLANS = 0.99, 0.95
COUNTS = 32
LEAD_S = 3.7
CLIPPED_SHARE = 0.05  # of the samples, where clipping is heavy
NOISE_DB = -60.0  # of the lead with noise


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Copy:
    """A song changed: moment t of the song is ``t / speed + lead_s`` of the copy."""

    samples: np.ndarray
    ending: str = "wav"
    speed: float = 1.0
    lead_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """Beats [seconds], and the plan in counts or why there is none."""

    beats_s: np.ndarray
    level: float
    plan: tuple[tuple[object, ...], ...] | str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a copy kept of its song: beats of so many, and the plan unless `changed` says how."""

    song: str
    kind: str
    n_kept: int
    n_beats: int
    changed: str


def gained(decibels: float) -> Callable[[np.ndarray, int], Copy]:
    """Make louder or softer; what goes beyond full scale is cut off when it is written."""
    return lambda samples, rate_hz: Copy(samples=samples * 10 ** (decibels / 20))


def clipped(samples: np.ndarray, rate_hz: int) -> Copy:
    """Cut off the loudest samples."""
    limit = float(np.quantile(np.abs(samples), 1 - CLIPPED_SHARE))
    return Copy(samples=np.clip(samples, -limit, limit))


def at_speed(speed: float) -> Callable[[np.ndarray, int], Copy]:
    """Play faster or slower, as a turntable does."""
    return lambda samples, rate_hz: Copy(
        samples=soxr.resample(samples, speed * rate_hz, rate_hz), speed=speed
    )


def with_lead(samples: np.ndarray, rate_hz: int, *, noise: float = 0.0) -> Copy:
    """Put silence or noise of so much power before the song."""
    shape = (round(LEAD_S * rate_hz), *samples.shape[1:])
    lead = np.sqrt(noise) * np.random.default_rng(0).standard_normal(shape)
    lead_s = len(lead) / rate_hz
    return Copy(samples=np.concatenate([lead, samples]).astype(np.float32), lead_s=lead_s)


KINDS: dict[str, Callable[[np.ndarray, int], Copy]] = {
    "20 dB softer": gained(-20),
    "10 dB softer": gained(-10),
    "10 dB louder, clipped": gained(10),
    "20 dB louder, clipped": gained(20),
    "5 % of samples clipped": clipped,
    "mono": lambda samples, rate_hz: Copy(samples=samples.mean(axis=1)),
    "MP3, 64 kbit/s": lambda samples, rate_hz: Copy(samples=samples, ending="64k.mp3"),
    "4 % faster": at_speed(1.04),
    "4 % slower": at_speed(1 / 1.04),
    "silence before": with_lead,
    "noise before": lambda samples, rate_hz: with_lead(
        samples, rate_hz, noise=10 ** (NOISE_DB / 10)
    ),
}


def plan_of(bar_map: BarMap, meter: int) -> tuple[float, tuple[tuple[object, ...], ...] | str]:
    """Level, and the plan in counts from the first one."""
    in_threes = meter % 3 == 0
    routine = routine_from_numbers(
        counts=COUNTS * 3 // 4 if in_threes else COUNTS, walls=4, meter=3 if in_threes else 4
    )
    try:
        fit = fit_routine(bar_map, routine)
    except PhrasefitError as exc:
        return 0.0, f"no plan: {exc}"
    one = int(np.argmax(fit.grid.bar_start))
    events = tuple(
        (str(event.kind), event.count - one, event.facing, getattr(event, "after_count", 0))
        for event in fit.plan.events
        if not isinstance(event, Ending)
    )
    return fit.grid.beats_per_count, events


def hear(path: Path, meter: int = 0) -> tuple[Heard, int]:
    """Listen to a file and plan it in `meter`; without one, in that of the song."""
    bar_map = pipeline.listen(path).bar_map
    level, plan = plan_of(bar_map, meter or bar_map.meter)
    return Heard(beats_s=bar_map.beat_times_s, level=level, plan=plan), bar_map.meter


def n_kept(expected_s: np.ndarray, found_s: np.ndarray) -> int:
    """How many beats have one of the other's within `WITHIN_S`."""
    after = np.clip(np.searchsorted(found_s, expected_s), 1, len(found_s) - 1)
    nearest = np.minimum(
        np.abs(found_s[after] - expected_s), np.abs(found_s[after - 1] - expected_s)
    )
    return int((nearest <= WITHIN_S).sum())


def changed(song: Heard, copy: Heard) -> str:
    """Say how the plan of a copy differs; empty if it does not."""
    if song.level != copy.level:
        return f"level {song.level:g}, now {copy.level:g}"
    if song.plan == copy.plan:
        return ""
    if isinstance(copy.plan, str) or isinstance(song.plan, str):
        return "only one of them has a plan"
    pairs = zip(song.plan, copy.plan, strict=False)
    first = next((pair for pair in pairs if pair[0] != pair[1]), None)
    return (
        f"{first[0]}, now {first[1]}" if first else f"{len(song.plan)} events, now {len(copy.plan)}"
    )


def compare(path: Path, kinds: list[str], seconds: float) -> list[Verdict]:
    """Hear a song and its copies; nothing if the song itself is refused."""
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    samples, verdicts = samples[: round(seconds * rate_hz)], []
    with tempfile.TemporaryDirectory(prefix="copies-") as folder:
        try:
            song, meter = hear(write_song(Path(folder, "song.wav"), "wav", samples, rate_hz))
        except NoPulseError:
            return []
        for number, kind in enumerate(kinds):
            copy = KINDS[kind](samples, rate_hz)
            file = Path(folder, f"{number}.{copy.ending}")
            try:
                heard, _ = hear(write_song(file, copy.ending, copy.samples, rate_hz), meter)
            except NoPulseError:
                verdicts.append(Verdict(song=path.stem, kind=kind, n_kept=0,
                                        n_beats=len(song.beats_s), changed="refused"))  # fmt: skip
                continue
            kept = n_kept(song.beats_s / copy.speed + copy.lead_s, heard.beats_s)
            verdicts.append(
                Verdict(
                    song=path.stem,
                    kind=kind,
                    n_kept=kept,
                    n_beats=max(len(song.beats_s), len(heard.beats_s)),
                    changed=changed(song, heard),
                )
            )
    return verdicts


def dealt(songs: list[Path], n_copies: int) -> Iterator[tuple[Path, list[str]]]:
    """Deal the kinds out over the songs, in turn."""
    kinds = cycle(KINDS)
    each, more = divmod(n_copies, len(songs))
    for number, song in enumerate(songs):
        if chosen := list(islice(kinds, each + (number < more))):
            yield song, chosen


def told(verdict: Verdict) -> str:
    """Say in a line what a copy lost; empty if nothing."""
    if not verdict.changed and verdict.n_kept == verdict.n_beats:
        return ""
    kept = f"{verdict.n_kept} of {verdict.n_beats} beats"
    return f"{verdict.song}, {verdict.kind}: {kept}; {verdict.changed or 'same plan'}\n"


def report(verdicts: list[Verdict]) -> bool:
    """Print a table by kinds; tell whether both bars are met."""
    print(f"{'':26}{'copies':>8}{'beats kept':>12}{'plans kept':>12}")
    for kind in (*KINDS, "all"):
        rows = [v for v in verdicts if kind in (v.kind, "all")]
        if rows:
            beats = sum(v.n_kept for v in rows) / sum(v.n_beats for v in rows)
            plans = sum(not v.changed for v in rows) / len(rows)
            print(f"{kind:26}{len(rows):8}{beats:12.2%}{plans:12.1%}")
    return beats >= LEAST_BEATS and plans >= LEAST_PLANS


def main() -> int:
    """Make and hear the copies."""
    from joblib import Parallel, delayed

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--copies", type=int, default=240)
    parser.add_argument("--seconds", type=float, default=90.0)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    songs = sorted(
        path
        for folder in asked.folders
        for path in folder.rglob("*")
        if path.suffix.lower() in AUDIO_ENDINGS
    )
    found: list[Verdict] = []
    n_heard = 0
    work = Parallel(n_jobs=asked.jobs, return_as="generator")(
        delayed(compare)(song, kinds, asked.seconds) for song, kinds in dealt(songs, asked.copies)
    )
    for verdicts in work:
        found += verdicts
        n_heard += bool(verdicts)
        print("".join(map(told, verdicts)), end="", flush=True)
    print(f"{n_heard} of {len(songs)} songs")
    return 0 if report(found) else 1


if __name__ == "__main__":
    sys.exit(main())
