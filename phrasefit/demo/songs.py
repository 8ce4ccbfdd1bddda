"""The sample songs, and writing them with their truth beside them.

Titles and artists are invented.  Each song is there for a reason (`SampleSong.shows`):
together they hold the cases an instructor meets.  The truth is written as a bar map
like one made by hand, so that ``phrasefit fit --map`` can plan from it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from phrasefit import serial
from phrasefit.demo.arrange import Song, compose
from phrasefit.demo.mix import MixSettings, render_song
from phrasefit.demo.plan import SectionPlan, TimePlan
from phrasefit.demo.styles import STYLES
from phrasefit.demo.truth import SongTruth
from phrasefit.files import check_target, sound_bytes, write_atomic
from phrasefit.model import BarMap, Phrase, Section

GENERATOR_VERSION = 1  # raise it when the same seed no longer gives the same song
DEFAULT_SEED = 32
SAMPLE_RATE_HZ = 44100
OGG_EFFORT = 0.9  # libsndfile's compression level, 0 (large) to 1 (small)
OGG_HEADROOM_DB = 2.0  # at that level Vorbis overshoots peaks by up to 1.5 dB
# Dancers' groups of beats by meter, largest first, and how strongly a phrase start counts.
GROUPS = {3: (24, 12, 6), 4: (32, 16, 8), 2: (32, 16, 8)}
GROUP_STRENGTHS = (0.75, 0.5, 0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleSong:
    """The recipe of one sample song; `shows` says what it is there for."""

    stem: str
    title: str
    artist: str
    style: str
    shows: str
    plan: tuple[SectionPlan, ...]
    time: TimePlan
    key: int
    ending: str = "ring"
    settings: MixSettings = field(default_factory=MixSettings)


def _section(label: str, *phrases: int, **changes: Any) -> SectionPlan:
    """Shorten the recipes below."""
    return SectionPlan(label=label, phrases=phrases, **changes)


SAMPLE_SONGS: tuple[SampleSong, ...] = (
    SampleSong(
        stem="thirty-two-fence-posts", title="Thirty-Two Fence Posts", artist="The Seeded Ramblers",
        style="country-rock", key=7,
        shows="a 32-count routine fits it as it is: 16 counts of intro, then six walls on phrase",
        plan=(_section("intro", 4), _section("verse", 4, 4), _section("chorus", 4, 4),
              _section("verse", 4, 4), _section("chorus", 4, 4), _section("solo", 4, 4),
              _section("chorus", 4, 4)),
        time=TimePlan(tempo_bpm=122.0, wander_percent=0.1, jitter_ms=0.5),
    ),
    SampleSong(
        stem="one-bar-for-breath", title="One Bar for Breath", artist="Marla Nullsong",
        style="shuffle", key=9,
        shows="a bar is added after the second chorus: one tag of 4 counts mends it",
        plan=(_section("intro", 4), _section("verse", 4, 4), _section("chorus", 4, 4),
              _section("verse", 4, 4), _section("chorus", 4, 5), _section("solo", 4, 4),
              _section("chorus", 4, 4)),
        time=TimePlan(tempo_bpm=126.0, wander_percent=0.25, jitter_ms=1.5),
        settings=MixSettings(room_s=0.9),
    ),
    SampleSong(
        stem="glitter-ledger", title="Glitter Ledger", artist="Phase Four Revue",
        style="disco", key=4,
        shows="32-count intro, half phrases before the choruses, played to a click, fades out",
        plan=(_section("intro", 4, 4), _section("verse", 4, 4), _section("prechorus", 4),
              _section("chorus", 4, 4), _section("verse", 4, 4), _section("prechorus", 4),
              _section("chorus", 4, 4), _section("chorus", 4, 4)),
        time=TimePlan(tempo_bpm=118.0, wander_percent=0.0, jitter_ms=0.0),
        ending="go", settings=MixSettings(room_s=1.0, bright_db=1.5, squeeze=0.6, fade_s=9.0),
    ),
    SampleSong(
        stem="paper-boat-waltz", title="Paper Boat Waltz", artist="Odile Wavetable",
        style="waltz", key=2,
        shows="three beats a bar; the solo is half a phrase of 48",
        plan=(_section("intro", 4, 4), _section("verse", 4, 4, 4, 4),
              _section("chorus", 4, 4, 4, 4), _section("solo", 4, 4),
              _section("chorus", 4, 4, 4, 4)),
        time=TimePlan(tempo_bpm=96.0, wander_percent=0.3, jitter_ms=2.0),
        settings=MixSettings(room_s=1.6),
    ),
    SampleSong(
        stem="porch-light-for-nobody", title="Porch Light for Nobody", artist="Ezra Biquad",
        style="ballad", key=0,
        shows="slow; the intro has no drums; the tempo drifts up and slows down at the end",
        plan=(_section("intro", 4, drums=False), _section("verse", 4, 4),
              _section("chorus", 4, 4), _section("verse", 4, 4), _section("chorus", 4, 4),
              _section("outro", 4)),
        time=TimePlan(tempo_bpm=72.0, drift_percent=5.0, wander_percent=0.5, jitter_ms=3.0,
                      ritardando_beats=6, ritardando_to=0.75),
        settings=MixSettings(room_s=2.0, squeeze=0.3),
    ),
    SampleSong(
        stem="half-a-bar-of-dust", title="Half a Bar of Dust", artist="The Random Walk Boys",
        style="two-step", key=9,
        shows="fast, danced at half its beat or at full; a 2/4 bar before the last chorus",
        plan=(_section("intro", 4), _section("verse", 4, 4, 4, 4), _section("chorus", 4, 4, 4, 4),
              _section("verse", 4, 4, 4, 5, odd_bars=((16, 2),)),
              _section("chorus", 4, 4, 4, 4)),
        time=TimePlan(tempo_bpm=176.0, wander_percent=0.2, jitter_ms=1.5),
        settings=MixSettings(room_s=0.8),
    ),
    SampleSong(
        stem="marmalade-polka", title="Marmalade Polka", artist="Kapelle Zufallszahl",
        style="polka", key=5,
        shows="two beats a bar",
        plan=(_section("intro", 4, 4), _section("verse", 8, 8), _section("chorus", 8, 8),
              _section("verse", 8, 8), _section("chorus", 8, 8)),
        time=TimePlan(tempo_bpm=116.0, wander_percent=0.2, jitter_ms=1.0),
        ending="stop",
    ),
    SampleSong(
        stem="tangerine-ferry", title="Tangerine Ferry", artist="Lola Formante",
        style="latin", key=9,
        shows="the last line comes once more as a tag of 16 counts",
        plan=(_section("intro", 4), _section("verse", 4, 4), _section("chorus", 4, 4),
              _section("verse", 4, 4), _section("chorus", 4, 4), _section("tag", 4)),
        time=TimePlan(tempo_bpm=106.0, wander_percent=0.15, jitter_ms=1.0),
        settings=MixSettings(room_s=1.2),
    ),
)  # fmt: skip


def make_sample(recipe: SampleSong, seed: int = DEFAULT_SEED) -> Song:
    """Compose one sample song; the same `seed` always gives the same score."""
    return compose(
        _generator(recipe, seed, "compose"), STYLES[recipe.style], recipe.plan, recipe.time,
        key=recipe.key, ending=recipe.ending, settings=recipe.settings, seed=seed,
    )  # fmt: skip


def render_sample(
    recipe: SampleSong,
    song: Song,
    seed: int = DEFAULT_SEED,
    *,
    sample_rate_hz: int = SAMPLE_RATE_HZ,
    n_channels: int = 2,
) -> np.ndarray:
    """Play a composed sample song [shape=(n_samples, n_channels), float32]."""
    return render_song(
        _generator(recipe, seed, "render"), song.tracks, song.duration_s,
        sample_rate_hz=sample_rate_hz, n_channels=n_channels, settings=song.settings,
    )  # fmt: skip


def _generator(recipe: SampleSong, seed: int, purpose: str) -> np.random.Generator:
    """A generator of its own for each song and purpose: adding a song changes no other."""
    return np.random.default_rng([seed, *f"{recipe.stem}/{purpose}".encode()])


# --------------------------------------------------------------------- truth


def true_phrases(truth: SongTruth) -> tuple[Phrase, ...]:
    """Grade the phrase starts of `truth` by the dancers' groups of its meter.

    A phrase start's group is the largest one that divides its distance from the start of
    its section; section starts have the highest group and strength 1.
    """
    groups = GROUPS.get(truth.meter, GROUPS[4])
    strengths = dict(zip(groups, GROUP_STRENGTHS, strict=True))
    section_starts = [section.start_beat for section in truth.sections]
    graded = []
    for beat in truth.phrase_starts:
        offset = beat - max(start for start in section_starts if start <= beat)
        group = next((g for g in groups if offset % g == 0), groups[-1])
        graded.append((beat, group, 1.0 if offset == 0 else strengths[group]))
    phrases = []
    for i, (beat, group, strength) in enumerate(graded):
        later = (b for b, other, _ in graded[i + 1 :] if other >= group)
        length = next(later, len(truth.beats_s)) - beat
        phrases.append(Phrase(start_beat=beat, n_beats=length, group=group, strength=strength))
    return tuple(phrases)


def true_bar_map(
    truth: SongTruth, *, duration_s: float, title: str = "", artist: str = ""
) -> BarMap:
    """Lay out the truth as the bar map a perfect listener would write."""
    gaps = np.diff(truth.beats_s)
    slope = np.polyfit(np.arange(len(gaps)), 60.0 / gaps, 1)[0] * len(gaps)
    tempo_bpm = float(60.0 / np.median(gaps))
    return BarMap(
        beat_times_s=np.round(truth.beats_s, 5),
        positions=truth.positions,
        meter=truth.meter,
        tempo_bpm=round(tempo_bpm, 3),
        end_s=round(truth.end_s, 5),
        duration_s=round(duration_s, 5),
        sections=tuple(
            Section(start_beat=s.start_beat, n_beats=s.n_beats, letter=s.letter, strength=1.0)
            for s in truth.sections
        ),
        phrases=true_phrases(truth),
        tempo_drift_percent=round(100.0 * float(slope) / tempo_bpm, 2),
        steady=bool(np.ptp(gaps) < 1e-6),
        title=title,
        artist=artist,
        notes=("written by the generator of the demo songs: exact, nothing was listened to",),
    )


def truth_document(recipe: SampleSong, song: Song, *, duration_s: float) -> dict[str, Any]:
    """Lay out truth and origin of a sample song as the JSON document written beside it."""
    bar_map = true_bar_map(
        song.truth, duration_s=duration_s, title=recipe.title, artist=recipe.artist
    )
    document = serial.map_document(bar_map)
    for written, section in zip(document["sections"], song.truth.sections, strict=True):
        written["label"] = section.label
    return document | {
        "style": song.truth.style,
        "shows": recipe.shows,
        "seed": song.truth.seed,
        "generator_version": GENERATOR_VERSION,
        "audible": song.truth.audible.astype(int).tolist(),
    }


# ------------------------------------------------------------------- writing


def write_samples(
    folder: Path,
    *,
    seed: int = DEFAULT_SEED,
    force: bool = False,
    recipes: Sequence[SampleSong] = SAMPLE_SONGS,
    progress: Callable[[float, str], None] | None = None,
) -> list[Path]:
    """Write sample songs (OGG Vorbis) and their truths (JSON) into `folder`.

    Parameters
    ----------
    folder : Path
        An existing folder.
    seed : int
        Another seed gives other music with the same bars.
    force : bool
        Replace existing files.
    recipes : sequence of SampleSong
        Which songs.
    progress : callable, optional
        Called with the share done (0-1) and the title in work.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    OutputError
        If a file exists without `force`, or the folder or disk refuses.
    """
    targets = [
        folder / f"{recipe.stem}.{ending}" for recipe in recipes for ending in ("ogg", "json")
    ]
    for target in targets:
        check_target(target, force=force)
    for number, recipe in enumerate(recipes):
        if progress:
            progress(number / len(recipes), recipe.title)
        song = make_sample(recipe, seed)
        samples = render_sample(recipe, song, seed)
        document = truth_document(recipe, song, duration_s=len(samples) / SAMPLE_RATE_HZ)
        write_atomic(folder / f"{recipe.stem}.ogg", _ogg(samples, recipe), force=force)
        write_atomic(folder / f"{recipe.stem}.json", serial.dump_json(document), force=force)
    if progress:
        progress(1.0, "")
    return targets


def _ogg(samples: np.ndarray, recipe: SampleSong) -> bytes:
    """Encode a little below the mix's peak, with the invented title and artist as tags."""
    return sound_bytes(
        samples * np.float32(10 ** (-OGG_HEADROOM_DB / 20)),
        SAMPLE_RATE_HZ,
        container="OGG",
        subtype="VORBIS",
        tags={
            "title": recipe.title,
            "artist": recipe.artist,
            "comment": "made by the phrasefit demo generator",
        },
        compression_level=OGG_EFFORT,
    )
