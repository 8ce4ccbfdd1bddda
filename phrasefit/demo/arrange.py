"""From a style and a plan of sections to a complete score with its exact truth.

``compose(rng, style, plan)`` decides the line-up, writes every part section by section
and lays the beats out in time.  Same letter = same music: a section that returns has
the same harmony, tune and groove, its drums and velocities freshly played.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from phrasefit.demo.harmony import MAJOR_SCALE, MINOR_SCALE, make_bars
from phrasefit.demo.melody import RANGES, Tune, write_answers, write_tune
from phrasefit.demo.mix import MixSettings
from phrasefit.demo.parts import FINAL_HIT, write_bass, write_comp, write_drums
from phrasefit.demo.patterns import Event, Feel, play
from phrasefit.demo.plan import HARMONY_OF, TUNE_OF, USUAL, SectionPlan, TimePlan
from phrasefit.demo.score import (
    Chart,
    ChartSection,
    Chord,
    TimeMap,
    Track,
    make_time_map,
    make_truth,
)
from phrasefit.demo.style import Comp, Groove, Style
from phrasefit.demo.truth import SongTruth
from phrasefit.errors import ParameterError

DRUM_PANS = {
    "closed_hat": 0.3, "open_hat": 0.3, "ride": -0.4, "crash": -0.35, "high_tom": 0.3,
    "low_tom": -0.4, "shaker": 0.5, "tambourine": -0.5, "cowbell": 0.2, "conga": -0.3,
}  # fmt: skip
LIGHT_BELOW, FULL_BELOW = 0.55, 0.8
RING_S = 1.8  # the last chord rings on after the last beat


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Song:
    """A finished score: tracks to render, truth to judge by."""

    tracks: tuple[Track, ...]
    truth: SongTruth
    chart: Chart
    time_map: TimeMap
    duration_s: float
    tempo_bpm: float
    key: int
    settings: MixSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """Who plays what in one song."""

    key: int
    scale: tuple[int, ...]
    harmony: int
    grooves: dict[str, Groove]
    fills: tuple[Groove, ...]
    bass: str
    bass_lines: dict[str, str]
    comps: tuple[tuple[Comp, str, dict[str, str]], ...]
    lead: str
    solo: str
    swing: float


@dataclass(slots=True)
class _Sheet:
    """Events of the whole song by (instrument, pan, level), while it is being written."""

    events: dict[tuple[str, float, float], list[Event]] = field(default_factory=dict)

    def add(
        self,
        instrument: str,
        events: Iterable[Event],
        first_beat: float,
        pan: float = 0.0,
        level_db: float = 0.0,
    ) -> None:
        """Append `events`, moved to `first_beat`."""
        line = self.events.setdefault((instrument, pan, level_db), [])
        line += [Event(e.beat + first_beat, e.beats, e.pitch, e.velocity) for e in events]


def level_of(energy: float) -> str:
    """Name the groove for an energy: ``light``, ``full`` or ``high``."""
    return "light" if energy < LIGHT_BELOW else "full" if energy < FULL_BELOW else "high"


def compose(
    rng: np.random.Generator,
    style: Style,
    plan: Sequence[SectionPlan],
    time_plan: TimePlan,
    *,
    key: int | None = None,
    ending: str = "ring",
    settings: MixSettings | None = None,
    seed: int = 0,
) -> Song:
    """Write a whole song.

    Parameters
    ----------
    rng : numpy.random.Generator
        Every choice comes from it.
    style : Style
        One of `styles.STYLES`, or your own.
    plan : sequence of SectionPlan
        The sections in order.
    time_plan : TimePlan
        Tempo and its changes.
    key : int, optional
        Pitch class of the tonic; drawn if left out.
    ending : str
        ``ring``: the last bar is one held chord; ``stop``: one short chord; ``go``:
        the last bar is like the others (for a fade-out, see ``MixSettings.fade_s``).
    settings : MixSettings, optional
        How it shall be mixed; kept with the song.
    seed : int
        Noted in the truth.

    Raises
    ------
    ParameterError
        If `plan` is empty, a label or the ending is unknown.
    """
    if not plan:
        raise ParameterError("plan is empty; a song needs at least one section")
    if ending not in ("ring", "stop", "go"):
        raise ParameterError(f"ending={ending!r} must be 'ring', 'stop' or 'go'")
    band = _hire(rng, style, key)
    chart = _write_chart(style, plan, band)
    time_map = make_time_map(
        rng, chart.n_beats, time_plan.tempo_bpm, start_s=time_plan.start_s,
        drift_percent=time_plan.drift_percent, wander_percent=time_plan.wander_percent,
        jitter_ms=time_plan.jitter_ms, ritardando_beats=time_plan.ritardando_beats,
        ritardando_to=time_plan.ritardando_to,
    )  # fmt: skip
    stroke_beats = 0.007 * time_plan.tempo_bpm / 60.0
    sheet = _write_parts(rng, style, plan, chart, band, stroke_beats)
    if ending != "go":
        _close(sheet, chart, held_beats=0.4 if ending == "stop" else float(chart.bars[-1].n_beats))
    tracks = _perform(rng, sheet, time_map, band)
    truth = make_truth(
        chart, time_map, audible=_audible(tracks, time_map), style=style.name, seed=seed
    )
    return Song(
        tracks=tracks, truth=truth, chart=chart, time_map=time_map,
        duration_s=float(time_map.times_s[-1]) + (RING_S if ending == "ring" else 0.8),
        tempo_bpm=time_plan.tempo_bpm, key=band.key, settings=settings or MixSettings(),
    )  # fmt: skip


def _pick(rng: np.random.Generator, options: Sequence) -> object:
    """Draw one of `options` without NumPy turning it into an array."""
    return options[int(rng.integers(len(options)))]


def _hire(rng: np.random.Generator, style: Style, key: int | None) -> _Band:
    """Draw the line-up and its patterns."""
    harmony = int(rng.integers(max(len(options) for options in style.progressions.values())))
    verses = style.progressions["verse"]
    minor = verses[harmony % len(verses)].split()[0] in ("i", "i7")
    key = int(rng.integers(12)) if key is None else key
    comps = tuple(
        (comp, _pick(rng, comp.instruments),
         {level: _pick(rng, comp.patterns or ("",)) for level in ("light", "full")})
        for comp in style.comps
    )  # fmt: skip
    taken = {instrument for _, instrument, _ in comps[:1]}
    solos = [name for name in style.solos if name not in taken] or list(style.solos)
    return _Band(
        key=key,
        scale=tuple((key + step) % 12 for step in (MINOR_SCALE if minor else MAJOR_SCALE)),
        harmony=harmony,
        grooves={level: _pick(rng, style.grooves[level]) for level in ("light", "full", "high")},
        fills=style.fills,
        bass=_pick(rng, style.basses),
        bass_lines={level: _pick(rng, style.bass_lines[level]) for level in ("light", "full")},
        comps=comps,
        lead=_pick(rng, style.leads),
        solo=_pick(rng, solos),
        swing=float(rng.uniform(*style.swing)),
    )


def _write_chart(style: Style, plan: Sequence[SectionPlan], band: _Band) -> Chart:
    """Turn the plan into bars with chords; letters follow the order of appearance."""
    letters: dict[str, str] = {}
    sections = []
    for number, section in enumerate(plan):
        if section.label not in USUAL:
            raise ParameterError(
                f"label={section.label!r} is unknown; choose one of {', '.join(USUAL)}"
            )
        music = TUNE_OF.get(section.label, section.label)
        letter = letters.setdefault(music, chr(ord("A") + len(letters)))
        n_beats = [style.meter] * sum(section.phrases)
        for index, beats in section.odd_bars:
            n_beats[index] = beats
        options = style.progressions[HARMONY_OF.get(section.label, section.label)]
        words = options[band.harmony % len(options)].split()
        if section.label in TUNE_OF:
            words = words[-len(n_beats) :]
        bars = make_bars(words, band.key, n_beats)
        if number == len(plan) - 1:
            tonic = Chord(band.key, "m" if (band.key + 3) % 12 in band.scale else "")
            bars = (*bars[:-1], type(bars[-1])(bars[-1].n_beats, (tonic,)))
        repeats = sum(earlier.label == section.label for earlier in plan[:number])
        usual, _ = USUAL[section.label]
        energy = section.energy if section.energy is not None else min(1.0, usual + 0.07 * repeats)
        sections.append(
            ChartSection(
                label=section.label, letter=letter, bars=bars, phrase_bars=section.phrases,
                layers=frozenset({"drums"} if section.drums else ()), energy=energy,
            )
        )  # fmt: skip
    return Chart(meter=style.meter, sections=tuple(sections))


def _write_parts(
    rng: np.random.Generator,
    style: Style,
    plan: Sequence[SectionPlan],
    chart: Chart,
    band: _Band,
    stroke_beats: float,
) -> _Sheet:
    """Write every part of every section."""
    sheet = _Sheet()
    tune_seed = int(rng.integers(2**31))
    sections = chart.sections
    for number, (section, first) in enumerate(zip(sections, chart.section_starts(), strict=True)):
        after = sections[(number + 1) % len(sections)].bars[0].chords[0]
        _write_kit(rng, sheet, section, first, chart.meter, band)
        _write_harmony(sheet, section, first, chart.meter, band, after, stroke_beats)
        singing = plan[number].tune or USUAL[section.label][1]
        # The tune of a label is drawn from a seed of its own, so that it returns.
        source = TUNE_OF.get(section.label, section.label)
        tune_rng = np.random.default_rng([tune_seed, *source.encode()])
        _write_melody(tune_rng, sheet, section, first, chart.meter, band, style, singing)
    return sheet


def _write_kit(
    rng: np.random.Generator,
    sheet: _Sheet,
    section: ChartSection,
    first: int,
    meter: int,
    band: _Band,
) -> None:
    """Drums of one section, or the fill that leads out of a section without them."""
    if "drums" not in section.layers:
        return
    pieces = write_drums(
        rng, section.bars, section.phrase_bars, meter, band.grooves[level_of(section.energy)],
        band.fills, energy=section.energy, crash=section.energy >= LIGHT_BELOW,
    )  # fmt: skip
    for piece, events in pieces.items():
        sheet.add(piece, events, first, DRUM_PANS.get(piece, 0.0))


def _write_harmony(
    sheet: _Sheet,
    section: ChartSection,
    first: int,
    meter: int,
    band: _Band,
    after: Chord,
    stroke_beats: float,
) -> None:
    """Bass and comping of one section."""
    level = "light" if section.energy < LIGHT_BELOW else "full"
    sparse = "drums" not in section.layers
    if not sparse:
        bass = write_bass(section.bars, meter, band.bass_lines[level], after, energy=section.energy)
        sheet.add(band.bass, bass, first)
    for comp, instrument, patterns in band.comps:
        if (sparse and not comp.when_sparse) or section.energy < comp.from_energy:
            continue
        events = write_comp(
            section.bars, meter, comp, patterns[level], energy=section.energy,
            stroke_beats=stroke_beats,
        )  # fmt: skip
        sheet.add(instrument, events, first, comp.pan, comp.level_db)


def _write_melody(
    rng: np.random.Generator,
    sheet: _Sheet,
    section: ChartSection,
    first: int,
    meter: int,
    band: _Band,
    style: Style,
    singing: str,
) -> None:
    """The tune of one section and the answers to it."""
    if singing == "none":
        return
    instrument = band.lead if singing == "lead" else band.solo
    low, high = RANGES[instrument]
    # Choruses lie higher than verses: part of why they sound like choruses.
    lift = 2 if section.energy > 0.75 else 0
    tune = Tune(scale=band.scale, cells=style.cells, low=low + 2 * lift, high=high - 4 + 2 * lift)
    events = write_tune(rng, tune, section.bars, section.phrase_bars, meter)
    events = [event for event in events if event.beat + first >= 0.0]
    sheet.add(instrument, events, first, 0.0 if singing == "lead" else 0.15)
    if singing == "lead" and section.energy > 0.45:
        low, high = RANGES[band.solo]
        answer = Tune(scale=band.scale, cells=style.cells, low=low, high=high)
        events = write_answers(rng, answer, section.bars, section.phrase_bars)
        sheet.add(band.solo, events, first, 0.15)


def _close(sheet: _Sheet, chart: Chart, *, held_beats: float) -> None:
    """Replace the last bar by one chord of the whole band on its first beat."""
    last = chart.n_beats - chart.bars[-1].n_beats
    for (instrument, _, _), events in sheet.events.items():
        here = [event for event in events if event.beat >= last - 0.1]
        events[:] = [event for event in events if event.beat < last - 0.1]
        # Only what sounds around the first beat stays, held to the end.
        hit = [event for event in here if event.beat < last + 0.2]
        if instrument not in ("closed_hat", "open_hat", "shaker", "tambourine", "conga", "cowbell"):
            events += [Event(e.beat, held_beats, e.pitch, e.velocity) for e in hit]
    if any(instrument == "kick" for instrument, _, _ in sheet.events):
        for piece in FINAL_HIT:
            sheet.add(piece, [Event(0.0, held_beats, 0.0, 0.85)], last, DRUM_PANS.get(piece, 0.0))


def _perform(
    rng: np.random.Generator, sheet: _Sheet, time_map: TimeMap, band: _Band
) -> tuple[Track, ...]:
    """Play every line with the feel of its player."""
    tracks = []
    for (instrument, pan, level_db), events in sheet.events.items():
        feel = _feel_of(instrument, band)
        notes = play(rng, events, time_map, feel)
        if notes:
            tracks.append(Track(instrument=instrument, notes=notes, pan=pan, level_db=level_db))
    return tuple(tracks)


def _feel_of(instrument: str, band: _Band) -> Feel:
    """Drummers are tight, bass players lean back a little, singers take their time."""
    if instrument in RANGES and instrument in (band.lead, band.solo):
        return Feel(scatter_ms=9.0, lean_ms=8.0, swing=band.swing)
    if instrument == "string_pad":
        return Feel(scatter_ms=8.0, lean_ms=-40.0)  # slow attack: begin early to arrive in time
    if instrument == band.bass:
        return Feel(scatter_ms=3.5, lean_ms=2.0, swing=band.swing)
    if any(instrument == name for _, name, _ in band.comps):
        return Feel(scatter_ms=5.0, swing=band.swing)
    return Feel(scatter_ms=2.0, swing=band.swing)


def _audible(tracks: Sequence[Track], time_map: TimeMap) -> np.ndarray:
    """Mark the beats with a pulse: something is struck three times within two beats of them."""
    held = {"string_pad", "organ", "singer", "pedal_steel", "fiddle", "synth_lead"}
    struck = [note.start_s for t in tracks if t.instrument not in held for note in t.notes]
    moments = np.unique(np.round(np.sort(struck), 2))
    times = time_map.times_s[:-1]
    gap = np.diff(time_map.times_s)
    before = np.searchsorted(moments, times - 2.1 * gap)
    after = np.searchsorted(moments, times + 2.1 * gap)
    return after - before >= 3
