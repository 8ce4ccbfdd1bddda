"""Pieces made from collections of symbolic music by others.

Accompaniments get new tempi, keys, instruments and tunes; old tunes get a band; scores
are played as they stand; drum loops replace the drums of our own songs.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from phrasefit.demo.harmony import MAJOR_SCALE, MINOR_SCALE
from phrasefit.training.band import Band
from phrasefit.training.collection import StoredPiece, read_collection
from phrasefit.training.compose import accompaniment, compose, draw_tempo, finish, tunes
from phrasefit.training.form import Cast, Form, place_events
from phrasefit.training.harmony import QUALITIES, Chord, ChordTrack
from phrasefit.training.material import list_files
from phrasefit.training.score import Part, Piece, SectionPlan
from phrasefit.training.styles import Style

# Programs that can stand for each other: what a part is played on changes within a row.
COUSINS = (
    (0, 1, 2, 3, 4, 5, 6, 7), (16, 17, 18, 19, 21, 22), (24, 25, 26, 27, 28), (29, 30),
    (32, 33, 34, 35, 36, 37, 38, 39), (40, 41, 42, 110), (48, 49, 50, 51, 52, 53, 54, 88, 89, 91),
    (56, 57, 59, 61, 62, 63), (60, 58), (64, 65, 66, 67), (68, 69, 70, 71, 72, 73, 74, 75),
    (8, 9, 10, 11, 12, 13, 14), (80, 81, 82, 83, 84, 87), (104, 105, 106, 107, 25),
)  # fmt: skip

POPULAR_SHARE = 0.4  # of the songs of the pop family, where there are such songs


def stored(name: str) -> tuple[StoredPiece, ...]:
    """Return the pieces of a collection of the material folder, or none."""
    paths = [path for path in list_files("scores", ".npz") if path.stem == name]
    return read_collection(paths[0]) if paths else ()


def draw_stored(rng: np.random.Generator, name: str) -> StoredPiece | None:
    """Draw one piece of a collection; big folders of it weigh by the root of their size."""
    folders = _by_folder(stored(name))
    if not folders:
        return None
    weights = np.sqrt([len(pieces) for pieces in folders])
    pieces = folders[rng.choice(len(folders), p=weights / weights.sum())]
    return pieces[rng.integers(len(pieces))]


@lru_cache(maxsize=16)
def _by_folder(pieces: tuple[StoredPiece, ...]) -> tuple[tuple[StoredPiece, ...], ...]:
    """Group pieces by their first tag."""
    names = sorted({piece.tags[0] for piece in pieces})
    return tuple(tuple(p for p in pieces if p.tags[0] == name) for name in names)


def is_triplet(piece: StoredPiece) -> bool:
    """Say whether off-beats fall on thirds of the beat rather than on halves."""
    part = np.mod(piece.notes["onset"], 1.0)
    thirds = np.sum((np.abs(part - 2 / 3) < 0.05) | (np.abs(part - 1 / 3) < 0.05))
    halves = np.sum(np.abs(part - 0.5) < 0.05)
    return bool(thirds > halves)


# ------------------------------------------------------------ accompaniments


def accompanied(rng: np.random.Generator, name: str) -> Piece | None:
    """Play an accompaniment of a collection under a tune of ours."""
    found = draw_stored(rng, name)
    if found is None:
        return None
    transpose = int(rng.integers(-6, 6))
    parts = [_recast(rng, part, transpose) for part in found.score_parts()]
    parts = [part for part in parts if part is not None]
    form = _form_of(found)
    chart = _chart_of(found, transpose)
    key = chart.chords[0].root if chart.chords else 0
    style = _style_of(found)
    band = Band(rng, style, form, chart, key, minor=3 in chart.chords[0].tones)
    if rng.random() < 0.85:
        parts += tunes(band)
    tempo = draw_tempo(rng, found.tempo_bpm)
    return finish(band, parts, tempo, source=f"{name}/{found.name.rsplit('/', 1)[0]}")


def _recast(rng: np.random.Generator, part: Part, transpose: int) -> Part | None:
    """Transpose a part, now and then give it to a cousin, or leave it out."""
    chance = {"drums": 0.07, "bass": 0.06}.get(part.role, 0.15)
    if rng.random() < chance:
        return None
    if part.role == "drums":
        return part
    program = part.program
    if rng.random() < 0.5:
        row = next((row for row in COUSINS if program in row), None)
        program = int(rng.choice(row)) if row else program
    return replace(part, pitches=part.pitches + transpose, program=program)


def _form_of(piece: StoredPiece) -> Form:
    """Rebuild the form a stored piece describes; tunes everywhere but in intros."""
    form = Form()
    bounds = [*piece.section_bars, len(piece.beats_per_bar)]
    for letter, first, last in zip(piece.letters, bounds[:-1], bounds[1:], strict=True):
        layers = frozenset({"hook"} if letter == "i" else {"tune"}) | {"chords", "bass", "drums"}
        form.add_section(letter, list(piece.beats_per_bar[first:last]), layers, 0.6, 4)
    form.phrase_bars = sorted({*form.phrase_bars, *piece.phrase_bars})
    return form


def _chart_of(piece: StoredPiece, transpose: int) -> ChordTrack:
    """Rebuild the chords."""
    starts = [start for start, _, _ in piece.chords]
    ends = [*starts[1:], float(sum(piece.beats_per_bar))]
    chords = [
        Chord(start, end, (root + transpose) % 12, QUALITIES[quality])
        for (start, root, quality), end in zip(piece.chords, ends, strict=True)
    ]
    return ChordTrack(chords or [Chord(0.0, ends[-1], 0, QUALITIES[""])])


def _style_of(piece: StoredPiece) -> Style:
    """Describe a stored piece as a style without patterns, for tunes and endings."""
    return Style(
        name=piece.name.split("/")[1] if "/" in piece.name else piece.name,
        meter=piece.meter,
        steps=3 if is_triplet(piece) else 4,
        tempo_bpm=piece.tempo_bpm,
        swing=(0.5, 0.5),
        swing_unit=1.0,
        harmony="pop",
        chord_bars=(1.0,),
        looseness=(0.0, 1.3),
        instruments={"lead": ("sax", "strings", "clean", "fiddle", "winds", "trumpet", "synth"),
                     "comp": ("piano", "clean", "steel"), "bass": ("ebass", "upright")},
        drums=(),
        bass=(),
        chords=(),
        arpeggios=(),
        weight=1.0,
    )  # fmt: skip


# ------------------------------------------------------------ drum loops


def with_loop(rng: np.random.Generator, style: Style, min_seconds: float) -> Piece | None:
    """Compose in `style` but let a drum loop by others play, as it is or cut in two."""
    loops = _loops_like(rng, style)
    if not loops:
        return None
    loop, other = loops[0], loops[-1]
    low, high = style.tempo_bpm
    fast = (max(low, loop.tempo_bpm[0]), min(high, loop.tempo_bpm[1]))
    style = replace(style, tempo_bpm=fast if fast[0] < fast[1] else loop.tempo_bpm)
    piece = compose(rng, style, min_seconds=min_seconds)
    parts = [
        _looped(part, piece, loop, other) if part.role == "drums" else part for part in piece.parts
    ]
    return replace(piece, parts=tuple(parts), source=f"loops/{loop.name}")


def _loops_like(rng: np.random.Generator, style: Style) -> list[StoredPiece]:
    """Draw one or two loops in a style's meter, from drum loops or from accompaniments."""
    found: list[StoredPiece] = []
    wanted = int(rng.choice([1, 1, 2]))
    for name in rng.choice(["drum-loops", "accompaniments"], size=12):
        piece = draw_stored(rng, str(name))
        if piece is None or piece.meter != style.meter or is_triplet(piece) != (style.steps == 3):
            continue
        drums = [i for i, (role, _) in enumerate(piece.parts) if role == "drums"]
        first = piece.section_bars[-1] * piece.meter if len(piece.section_bars) > 2 else 0
        notes = piece.notes[np.isin(piece.notes["part"], drums) & (piece.notes["onset"] >= first)]
        if notes.size >= 24:
            notes = notes.copy()
            notes["onset"] -= first
            n_bars = min(8, len(piece.beats_per_bar) - first // piece.meter)
            found.append(replace(piece, notes=notes, beats_per_bar=(piece.meter,) * n_bars))
        if len(found) == wanted:
            break
    return found


def _looped(drums: Part, piece: Piece, loop: StoredPiece, other: StoredPiece) -> Part:
    """Replace regular bars that had drums by bars of a loop; fills and odd bars stay."""
    starts = piece.bar_starts
    letters = np.concatenate([np.repeat(s.letter, s.n_bars) for s in piece.sections])
    rows = [np.stack([drums.onsets, drums.lengths, drums.pitches, drums.velocities], axis=1)]
    bar_of = np.searchsorted(starts, drums.onsets + 1e-6, side="right") - 1
    busy = np.bincount(np.clip(bar_of, 0, len(letters) - 1), minlength=len(letters))
    usual = np.median(busy[busy > 0]) if (busy > 0).any() else 0
    replaced = []
    for bar in np.flatnonzero(busy):
        if piece.beats_per_bar[bar] != piece.meter or busy[bar] > 1.6 * usual + 4:
            continue
        chosen = other if letters[bar] == "B" else loop
        within = int(bar) % len(chosen.beats_per_bar) * piece.meter
        onsets = chosen.notes["onset"]
        n = chosen.notes[(onsets >= within - 0.02) & (onsets < within + piece.meter - 0.02)]
        rows.append(np.stack([n["onset"] - within + starts[bar], n["length"], n["pitch"],
                              n["velocity"] / 127], axis=1))  # fmt: skip
        replaced.append(bar)
    crash = np.isin(drums.pitches, (49, 57))
    rows[0] = rows[0][~np.isin(bar_of, replaced) | crash]
    table = np.concatenate(rows)
    table = table[np.argsort(table[:, 0], kind="stable")]
    return replace(
        drums, onsets=table[:, 0], lengths=np.maximum(table[:, 1], 0.05), pitches=table[:, 2],
        velocities=np.clip(table[:, 3], 0.03, 1.0),
    )  # fmt: skip


# ------------------------------------------------------------ pop songs


def popular(rng: np.random.Generator, styles: list[Style]) -> Piece | None:
    """Let a band in one of `styles` play a pop song with people's timing, now and then.

    None where there are no such songs, before anything is drawn.
    """
    if not stored("popular") or rng.random() > POPULAR_SHARE:
        return None
    found = draw_stored(rng, "popular")
    fitting = [style for style in styles if style.meter == found.meter]
    weights = np.array([style.weight for style in fitting])
    style = fitting[rng.choice(len(fitting), p=weights / weights.sum())]
    transpose = int(rng.integers(-5, 6))
    chart = _chart_of(found, transpose)
    key, minor = chart.chords[0].root, 3 in chart.chords[0].tones
    band = Band(rng, style, _form_of(found), chart, key, minor)
    players = [_recast(rng, part, transpose) for part in found.score_parts()]
    heard = [part for part in players if part is not None and rng.random() < 0.8]
    heard += [*band.drums(), *accompaniment(band)] if rng.random() < 0.85 else []
    tempo = draw_tempo(rng, _common(found.tempo_bpm, style.tempo_bpm))
    return finish(band, heard or accompaniment(band), tempo, source=found.name)


# ------------------------------------------------------------ tunes and scores


def arranged(rng: np.random.Generator, styles: list[Style]) -> Piece | None:
    """Give an old tune to a band in one of `styles` that has its meter."""
    found = draw_stored(rng, "tunes")
    if found is None:
        return None
    compound = found.tags[1] in ("6/8", "12/8", "9/8", "6/4")
    fitting = [
        style for style in styles
        if style.meter == found.meter and (style.steps == 3 or not compound)
        and (style.steps != 3 or compound or is_triplet(found) or rng.random() < 0.2)
    ]  # fmt: skip
    if not fitting:
        return as_written(rng, "tunes")
    weights = np.array([style.weight for style in fitting])
    style = fitting[rng.choice(len(fitting), p=weights / weights.sum())]
    transpose = int(rng.integers(-5, 6))
    tune = found.score_parts()[0]
    tune = replace(
        tune, role="voice" if rng.random() < 0.35 else "lead", pitches=tune.pitches + transpose,
        program=int(rng.choice([40, 73, 21, 105, 25, 71, 56, 22, 0, 65, 81])),
    )  # fmt: skip
    form = _tune_form(rng, found)
    key, minor = guess_key(tune)
    band = Band(rng, style, form, harmonise(rng, tune, form, key, minor), key, minor)
    tempo = draw_tempo(rng, _common(found.tempo_bpm, style.tempo_bpm))
    players = [*band.drums(), *accompaniment(band)]
    return finish(band, [*players, tune], tempo, source=f"tunes/{found.tags[0]}")


def _common(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """Return where two ranges overlap, or the second."""
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return (low, high) if low < high else other


def _tune_form(rng: np.random.Generator, piece: StoredPiece) -> Form:
    """Lay a form over a tune: sections of eight bars, players changing between them."""
    form, cast = Form(), Cast(rng)
    letters = "ABABACABAB"
    n_bars, alone = len(piece.beats_per_bar), has_pickup(piece)
    if alone:
        layers, energy = cast.choose("i")
        form.add_section("i", [piece.beats_per_bar[0]], layers - {"tune", "hook"}, energy, 4)
        form.phrase_bars.clear()
    for number, first in enumerate(range(int(alone), n_bars, 8)):
        layers, energy = cast.choose(letters[number % len(letters)])
        lengths = list(piece.beats_per_bar[first : first + 8])
        form.add_section(letters[number % len(letters)], lengths, layers - {"tune", "hook"},
                         energy, 4)  # fmt: skip
    place_events(rng, form)
    return form


def has_pickup(piece: StoredPiece) -> bool:
    """Say whether a stored tune begins with a bar that only holds its pickup."""
    return bool(piece.notes["onset"].min() > 0.01)


def guess_key(tune: Part) -> tuple[int, bool]:
    """Find the key whose scale holds most of a tune, its last note counting as home."""
    weight = np.zeros(12)
    np.add.at(weight, (tune.pitches % 12).astype(int), tune.lengths)
    weight[int(tune.pitches[-1]) % 12] += 0.15 * weight.sum()
    best = (-1.0, 0, False)
    for key in range(12):
        for minor, scale in ((False, MAJOR_SCALE), (True, MINOR_SCALE)):
            inside = sum(weight[(key + step) % 12] for step in scale)
            third = (key + (3 if minor else 4)) % 12
            score = inside + weight[key] + 0.5 * weight[(key + 7) % 12] + 0.4 * weight[third]
            best = max(best, (float(score), key, minor))
    return best[1], best[2]


def harmonise(
    rng: np.random.Generator,
    tune: Part,
    form: Form,
    key: int,
    minor: bool,
    *,
    primary: bool = False,
    held: float = 0.0,
    halved: float = 0.3,
) -> ChordTrack:
    """Choose a chord a bar (or half bar) that holds the tune's long and strong notes.

    `primary` leaves only the three main chords of the key; `held` is what staying on a
    chord is worth, as a share of the bar's notes; `halved` the chance of chords of half bars.
    """
    degrees = ((0, "m"), (3, ""), (5, "m"), (7, ""), (8, ""), (10, "")) if minor else (
        (0, ""), (2, "m"), (5, ""), (7, ""), (9, "m"))  # fmt: skip
    liking = np.array([0.25, 0.0, 0.1, 0.15, 0.05, 0.1] if minor else [0.3, 0.0, 0.15, 0.2, 0.0])
    if primary:
        chosen = [i for i, (step, _) in enumerate(degrees) if step in (0, 5, 7)]
        degrees, liking = tuple(degrees[i] for i in chosen), liking[chosen]
    halves = 2 if form.beats_per_bar[0] == 4 and rng.random() < halved else 1
    chords: list[Chord] = []
    for first, last in zip(form.bar_starts[:-1], form.bar_starts[1:], strict=True):
        for start in np.linspace(first, last, halves, endpoint=False):
            end = start + (last - first) / halves
            inside = (tune.onsets < end) & (tune.onsets + tune.lengths > start)
            weight = np.zeros(12)
            span = np.minimum(tune.onsets + tune.lengths, end) - np.maximum(tune.onsets, start)
            np.add.at(weight, (tune.pitches[inside] % 12).astype(int), span[inside])
            weight /= weight.sum() + 1e-9
            fits = np.array([
                sum(weight[(key + step + tone) % 12] for tone in QUALITIES[quality])
                for step, quality in degrees
            ])  # fmt: skip
            if chords:
                fits += [held * ((key + step) % 12 == chords[-1].root) for step, _ in degrees]
            step, quality = degrees[int(np.argmax(fits + liking + rng.normal(0, 0.05, fits.size)))]
            chords.append(Chord(float(start), float(end), (key + step) % 12, QUALITIES[quality]))
    return ChordTrack(chords)


def as_written(rng: np.random.Generator, name: str) -> Piece | None:
    """Play a stored score as it stands, on instruments of one kind or of many."""
    found = draw_stored(rng, name)
    if found is None:
        return None
    transpose = int(rng.integers(-4, 5))
    ensemble = int(rng.choice([0, 0, 4, 19, 48, 52, 61, 73, 24, 6, 40]))
    mixed = rng.random() < 0.25
    parts = []
    for part in found.score_parts():
        program = part.program if part.program > 0 and rng.random() < 0.6 else ensemble
        program = int(rng.choice([0, 40, 42, 48, 56, 60, 68, 71, 73])) if mixed else program
        role = part.role
        if role == "choir" and program not in (52, 53, 54):
            role = "chords"
        parts.append(replace(part, role=role, program=program, pitches=part.pitches + transpose))
    bounds = [*found.section_bars, len(found.beats_per_bar)]
    return Piece(
        beats_per_bar=found.beats_per_bar,
        meter=found.meter,
        tempo_bpm=draw_tempo(rng, found.tempo_bpm),
        parts=tuple(parts),
        sections=tuple(
            SectionPlan(first_bar=a, n_bars=b - a, letter=letter)
            for letter, a, b in zip(found.letters, bounds[:-1], bounds[1:], strict=True)
        ),
        phrase_bars=_phrases(found),
        style=found.tags[0],
        source=f"{name}/{found.name}",
        looseness=float(rng.uniform(0.4, 1.9)),
    )


def _phrases(piece: StoredPiece) -> tuple[int, ...]:
    """Bars that begin a phrase: they are counted from the first whole bar."""
    moved = int(has_pickup(piece))
    return tuple(bar + moved for bar in piece.phrase_bars if bar + moved < len(piece.beats_per_bar))
