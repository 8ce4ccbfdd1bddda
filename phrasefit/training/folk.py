"""Folk songs with a simple band: only harmony, tune and the root of the bass tell the one.

A tune goes round several times; the bass alternates, chords fall on the off-beats, drums
come late, strike alike on every half bar, or never come.  Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.training.band import Band
from phrasefit.training.compose import draw_tempo, last_chord
from phrasefit.training.form import Form, place_events
from phrasefit.training.harmony import Chord, ChordTrack
from phrasefit.training.rounds import PHRASE_BARS, Round, old_round, own_round
from phrasefit.training.score import Part, Piece
from phrasefit.training.styles import Style

OLD_SHARE = 0.5  # of the songs that play an old tune
EVEN_SHARE = 0.5  # of the songs in which no accent tells one half of the bar from the other
PLAIN_SHARE = 0.7  # of the songs without fills, crashes and invented patterns
ACCENT_GRID = 24  # places within half a bar whose loudness is evened out


def folk_song(
    rng: np.random.Generator, style: Style, *, min_seconds: float, old: bool = True
) -> Piece:
    """Let a band in `style` play a tune round and round; `old` tunes may be among them."""
    found = old_round(rng, style) if old and rng.random() < OLD_SHARE else None
    round_ = found or own_round(rng, style)
    tempo = draw_tempo(rng, style.tempo_bpm)
    intro = int(rng.choice([0, 0, 0, 2, 4]))
    round_s = round_.n_bars * round_.meter * 60 / tempo
    n_rounds = max(2, int(np.ceil(min_seconds / round_s)))
    plain = bool(rng.random() < PLAIN_SHARE)
    form = _form(rng, round_, intro, n_rounds, plain)
    chart = _chart(form, round_, intro, n_rounds)
    band = Band(rng, style, form, chart, round_.key, round_.minor, plain)
    parts = [*band.drums(), band.bass(), band.chords(), band.pad()]
    if style.arpeggios:
        parts.append(band.arpeggio())
    parts += _leads(rng, band, round_, intro * round_.meter, n_rounds)
    ends = bool(rng.random() < 0.6)
    if ends and rng.random() < 0.7:
        parts = last_chord(band, parts)
    if rng.random() < EVEN_SHARE and style.meter % 2 == 0:
        parts = [_evened(rng, part, style.meter // 2) for part in parts]
    early = 0 if intro else int(np.ceil(round_.pickup_beats - 1e-6))
    if early:
        parts = [replace(part, onsets=part.onsets + early) for part in parts]
        _insert_part_bar(form, early)
    return _piece(rng, band, parts, tempo, round_, ends=ends, starts_inside=early > 0)


def _form(rng: np.random.Generator, round_: Round, intro: int, n_rounds: int, plain: bool) -> Form:
    """Whole rounds, each in sections of up to eight bars, players joining between rounds."""
    form = Form()
    meter = round_.meter
    casts = _casts(rng, n_rounds)
    if intro:
        form.add_section("i", [meter] * intro, casts[-1] if rng.random() < 0.5 else casts[0], 0.4,
                         intro)  # fmt: skip
    size = 2 * PHRASE_BARS if round_.n_bars % (2 * PHRASE_BARS) == 0 else PHRASE_BARS
    for layers in casts:
        for number in range(round_.n_bars // size):
            letter = "AB"[number * size * 2 // round_.n_bars]
            form.add_section(letter, [meter] * size, layers, 0.6, PHRASE_BARS)
    if not plain:
        place_events(rng, form)
    return form


def _casts(rng: np.random.Generator, n_rounds: int) -> list[frozenset[str]]:
    """Who plays in each round: all from the start, or one more at a time, drums late or never."""
    extras = [name for name, chance in (("arpeggio", 0.35), ("pad", 0.25)) if rng.random() < chance]
    players = ["chords", "bass", *extras]
    if rng.random() < 0.1:
        players.remove(str(rng.choice(["chords", "bass"])))
    drums = str(rng.choice(["never", "start", "late"], p=[0.4, 0.25, 0.35]))
    drums_from = {"never": n_rounds, "start": 0, "late": int(rng.integers(1, n_rounds))}[drums]
    growing = rng.random() < 0.4
    rng.shuffle(players)
    if growing and players[0] == "pad":
        players.reverse()
    casts = []
    for number in range(n_rounds):
        playing = set(players[: number + 1] if growing else players)
        if number >= drums_from:
            playing.add("drums")
        casts.append(frozenset(playing))
    return casts


def _chart(form: Form, round_: Round, intro: int, n_rounds: int) -> ChordTrack:
    """The chords of all rounds; an intro plays the round's last bars or stays at home."""
    meter = round_.meter
    length, first = round_.n_bars * meter, intro * meter
    chords = []
    if intro:
        home = round_.chords[0]
        chords.append(Chord(0.0, float(first), home.root, home.tones))
    for number in range(n_rounds):
        at = first + number * length
        chords += [Chord(c.start + at, c.end + at, c.root, c.tones) for c in round_.chords]
    chords[-1] = replace(chords[-1], end=float(form.bar_starts[-1]))
    return ChordTrack(chords)


