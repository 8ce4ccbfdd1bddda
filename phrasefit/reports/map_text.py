"""The bar map as text for a terminal: plain words, every doubt shown."""

from __future__ import annotations

from phrasefit.clock import clock_time
from phrasefit.fit.doubts import doubts_of_map, other_readings
from phrasefit.model import Alternative, BarMap, Doubt, DoubtKind
from phrasefit.reports.doubts import METER_WORDS, NameCorrection, doubt_words, reading_words
from phrasefit.reports.level_words import level_words, other_tempo_words
from phrasefit.reports.pace_words import steadiness_words
from phrasefit.reports.terminal import Labeled, Line, columns, in_blocks
from phrasefit.serial import irregular_bars

# A rival reading less likely than this is not worth an instructor's time.
SHOW_RIVAL_FROM = 0.08


def render(
    bar_map: BarMap,
    *,
    beats_per_count: float = 1.0,
    name_correction: NameCorrection | None = None,
    width: int | None = None,
) -> str:
    """Write the bar map as lines of text, ending in a newline.

    Parameters
    ----------
    bar_map : BarMap
    beats_per_count : float
        0.5, 1 or 2: the level at which dancers count this song.
    name_correction : callable, optional
        Gives what to type for the correction that selects another reading.
    width : int, optional
        Columns; those of the terminal if left out, without one no line is broken.
    """
    blocks: list[list[Line]] = [
        _heading(bar_map),
        _facts(bar_map, beats_per_count, name_correction),
        _sections(bar_map, beats_per_count),
        _doubts(bar_map),
        _rivals(other_readings(bar_map, beats_per_count), name_correction),
        [Labeled("", note) for note in bar_map.notes],
    ]
    return in_blocks(blocks, width or columns())


def _heading(bar_map: BarMap) -> list[Line]:
    name = " - ".join(text for text in (bar_map.title, bar_map.artist) if text) or "song"
    lines: list[Line] = [f"{name}   ({clock_time(bar_map.duration_s, decimals=0)})"]
    sure = bar_map.confidence
    if sure.hardly_steady:
        loud = doubt_words(Doubt(kind=DoubtKind.HARDLY_STEADY)).upper()
        lines += ["", Labeled("", f"{loud} (a steady beat is {sure.pulse:.0%} likely)")]
    return lines


def _facts(bar_map: BarMap, beats_per_count: float, name: NameCorrection | None) -> list[Line]:
    ones = bar_map.beat_times_s[bar_map.positions == 1]
    count = level_words(beats_per_count, bar_map.tempo_bpm)
    lines: list[Line] = [
        Labeled("tempo     ", steadiness_words(bar_map, beats_per_count)),
        Labeled("count     ", "; ".join(filter(None, (count, other_tempo_words(bar_map, name))))),
        f"bars      {len(ones)}, in {METER_WORDS.get(bar_map.meter, bar_map.meter)}",
    ]
    if len(ones):
        lines.append(f"first one {clock_time(float(ones[0]))}")
    if bar_map.singing_at_s is not None:
        lines.append(f"singing   from {clock_time(bar_map.singing_at_s)}, as you said")
    odd = irregular_bars(bar_map)
    if odd:
        lines.append(Labeled("odd bars  ", "; ".join(_odd_bar(bar) for bar in odd[:8])))
        if len(odd) > 8:
            lines.append(f"          and {len(odd) - 8} more")
    return lines


def _odd_bar(bar: dict) -> str:
    beats = "beat" if bar["beats"] == 1 else "beats"
    return f"bar {bar['bar']} at {clock_time(bar['start_s'])} has {bar['beats']} {beats}"


def _sections(bar_map: BarMap, beats_per_count: float) -> list[Line]:
    if not bar_map.sections:
        return []
    named = "   name" if any(section.name for section in bar_map.sections) else ""
    lines: list[Line] = ["sections (same letter = same music)"]
    lines.append(f"  starts    counts  music  edge{named}")
    for section in bar_map.sections:
        start = clock_time(float(bar_map.beat_times_s[section.start_beat]))
        counts = f"{section.n_beats / beats_per_count:g}"
        row = f"  {start:<9} {counts:>6}  {section.letter:^5}  {_edge(section.strength):<5}"
        lines.append(f"{row}  {section.name}".rstrip())
    return lines


def _edge(strength: float) -> str:
    return "clear" if strength >= 0.66 else "fair" if strength >= 0.33 else "weak"


def _doubts(bar_map: BarMap) -> list[Line]:
    doubts = doubts_of_map(bar_map)
    told = (doubt for doubt in doubts if doubt.kind != DoubtKind.HARDLY_STEADY)
    return [Labeled("", doubt_words(doubt)) for doubt in told]


def _rivals(rivals: tuple[Alternative, ...], name: NameCorrection | None) -> list[Line]:
    shown = [rival for rival in rivals if rival.probability >= SHOW_RIVAL_FROM]
    if not shown:
        return []
    how = "; add the option to use one" if name else ""
    lines: list[Line] = [f"other readings, likeliest first{how}"]
    for rival in shown:
        option = f"{name(rival.correction):<16} " if name else ""
        label = f"  {option}{rival.probability:>4.0%}  "
        lines.append(Labeled(label, reading_words(rival)))
    return lines
