"""Training songs: `make_song` turns a seed into sound with exact beats, bars and phrases.

A song is composed (or taken from open symbolic music), played by imperfect players,
rendered by sampled and synthetic instruments, mixed like a record, and cut to an
excerpt that may start anywhere in a bar.  Every choice follows from the seed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.demo.truth import SongTruth, TrueSection
from phrasefit.errors import ParameterError
from phrasefit.training import borrowed
from phrasefit.training.compose import compose
from phrasefit.training.folk import folk_song
from phrasefit.training.mixing import draw_desk, master, mix
from phrasefit.training.palette import draw_palette, render_stem
from phrasefit.training.performance import TempoMap, draw_tempo_map, perform
from phrasefit.training.score import Piece
from phrasefit.training.styles import HELD_OUT_STYLES, STYLES, Style

MAX_DURATION_S = 180.0
BARE_SHARES = {"folk": 0.45, "electronic": 0.3, "tunes": 0.2}  # songs without production
BARE_SHARE = 0.05  # of the songs of other families
ROUGH_SHARE = 0.3  # of the songs: players who are no machines, and not very practised
SPOKEN_STYLES = frozenset({"boom-bap", "trap", "breakbeat"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrainingSong:
    """An excerpt with its truth.

    `samples` [shape=(n,), float32 mono at `SAMPLE_RATE_HZ`]; times of `truth` count
    from the first sample; `family` is a name of `FAMILIES`; `source` says where
    the notes and the sounds come from.
    """

    samples: np.ndarray
    truth: SongTruth
    family: str
    source: str


# Family -> share of songs. What each is for is told in `FAMILY_PURPOSES`.
FAMILIES: dict[str, float] = {
    "pop": 0.11,
    "rock": 0.08,
    "country": 0.075,
    "groove": 0.07,
    "electronic": 0.08,
    "swing": 0.055,
    "latin": 0.05,
    "drumless": 0.065,
    "odd": 0.025,
    "accompanied": 0.105,
    "loops": 0.045,
    "tunes": 0.06,
    "scores": 0.05,
    "games": 0.03,
    "folk": 0.10,
}
FAMILY_PURPOSES: dict[str, str] = {
    "pop": "back-beats, pushed chords, sung tunes, ballads in 4/4 and 12/8, drums from the chorus",
    "rock": "loud guitars, kicks off the one, double and half time, 6/8 rock",
    "country": "train beat, two-step, country waltz, shuffle, polka, strummed songs",
    "groove": "syncopated sixteenths, swung hip-hop, one-drop reggae, spoken voices",
    "electronic": "four on the floor, ostinati, old sound chips, sidechained mixes, no live jitter",
    "swing": "triplet feels: walking bass, ride cymbal, boogie, jigs, 12/8",
    "latin": "clave and tumbao with an anticipated bass, percussion without a back-beat",
    "drumless": "guitars, pianos, strings and choirs without drums; tempo that breathes",
    "odd": "5/4, 7/4, marches, fast waltzes",
    "accompanied": "arrangements by many other hands (groove library) under tunes of ours",
    "loops": "our songs over drum patterns by others",
    "tunes": "old tunes with real phrasing, pickups and odd bars, played by our bands",
    "scores": "chorales and movements as written",
    "games": "rock and metal by other composers",
    "folk": "tunes going round: only harmony, tune and bass root tell the one; drums late or none",
}
FAMILY_STYLES: dict[str, tuple[str, ...]] = {
    "pop": ("pop", "pop-syncopated", "ballad", "ballad-128", "motown", "disco", "half-time",
            "strum", "stomp-clap", "quiet-pop", "new-wave", "reggaeton", "tom-groove"),
    "rock": ("rock", "rock-fast-kicks", "metal", "rocknroll", "half-time", "waltz-68", "ska",
             "bo-diddley", "tom-groove", "surf", "new-wave", "stomp-clap", "gospel-68",
             "slow-blues", "fast-metal"),
    "country": ("country", "train-beat", "two-step", "waltz", "shuffle", "polka", "strum",
                "bluegrass", "country-ballad", "waltz-68"),
    "groove": ("funk", "boom-bap", "trap", "reggae", "afrobeat", "breakbeat", "percussion",
               "second-line", "reggaeton", "gospel-68", "one-drop"),
    "electronic": ("house", "techno-arp", "breakbeat", "disco", "trap", "garage", "new-wave",
                   "tracker", "ambient-arp"),
    "swing": ("swing", "shuffle", "boogie", "jig-68", "ballad-128", "afro-68", "second-line",
              "slow-blues", "brushes"),
    "latin": ("bossa", "samba", "son-clave", "cha-cha", "bachata", "tango", "afro-68", "cumbia",
              "merengue", "reggaeton"),
    "drumless": ("fingerpick", "fingerpick-34", "piano-solo", "piano-34", "strings", "choir",
                 "strum", "waltz-viennese", "bluegrass", "quiet-pop", "ballad", "country-ballad",
                 "slow-blues", "brushes"),
    "odd": ("five-four", "seven-four", "waltz-viennese", "jig-68", "march"),
    "loops": ("pop", "rock", "funk", "half-time", "boom-bap", "reggae", "disco", "house", "country",
              "shuffle", "swing", "waltz", "breakbeat", "pop-syncopated", "samba", "bossa"),
    "tunes": ("country", "train-beat", "waltz", "jig-68", "waltz-68", "polka", "march", "pop",
              "rock", "strum", "fingerpick", "fingerpick-34", "shuffle", "piano-34", "strings",
              "swing", "disco", "reggae", "tango", "samba", "rocknroll", "waltz-viennese"),
    "folk": ("folk-44", "folk-24", "folk-34", "folk-68", "folk-128", "schottische"),
}  # fmt: skip


def make_song(
    seed: int,
    *,
    family: str | None = None,
    duration_s: float | None = None,
    held_out: bool = False,
    without: frozenset[str] = frozenset(),
) -> TrainingSong:
    """Make one song excerpt.

    Parameters
    ----------
    seed : int
        The same seed and arguments give the same samples on the same material.
    family : str or None
        A key of `FAMILIES`; None draws one by share.
    duration_s : float or None
        Length of the excerpt, at most 60 s; None draws 28 to 44 s.
    held_out : bool
        Use the held-out soundfont, scores and rhythm styles, and only those.
    without : frozenset of str
        Ingredients to leave out: ``voices``, ``coding``, ``noise``, ``rooms``.

    Raises
    ------
    ParameterError
        If `family` is unknown or `duration_s` is out of range.
    """
    rng = np.random.default_rng([seed, int(held_out)])
    names = list(FAMILIES)
    drawn = str(rng.choice(names, p=np.array(list(FAMILIES.values())) / sum(FAMILIES.values())))
    if family is not None and family not in FAMILIES:
        raise ParameterError(f"family={family!r} is unknown; choose one of {', '.join(names)}")
    family = family or drawn
    length_s = float(rng.uniform(28, 44)) if duration_s is None else float(duration_s)
    if not 5.0 <= length_s <= MAX_DURATION_S:
        raise ParameterError(f"duration_s={length_s:g} must be between 5 and {MAX_DURATION_S:g}")
    piece = _draw_piece(rng, family, held_out, length_s)
    if family != "electronic" and rng.random() < ROUGH_SHARE:
        piece = replace(piece, roughness=float(rng.uniform(0.2, 1.0)))
    tempo_map, length_s = _cut(rng, piece, length_s)
    n_samples = round(length_s * SAMPLE_RATE_HZ)
    speaks = piece.style in SPOKEN_STYLES and rng.random() < 0.6
    bare, electronic = rng.random() < BARE_SHARES.get(family, BARE_SHARE), family == "electronic"
    palette = draw_palette(
        rng, held_out=held_out, without=without, speaks=speaks, bare=bare, electronic=electronic
    )
    desk = draw_desk(rng, electronic=electronic, without=without, bare=bare)
    stems = [
        (part.role, render_stem(rng, palette, played, n_samples, SAMPLE_RATE_HZ))
        for part in piece.parts
        if (played := perform(rng, part, tempo_map, piece)).starts_s.size
    ]
    mixed = mix(rng, desk, stems, SAMPLE_RATE_HZ)
    sound = master(rng, desk, _faded(rng, mixed), SAMPLE_RATE_HZ, without)
    truth = _truth(piece, tempo_map, length_s, seed)
    return TrainingSong(
        samples=sound, truth=truth, family=family, source=f"{piece.source}|{palette.source}"
    )


def _draw_piece(rng: np.random.Generator, family: str, held_out: bool, length_s: float) -> Piece:
    """Compose or fetch a piece of a family; compose one where its source is missing."""
    mark = "-held-out" if held_out else ""
    seconds = length_s * float(rng.uniform(1.1, 2.0))
    piece = None
    if family == "accompanied":
        piece = borrowed.accompanied(rng, "accompaniments" + mark)
    elif family in ("games", "scores"):
        piece = borrowed.as_written(rng, family + mark)
    elif family == "tunes" and not held_out:
        piece = borrowed.arranged(rng, [STYLES[name] for name in FAMILY_STYLES[family]])
    elif family == "loops" and not held_out:
        piece = borrowed.with_loop(rng, _draw_style(rng, family, held_out), seconds)
    elif family == "pop" and not held_out:
        piece = borrowed.popular(rng, [STYLES[name] for name in FAMILY_STYLES[family]])
    elif family == "folk":
        style = _draw_style(rng, family, held_out)
        piece = folk_song(rng, style, min_seconds=seconds, old=not held_out)
    piece = piece or compose(rng, _draw_style(rng, family, held_out), min_seconds=seconds)
    if family == "drumless":
        parts = [part for part in piece.parts if part.role not in ("drums", "percussion")]
        piece = replace(piece, parts=tuple(parts)) if parts else piece
    if family == "electronic" and rng.random() < 0.3:
        piece = _thinned(rng, piece)
    return piece


def _thinned(rng: np.random.Generator, piece: Piece) -> Piece:
    """Leave a song three or four players, as old machines had channels."""
    n_kept = min(len(piece.parts), int(rng.integers(3, 5)))
    kept = sorted(rng.choice(len(piece.parts), n_kept, replace=False))
    return replace(piece, parts=tuple(piece.parts[i] for i in kept))


def _draw_style(rng: np.random.Generator, family: str, held_out: bool) -> Style:
    """Draw one of a family's styles by weight, held-out or not."""
    wanted = HELD_OUT_STYLES if held_out else frozenset(STYLES) - HELD_OUT_STYLES
    names = [name for name in FAMILY_STYLES.get(family, ()) if name in wanted]
    names = names or sorted(wanted - set(FAMILY_STYLES["folk"]))
    weights = np.array([STYLES[name].weight for name in names])
    return STYLES[str(rng.choice(names, p=weights / weights.sum()))]


