"""Songs whose sections are known, as bars and evidence: what finding form is learned from.

Half are by the demo generator with forms drawn here (never those of the sample songs),
half by the generator of training songs; folders of labelled audio can be added.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features
from phrasefit.demo.arrange import Song, compose
from phrasefit.demo.mix import MixSettings, render_song
from phrasefit.demo.plan import SectionPlan, TimePlan
from phrasefit.demo.styles import STYLES
from phrasefit.demo.truth import SongTruth
from phrasefit.form.boundary_cues import bar_starts
from phrasefit.form.evidence import BeatEvidence, beat_evidence
from phrasefit.model import Audio, SongInfo
from phrasefit.training.songs import make_song

FEWEST_BARS = 12
SONG_S = 150.0  # length of a training song: most of its form
TEMPI = {"ballad": (62, 84), "two-step": (160, 185), "waltz": (84, 120)}
USUAL_TEMPI = (95, 132)
LONG_PHRASED = frozenset({"waltz", "two-step"})  # four phrases of four bars make a section
SOUND_ENDINGS = frozenset({".ogg", ".wav", ".flac", ".mp3", ".m4a"})

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FormSong:
    """A song by bars, counted from its first downbeat.

    `section_bars` [shape=(n_sections,), bar indices, the first is 0]: where sections
    begin.  `phrase_bars` [shape=(n_bars,), bool]: where phrases of any level do; None
    where nobody marked them.  `evidence` and `positions` have a row for each beat.
    """

    name: str
    evidence: BeatEvidence
    positions: np.ndarray
    meter: int
    section_bars: np.ndarray
    phrase_bars: np.ndarray | None

    @property
    def n_bars(self) -> int:
        """Bars from the first downbeat on."""
        return int(np.sum(self.positions == 1))


def demo_form_song(seed: int) -> FormSong | None:
    """Compose and play a song with the demo generator in a form drawn by `seed`."""
    rng = np.random.default_rng([seed, *b"form"])
    style = sorted(STYLES)[seed % len(STYLES)]
    low, high = TEMPI.get(style, USUAL_TEMPI)
    song: Song = compose(
        rng,
        STYLES[style],
        draw_plan(rng, style),
        TimePlan(tempo_bpm=float(rng.uniform(low, high)), wander_percent=0.2),
        key=int(rng.integers(12)),
        ending=str(rng.choice(["ring", "stop", "go"])),
        settings=MixSettings(),
        seed=seed,
    )
    sound = render_song(
        rng, song.tracks, song.duration_s,
        sample_rate_hz=SAMPLE_RATE_HZ, n_channels=1, settings=song.settings,
    )  # fmt: skip
    return _from_truth(f"demo-{seed}", sound[:, 0], song.truth)


def draw_plan(rng: np.random.Generator, style: str) -> tuple[SectionPlan, ...]:
    """Draw the sections of a song: verses and choruses, odd bars in half of the songs."""
    unit = 8 if STYLES[style].meter == 2 else 4
    usual = 4 if style in LONG_PHRASED else 2
    before_chorus, odd = rng.random() < 0.3, rng.random() < 0.5
    first = int(rng.choice([usual, usual, 2 * usual if usual == 2 else usual]))

    def section(label: str, n_phrases: int, **changes: object) -> SectionPlan:
        return SectionPlan(label=label, phrases=(unit,) * n_phrases, **changes)

    plan = [section("intro", int(rng.choice([1, 1, 2])), drums=bool(rng.random() < 0.6))]
    for number in range(int(rng.integers(2, 4))):
        whole = number == 0 or rng.random() < 0.7
        plan.append(section("verse", first if whole else max(1, first // 2)))
        if before_chorus:
            plan.append(section("prechorus", 1))
        plan.append(_chorus(rng, unit, usual, odd=odd and rng.random() < 0.5))
        if number == 1 and rng.random() < 0.7:
            label = str(rng.choice(["solo", "bridge", "break"]))
            plan.append(section(label, int(rng.choice([1, 2]))))
    plan.append(section("chorus", usual))
    if rng.random() < 0.4:
        plan.append(section(str(rng.choice(["tag", "outro"])), 1))
    return tuple(plan)


def _chorus(rng: np.random.Generator, unit: int, n_phrases: int, *, odd: bool) -> SectionPlan:
    """A chorus; an odd one has bars added or one dropped at its end, or half a bar."""
    phrases = [unit] * n_phrases
    odd_bars: tuple[tuple[int, int], ...] = ()
    if odd:
        phrases[-1] += int(rng.choice([1, 1, 2, -1]))
        if unit == 4 and rng.random() < 0.3:
            odd_bars = ((sum(phrases) - 1, 2),)
    return SectionPlan(label="chorus", phrases=tuple(phrases), odd_bars=odd_bars)


def band_form_song(seed: int) -> FormSong | None:
    """Make a song with the generator of training songs; None where it has no form."""
    song = make_song(seed, duration_s=SONG_S)
    return _from_truth(f"{song.family}-{seed}", song.samples, song.truth)


def read_labelled(folder: Path) -> list[FormSong]:
    """Read audio files with a bar map NAME.json beside them that has sections.

    Where another person marked the song too (`sections_by_another`) it is given twice.
    """
    songs = []
    for path in sorted(p for p in folder.rglob("*") if p.suffix in SOUND_ENDINGS):
        label_path = path.with_suffix(".json")
        label = json.loads(label_path.read_text("utf-8")) if label_path.exists() else {}
        marked = [label.get("sections"), label.get("sections_by_another")]
        if not any(marked):
            continue
        beats, positions = np.array(label["beats_s"]), np.array(label["positions"])
        evidence = beat_evidence(extract_features(decode(path)), beats)
        lines = bar_starts(positions)[:-1]
        for sections in filter(None, marked):
            bars = {int(np.argmin(np.abs(beats[lines] - s["start_s"]))) for s in sections}
            songs.append(
                FormSong(
                    name=path.stem, evidence=evidence, positions=positions,
                    meter=int(label["meter"]), section_bars=np.array(sorted({0, *bars})),
                    phrase_bars=None,
                )
            )  # fmt: skip
    return songs


def make_form_songs(seeds: Sequence[int], *, n_processes: int) -> list[FormSong]:
    """Make songs, by turns with the one and the other generator."""
    from joblib import Parallel, delayed

    made = Parallel(n_jobs=n_processes, verbose=1)(delayed(_made)(seed) for seed in seeds)
    return [song for song in made if song is not None]


def _made(seed: int) -> FormSong | None:
    return demo_form_song(seed // 2) if seed % 2 == 0 else band_form_song(seed // 2)


def _from_truth(name: str, samples: np.ndarray, truth: SongTruth) -> FormSong | None:
    lines = bar_starts(truth.positions)[:-1]
    if len(lines) < FEWEST_BARS or len(truth.sections) < 2:
        return None
    features = extract_features(
        Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo())
    )
    starts = {int(np.searchsorted(lines, section.start_beat)) for section in truth.sections}
    return FormSong(
        name=name,
        evidence=beat_evidence(features, truth.beats_s),
        positions=truth.positions,
        meter=truth.meter,
        section_bars=np.array(sorted({0, *(bar for bar in starts if bar < len(lines))})),
        phrase_bars=np.isin(lines, truth.phrase_starts),
    )