def _leads(
    rng: np.random.Generator, band: Band, round_: Round, first: int, n_rounds: int
) -> list[Part]:
    """The tune, round after round, by one player or by two in turn."""
    n_players = int(rng.choice([1, 1, 1, 2]))
    sung = rng.random() < 0.25
    tune, length = round_.part, round_.n_bars * round_.meter
    strong = np.abs(np.mod(tune.onsets, band.style.meter)) < 0.01
    # In some songs the tune stresses its ones, in others it does not.
    stress = float(rng.choice([0.0, 0.0, 0.08])) * strong
    parts = []
    for player in range(n_players):
        rounds = range(player, n_rounds, n_players)
        shift = float(rng.choice([0, 0, 12, -12])) if player else 0.0
        onsets = np.concatenate([tune.onsets + first + number * length for number in rounds])
        velocities = np.tile(tune.velocities + stress, len(rounds))
        parts.append(
            Part(
                role="voice" if sung and not player else "lead",
                onsets=onsets,
                lengths=np.tile(tune.lengths, len(rounds)),
                pitches=np.tile(tune.pitches + shift, len(rounds)),
                velocities=np.clip(velocities + rng.normal(0, 0.05, onsets.size), 0.3, 1.0),
                program=band.pick("lead"),
                tied=bool(rng.random() < 0.3),
            )
        )
    return [_without_doubles(part) for part in parts]


def _without_doubles(part: Part) -> Part:
    """End each note of a single line where the next begins."""
    until = np.append(np.diff(part.onsets), np.inf)
    return replace(part, lengths=np.maximum(np.minimum(part.lengths, until), 0.05))


def _evened(rng: np.random.Generator, part: Part, period: int) -> Part:
    """Make strokes at the same place of every `period` beats equally loud on average."""
    if not part.n_notes or part.role in ("lead", "voice"):
        return part
    place = np.rint(np.mod(part.onsets, period) * ACCENT_GRID).astype(int) % (period * ACCENT_GRID)
    drum = part.pitches.astype(int) if part.role in ("drums", "percussion") else 0
    _, group = np.unique(place * 128 + drum, return_inverse=True)
    mean = np.bincount(group, part.velocities) / np.bincount(group)
    noise = rng.normal(0, 0.03, part.n_notes)
    return replace(part, velocities=np.clip(mean[group] + noise, 0.05, 1.0))


def _insert_part_bar(form: Form, n_beats: int) -> None:
    """Put the end of a bar before the first one: there the pickup stands."""
    form.beats_per_bar.insert(0, n_beats)
    form.sections[:] = [replace(s, first_bar=s.first_bar + 1) for s in form.sections]
    form.phrase_bars[:] = [bar + 1 for bar in form.phrase_bars]


def _piece(
    rng: np.random.Generator, band: Band, parts: list[Part], tempo: float, round_: Round, *,
    ends: bool, starts_inside: bool,
) -> Piece:  # fmt: skip
    form, style = band.form, band.style
    return Piece(
        beats_per_bar=tuple(form.beats_per_bar),
        meter=style.meter,
        tempo_bpm=tempo,
        parts=tuple(part for part in parts if part.n_notes),
        sections=tuple(form.sections),
        phrase_bars=tuple(sorted(set(form.phrase_bars))),
        style=style.name,
        source=f"folk/{round_.source}",
        swing=float(rng.uniform(*style.swing)) if rng.random() < 0.3 else 0.5,
        swing_unit=style.swing_unit,
        looseness=0.0 if rng.random() < 0.4 else float(rng.uniform(*style.looseness)),
        ends=ends,
        starts_inside=starts_inside,
    )