def _cut(rng: np.random.Generator, piece: Piece, length_s: float) -> tuple[TempoMap, float]:
    """Choose the excerpt: from the start, to the end, or anywhere; shift time to it."""
    lead_s = float(rng.uniform(0.05, 2.0))
    tempo_map = draw_tempo_map(rng, piece, start_s=lead_s)
    total_s = float(tempo_map.times_s[-1]) + 2.0
    length_s = min(length_s, total_s)
    where = rng.random()
    offset = 0.0 if where < 0.15 else total_s - length_s if where < 0.25 else (
        rng.uniform(0, total_s - length_s)
    )  # fmt: skip
    shifted = TempoMap(
        times_s=tempo_map.times_s - offset, swing=piece.swing, swing_unit=piece.swing_unit
    )
    return shifted, length_s


def _faded(rng: np.random.Generator, sound: np.ndarray) -> np.ndarray:
    """Now and then let the excerpt fade in or out."""
    where = rng.random()
    if where > 0.06:
        return sound
    n = min(sound.size, int(rng.uniform(3, 14) * SAMPLE_RATE_HZ))
    ramp = np.linspace(0.01, 1, n, dtype=np.float32) ** float(rng.uniform(0.7, 2))
    faded = sound.copy()
    if where < 0.015:
        faded[:n] *= ramp
    else:
        faded[-n:] *= ramp[::-1]
    return faded


