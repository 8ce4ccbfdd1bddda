"""Accompaniments and drum loops played from the groove library of `mma` (GPL-2+).

The library holds some 2000 arrangement patterns by many hands.  Full accompaniments
are asked for over chord charts of ours; drum-only grooves become loops for our own
songs.  Needs the program ``mma`` and `mido`; runs once, on the machine that collects.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from phrasefit.training.collection import NOTE_TYPE, StoredPiece
from phrasefit.training.harmony import choose_progression
from phrasefit.training.tactus import tapped

LIBRARY = Path("/usr/share/mma/lib")
DRUM_FOLDER = "zoom"
SKIP = re.compile(r"metronome|^none|^ending|^intro|^count$|^hrk|^mide|^thr$|^afro-cuban")
SPECIAL = re.compile(r"(intro|end|ending|fill|break)\d*$", re.IGNORECASE)
MMA_QUALITY = {"": "", "m": "m", "7": "7", "m7": "m7", "M7": "M7", "6": "6", "9": "9", "m9": "m9",
               "o": "dim", "h": "m7b5", "5": "5", "s": "sus4", "2": "sus2"}  # fmt: skip
ROOTS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
# Tempo range [beats a minute] and harmony by words in the name of a groove file; common
# practice, no source.
FITS: tuple[tuple[str, tuple[float, float], str], ...] = (
    (r"vien|fastwaltz|fastjazzw", (150, 200), "classical"),
    (r"jazzwaltz|modernjazzw|latinwaltz", (110, 180), "jazz"),
    (r"34|waltz", (84, 150), "country"),
    (r"68swing|68march|march", (96, 128), "classical"),
    (r"68ballad|ballad68|arpeggio68|blues68|slowblues|ballad128", (50, 76), "doowop"),
    (r"128", (60, 100), "blues"),
    (r"slow|bald|ballad|serenade|lullaby|hymn|ambient|evans", (56, 92), "pop"),
    (r"trip|hiphop|hip-hop|thr", (72, 104), "minor"),
    (r"dnb", (160, 178), "minor"),
    (r"reggae", (64, 90), "minor"),
    (r"ska|punk", (120, 190), "rock"),
    (r"polka|quickstep|twist|ragtime|dixie|charleston|gypsy|twostep|2beat|bluegrass", (100, 200),
     "country"),
    (r"foxtrot|swing|jazz|bop|bigband|basie|softshoe|strut|broadway|show|easyswing", (96, 200),
     "jazz"),
    (r"bossa|samba|rhumba|beguine|mambo|salsa|son|calypso|merengue|latin|cuban|cha|bolero|quando",
     (88, 140), "jazz"),
    (r"tango|desert", (100, 132), "minor"),
    (r"blues|boog|boggie|shuffle|jive|zydeco", (96, 170), "blues"),
    (r"mtl|metal|heavy", (100, 180), "metal"),
    (r"techno|trance|rave|house|dance|disco|boneym", (112, 142), "minor"),
    (r"funk|soul|r.?b|fus|motown", (84, 124), "funk"),
    (r"country|cntry|western|folk|hill|guitar", (84, 150), "country"),
    (r"rock|8beat|60s|50s", (84, 160), "rock"),
)  # fmt: skip


def _fit(name: str) -> tuple[tuple[float, float], str]:
    """Find tempo range and harmony for a groove file."""
    for pattern, tempo, harmony in FITS:
        if re.search(pattern, name):
            return tempo, harmony
    return (84.0, 132.0), "pop"


def _groove_names(path: Path) -> list[str]:
    """List the grooves a library file defines."""
    text = path.read_text(encoding="latin-1")
    return re.findall(r"^\s*DefGroove\s+(\S+)", text, flags=re.MULTILINE | re.IGNORECASE)


def _run_mma(script: str, folder: Path) -> object | None:
    """Let mma play a script; None where it refuses."""
    import mido

    source, target = folder / "song.mma", folder / "song.mid"
    target.unlink(missing_ok=True)
    source.write_text(script, encoding="utf-8")
    done = subprocess.run(
        ["mma", "-f", str(target), str(source)], capture_output=True, timeout=60, check=False
    )
    return mido.MidiFile(target) if done.returncode == 0 and target.exists() else None


def _chart(rng: np.random.Generator, harmony: str, n_bars: int) -> list[tuple[int, str]]:
    """Draw one chord a bar (pairs of root pitch class and quality)."""
    key = int(rng.integers(12))
    loop = choose_progression(rng, harmony)
    rate = int(rng.choice([1, 1, 1, 2]))
    return [((key + loop[bar // rate % len(loop)][0]) % 12, loop[bar // rate % len(loop)][1])
            for bar in range(n_bars)]  # fmt: skip


def _script(
    rng: np.random.Generator, name: str, names: list[str], harmony: str
) -> tuple[str, list[tuple[int, str]], list[int], str]:
    """Write a song for mma: intro, sections with other grooves of the file, fills, end."""
    main = [n for n in names if not SPECIAL.search(n)]
    family = [n for n in main if n[:4].lower() == name[:4].lower()] or [name]
    choices = {"A": name, "B": str(rng.choice(family)), "C": str(rng.choice(family))}
    known = {n.lower(): n for n in names}
    intro = known.get(f"{name}intro".lower())
    fill = known.get(f"{name}fill".lower()) or known.get(f"{name[:-1]}fill".lower())
    end = known.get(f"{name}end".lower())
    lines: list[str] = ["KeySig 0", "Tempo 120", "MidiFile SMF=1", "SeqRnd On"]
    chart: list[tuple[int, str]] = []
    starts: list[int] = []
    letters = ""
    parts = {letter: _chart(rng, harmony, 8) for letter in "AB"}
    order = list(rng.choice(["AABA", "ABAB", "AABB", "ABAAB", "AAAA", "ABCB"]))
    if intro:
        order.insert(0, "i")
    for letter in order:
        starts.append(len(chart))
        letters += str(letter)
        chords = parts.setdefault(str(letter), _chart(rng, harmony, 8))
        n_bars = 4 if letter == "i" else 8
        groove = intro if letter == "i" else choices.get(str(letter), name)
        for bar in range(n_bars):
            if bar == 0:
                lines.append(f"Groove {groove}")
            elif bar == n_bars - 1 and fill and letter != "i" and rng.random() < 0.6:
                lines.append(f"Groove {fill}")
            root, quality = chords[bar]
            chart.append((root, quality))
            lines.append(f"{len(chart)} {ROOTS[root]}{MMA_QUALITY[quality]}")
    if end and rng.random() < 0.7:
        lines.append(f"Groove {end}")
        for _ in range(2):
            chart.append(chart[0])
            lines.append(f"{len(chart)} {ROOTS[chart[0][0]]}{MMA_QUALITY[chart[0][1]]}")
    return "\n".join(lines) + "\n", chart, starts, letters


def _role(track: str, programs: list[int]) -> str:
    """Guess a role from mma's name of a track."""
    word = track.split("-")[0].lower()
    if word in ("bass", "walk"):
        return "bass"
    if word in ("arpeggio", "scale", "plectrum"):
        return "arpeggio" if word != "plectrum" else "chords"
    if word in ("solo", "melody", "aria"):
        return "lead"
    if (programs and 88 <= programs[0] <= 95) or (programs and 48 <= programs[0] <= 54):
        return "pad"
    return "chords"


