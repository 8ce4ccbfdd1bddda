"""Songs and routines for the tests of fit, written down bar by bar."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.model import (
    BarMap,
    Outlook,
    Part,
    RestartPoint,
    Routine,
    Section,
    TagOption,
    form_starts,
)


def make_song(
    *sections: tuple[str, int | list[int]],
    meter: int = 4,
    bpm: float = 120.0,
    pickup: int = 0,
    strengths: tuple[float, ...] = (),
    first_s: float = 1.0,
    **fields: object,
) -> BarMap:
    """Build a bar map from (letter, number of bars, or the beats of each bar)."""
    positions = list(range(meter - pickup + 1, meter + 1))
    found = []
    for i, (letter, bars) in enumerate(sections):
        start = len(positions)
        for beats in bars if isinstance(bars, list) else [meter] * bars:
            positions += range(1, beats + 1)
        found.append(
            Section(
                start_beat=start,
                n_beats=len(positions) - start,
                letter=letter,
                strength=strengths[i] if strengths else 1.0,
            )
        )
    beat_s = 60.0 / bpm
    times = first_s + beat_s * np.arange(len(positions))
    given = {"sections": tuple(found), "tempo_bpm": bpm, **fields}
    return BarMap(
        beat_times_s=times,
        positions=positions,
        meter=meter,
        end_s=times[-1] + beat_s,
        duration_s=times[-1] + beat_s + 1.0,
        **given,
    )


def make_part(
    name: str = "A", counts: int = 32, turn: int = 90, cuts: dict[int, int] | None = None
) -> Part:
    """Build a part with restart points {after count: turned so far}; by default each bar of 4."""
    points = dict.fromkeys(range(4, counts, 4), 0) if cuts is None else cuts
    return Part(
        name=name,
        counts=counts,
        turn_deg=turn,
        restart_points=tuple(RestartPoint(after_count=k, turn_deg=t) for k, t in points.items()),
    )


def make_routine(*parts: Part, **fields: object) -> Routine:
    """Build a routine; 32 counts and four walls unless parts are given."""
    in_threes = fields.get("meter") == 3
    lengths, odd = ((3, 6, 12), (1, 2)) if in_threes else ((2, 4, 8, 16), (1, 3, 5))
    tags, odd_bar_tags = (tuple(TagOption(counts=n) for n in row) for row in (lengths, odd))
    given = {"tags": tags, **fields}
    if "tags" not in fields:  # as a routine file that says nothing of tags
        given.setdefault("odd_bar_tags", odd_bar_tags)
    return Routine(name="Test Floor", parts=parts or (make_part(),), walls=4, **given)


def with_outlook(song: BarMap, rng: np.random.Generator, sure: float = 0.4) -> BarMap:
    """Expect phrases, to the thousandth, on any bar; where sections are shown, `sure` or more."""
    ones = np.flatnonzero(song.positions == 1)
    elsewhere = rng.uniform(0, 0.3, len(ones)) * (rng.random(len(ones)) < 0.5)
    is_shown = np.isin(ones, [section.start_beat for section in song.sections])
    outlook = Outlook(
        beats=ones,
        sections=np.where(is_shown, rng.uniform(sure, 1, len(ones)), elsewhere).round(3),
        groups=(12 if song.meter % 3 == 0 else 16) * np.array([1, 2, 4, 8, 16]),
        phrases=rng.uniform(0, 0.2, (5, len(ones))).round(3) * (elsewhere > 0) * ~is_shown,
        likeliest=form_starts(song.sections, song.phrases),
    )
    return replace(song, outlook=outlook)