def _truth(piece: Piece, tempo_map: TempoMap, length_s: float, seed: int) -> SongTruth:
    """Keep the beats inside the excerpt, and number everything from the first of them."""
    times = tempo_map.times_s[: piece.n_beats]
    positions = piece.positions
    inside = np.flatnonzero((times >= 0) & (times < length_s))
    first, last = (int(inside[0]), int(inside[-1]) + 1) if inside.size else (0, 0)
    audible = np.ones(piece.n_beats, dtype=bool)
    for start, end in piece.silent_beats:
        audible[start:end] = False
    starts = piece.bar_starts
    phrase_beats = {int(starts[bar]) for bar in piece.phrase_bars}
    sections = []
    for section in piece.sections:
        begin = max(int(starts[section.first_bar]), first)
        end = min(int(starts[section.first_bar + section.n_bars]), last)
        if end > begin:
            sections.append(
                TrueSection(
                    start_s=float(times[begin]),
                    start_beat=begin - first,
                    n_beats=end - begin,
                    letter=section.letter,
                )
            )
    return SongTruth(
        beats_s=times[first:last],
        positions=positions[first:last],
        meter=piece.meter,
        sections=tuple(sections),
        phrase_starts=tuple(sorted(b - first for b in phrase_beats if first <= b < last)),
        audible=audible[first:last],
        end_s=float(min(length_s, tempo_map.times_s[-1])),
        style=piece.style,
        seed=seed,
    )