def read_notes(
    midi: object, divide: float
) -> tuple[list[tuple[float, float, int, int, int]], list[tuple[str, int]]]:
    """Read the notes of a MIDI file in beats of `divide` quarter notes.

    Returns
    -------
    (list, list)
        Rows (onset, length, pitch, velocity, part) and (role, program) of each part.
    """
    rows: list[tuple[float, float, int, int, int]] = []
    parts: list[tuple[str, int]] = []
    for track in midi.tracks:
        tick, sounding, programs, notes, drums = 0, {}, [], [], False
        for message in track:
            tick += message.time
            if message.type == "program_change":
                programs.append(message.program)
            elif message.type == "note_on" and message.velocity:
                drums = drums or message.channel == 9
                sounding.setdefault(message.note, []).append((tick, message.velocity))
            elif message.type in ("note_on", "note_off") and sounding.get(message.note):
                start, velocity = sounding[message.note].pop(0)
                notes.append((start, max(tick - start, 1), message.note, velocity))
        if not notes:
            continue
        scale = midi.ticks_per_beat * divide
        rows += [(s / scale, n / scale, p, v, len(parts)) for s, n, p, v in notes]
        role = "drums" if drums else _role(track.name, programs)
        parts.append((role, programs[0] if programs else 0))
    return rows, parts


def _beats(path: Path) -> tuple[int, float]:
    """Read a groove file's own `Time`: mma beats a bar -> (our beats a bar, mma beats a beat)."""
    found = re.search(r"^\s*Time\s+(\d+)", path.read_text(encoding="latin-1"), re.MULTILINE)
    units = int(found.group(1)) if found else 4
    return (units // 3, 3.0) if units in (6, 12) else (units, 1.0)


def play_accompaniments(seed: int, per_file: int) -> Iterator[StoredPiece]:
    """Play songs from every library file with harmony instruments."""
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(LIBRARY.glob("*/*.mma")):
            names = _groove_names(path)
            main = [n for n in names if not SPECIAL.search(n)]
            if SKIP.search(path.stem) or path.parent.name == DRUM_FOLDER or not main:
                continue
            rng = np.random.default_rng([seed, sum(path.stem.encode())])
            for number in range(per_file):
                piece = _play_one(rng, path, names, str(rng.choice(main)), number, Path(folder))
                if piece is not None:
                    yield tapped(piece, tempo_is_written=False)


def _play_one(
    rng: np.random.Generator, path: Path, names: list[str], name: str, number: int, folder: Path
) -> StoredPiece | None:
    """Play one song; None where mma cannot."""
    tempo, harmony = _fit(path.stem)
    script, chart, starts, letters = _script(rng, name, names, harmony)
    midi = _run_mma(script, folder)
    if midi is None:
        return None
    meter, divide = _beats(path)
    rows, parts = read_notes(midi, divide)
    if len(rows) < 64:
        return None
    tempo = (tempo[0], min(tempo[1], 76.0)) if divide == 3.0 and tempo[0] < 60 else tempo
    return StoredPiece(
        name=f"{path.parent.name}/{path.stem}/{name}/{number}",
        notes=np.array(rows, dtype=NOTE_TYPE),
        parts=tuple(parts),
        beats_per_bar=(meter,) * len(chart),
        meter=meter,
        tempo_bpm=tempo,
        section_bars=tuple(starts),
        letters=letters,
        phrase_bars=tuple(bar for s in starts for bar in (s, s + 4) if bar < len(chart)),
        chords=tuple((float(i * meter), root, quality) for i, (root, quality) in enumerate(chart)),
        tags=(path.parent.name,),
    )


def play_drum_loops(n_bars: int = 8) -> Iterator[StoredPiece]:
    """Play every drum-only groove as a loop of `n_bars`."""
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted((LIBRARY / DRUM_FOLDER).glob("*.mma")):
            if SKIP.search(path.stem):
                continue
            meter, divide = _beats(path)
            for name in _groove_names(path):
                script = f"Tempo 120\nGroove {name}\n" + "".join(
                    f"{bar + 1} C\n" for bar in range(n_bars)
                )
                midi = _run_mma(script, Path(folder))
                rows, _parts = read_notes(midi, divide) if midi else ([], [])
                rows = [(o, n, p, v, 0) for o, n, p, v, _ in rows]
                if len(rows) >= 2 * n_bars:
                    yield StoredPiece(
                        name=f"{path.stem}/{name}",
                        notes=np.array(rows, dtype=NOTE_TYPE),
                        parts=(("drums", 0),),
                        beats_per_bar=(meter,) * n_bars,
                        meter=meter,
                        tempo_bpm=_fit(path.stem)[0],
                        tags=(path.stem,),
                    )
