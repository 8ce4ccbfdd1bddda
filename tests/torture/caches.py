"""Caches that are damaged on purpose, and what must still be found in them.

Only files in the folder given are touched.  Each damage hits one of the two files that
hold what a person made: the database (with its log), or the journal.
"""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from phrasefit.errors import CacheError
from phrasefit.store import Store, maintenance

PAGE = 4096
NAME = "phrasefit.sqlite3"
JOURNAL = "phrasefit.journal.jsonl"
VERSION = "2-0badf00d"


@dataclass
class Content:
    """What was put into a cache."""

    analyses: dict[str, str] = field(default_factory=dict)
    corrections: dict[str, dict[str, object]] = field(default_factory=dict)
    routines: dict[str, str] = field(default_factory=dict)
    forgotten: set[str] = field(default_factory=set)


def key_of(rng: random.Random) -> str:
    """Make a hash as songs have it."""
    return f"{rng.getrandbits(256):064x}"


def fill(store: Store, content: Content, rng: random.Random, song: Path, *, n: int) -> None:
    """Add `n` songs; half of them are corrected, some of those forgotten again."""
    for i in range(n):
        key = key_of(rng)
        document = json.dumps({"beats": [rng.random() for _ in range(rng.randint(20, 1500))]})
        path = song.with_name(f"{key[:8]}.wav")
        path.write_bytes(key.encode())
        store.put_analysis(key, VERSION, document, path=path)
        content.analyses[key] = document
        if i % 2:
            marks = [round(rng.random() * 200, 3) for _ in range(rng.choice((0, 2, 9, 600)))]
            content.corrections[key] = {"meter": rng.choice((3, 4)), "sections_at_s": marks}
            store.put_correction(key, content.corrections[key])
        if i % 8 == 7:
            store.delete_correction(key)
            del content.corrections[key]
            content.forgotten.add(key)
    name = f"Routine {rng.randint(1, 99)}"
    content.routines[name] = "counts = 32\n" * rng.randint(1, 800)
    store.put_routine(name, content.routines[name])


def make(folder: Path, rng: random.Random, *, n: int = 24, unclean: bool = False) -> Content:
    """Fill a cache in `folder`; `unclean` leaves the log behind, as after a kill."""
    content = Content()
    folder.mkdir(parents=True)
    live = folder / "live"
    live.mkdir()
    song = folder / "song.wav"
    with Store(live / NAME) as store:
        fill(store, content, rng, song, n=n)
        if unclean:
            reader = sqlite3.connect(live / NAME)
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM file").fetchone()
            fill(store, content, rng, song, n=n // 3)
            _copy(live, folder)
            reader.close()
    if not unclean:
        _copy(live, folder)
    shutil.rmtree(live)
    return content


def _copy(source: Path, target: Path) -> None:
    for path in source.iterdir():
        if path.is_file():
            shutil.copyfile(path, target / path.name)


# ---------------------------------------------------------------------- damages


def _flip(path: Path, rng: random.Random, *, begin: int = 0, end: int | None = None) -> None:
    content = bytearray(path.read_bytes())
    for _ in range(rng.choice((1, 1, 2, 8, 40))):
        content[rng.randrange(begin, min(end or len(content), len(content)))] ^= 1 << rng.randrange(
            8
        )
    path.write_bytes(content)


def _overwrite(path: Path, rng: random.Random, *, zero: bool = False) -> None:
    with path.open("r+b") as file:
        size = file.seek(0, 2)
        for _ in range(rng.randint(1, 4)):
            file.seek(rng.randrange(max(1, size // PAGE)) * PAGE)
            file.write(bytes(PAGE) if zero else rng.randbytes(PAGE))


def _truncate(path: Path, rng: random.Random, *, page: int = 1) -> None:
    with path.open("r+b") as file:
        size = file.seek(0, 2)
        file.truncate(rng.randrange(size) // page * page)


def _append(path: Path, rng: random.Random) -> None:
    with path.open("ab") as file:
        file.write(rng.randbytes(rng.randint(1, 20_000)))


def _number(path: Path, number: int) -> None:
    with path.open("r+b") as file:
        file.seek(60)  # the user version in the header of the file format
        file.write(number.to_bytes(4, "big", signed=True))


def _sql(path: Path, statement: str) -> None:
    with sqlite3.connect(path) as db:
        db.execute(statement)
    db.close()


def _header(path: Path, rng: random.Random) -> None:
    with path.open("r+b") as file:
        begin = rng.randrange(100)
        file.seek(begin)
        file.write(rng.choice((rng.randbytes(100 - begin), bytes(100 - begin))))


Damage = Callable[[Path, random.Random], object]
DAMAGES: dict[str, Damage] = {
    "bits flipped": lambda f, r: _flip(f / NAME, r),
    "pages overwritten": lambda f, r: _overwrite(f / NAME, r),
    "pages zeroed": lambda f, r: _overwrite(f / NAME, r, zero=True),
    "cut off at any byte": lambda f, r: _truncate(f / NAME, r),
    "cut off at a page": lambda f, r: _truncate(f / NAME, r, page=PAGE),
    "no byte left": lambda f, r: (f / NAME).write_bytes(b""),
    "one byte left": lambda f, r: (f / NAME).write_bytes(b"S"),
    "header": lambda f, r: _header(f / NAME, r),
    "header, bits flipped": lambda f, r: _flip(f / NAME, r, end=100),
    "page of the schema": lambda f, r: _flip(f / NAME, r, begin=100, end=PAGE),
    "junk appended": lambda f, r: _append(f / NAME, r),
    "another file": lambda f, r: (f / NAME).write_bytes(r.randbytes(r.randint(2, 90_000))),
    "file gone": lambda f, r: (f / NAME).unlink(),
    "schema number": lambda f, r: _number(f / NAME, r.choice((0, -5, -(2**31), 1, 2, 77))),
    "table dropped": lambda f, r: _sql(
        f / NAME, f"DROP TABLE {r.choice(('correction', 'routine', 'analysis', 'set_aside'))}"
    ),
    "corrections no JSON": lambda f, r: _sql(f / NAME, "UPDATE correction SET document = '{no'"),
    "corrections emptied": lambda f, r: _sql(f / NAME, "DELETE FROM correction"),
    "journal, bits flipped": lambda f, r: _flip(f / JOURNAL, r),
    "journal cut off": lambda f, r: _truncate(f / JOURNAL, r),
    "journal gone": lambda f, r: (f / JOURNAL).unlink(),
    "journal of junk": lambda f, r: (f / JOURNAL).write_bytes(r.randbytes(5000)),
    "journal, junk appended": lambda f, r: _append(f / JOURNAL, r),
}
LOG_DAMAGES: dict[str, Damage] = {
    "log, bits flipped": lambda f, r: _flip(f / f"{NAME}-wal", r),
    "log cut off": lambda f, r: _truncate(f / f"{NAME}-wal", r),
    "log of junk": lambda f, r: (f / f"{NAME}-wal").write_bytes(r.randbytes(50_000)),
    "log emptied": lambda f, r: (f / f"{NAME}-wal").write_bytes(b""),
    "log, shared index": lambda f, r: _flip(f / f"{NAME}-shm", r),
    "log left, pages overwritten": lambda f, r: _overwrite(f / NAME, r),
    "log left, bits flipped": lambda f, r: _flip(f / NAME, r),
    "log left, cut off": lambda f, r: _truncate(f / NAME, r),
}


# ------------------------------------------------------------------------ judging


@dataclass
class Outcome:
    """What a damaged cache gave back; the lists name what must not be."""

    refused: str = ""
    lost: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)
    n_analyses_told: int = 0
    notes: list[str] = field(default_factory=list)


def judge(folder: Path, content: Content) -> Outcome:
    """Use the cache as programs do, twice, and compare with what was put in."""
    outcome = Outcome()
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    try:
        for _ in range(2):
            with Store(folder / NAME) as store:
                _look(store, content, outcome)
    except CacheError as exc:
        outcome.refused = str(exc)
        changed = [
            name
            for name in (NAME, JOURNAL)
            if name in before and (folder / name).read_bytes() != before[name]
        ]
        outcome.lost += [f"{name} was changed though it was refused" for name in changed]
    return outcome


def _look(store: Store, content: Content, outcome: Outcome) -> None:
    maintenance.info(store, VERSION)
    for key, correction in content.corrections.items():
        if store.get_correction(key) != correction:
            outcome.lost.append(f"correction {key[:8]}")
    outcome.lost += [
        f"{key[:8]} was forgotten and is back" for key in content.forgotten
        if store.get_correction(key) is not None
    ]  # fmt: skip
    kept = store.routines()
    outcome.lost += [name for name, text in content.routines.items() if kept.get(name) != text]
    missing = [
        key for key, text in content.analyses.items() if store.get_analysis(key, VERSION) != text
    ]
    maintenance.verify(store)
    outcome.notes += store.notes
    if missing and not any("listened to again" in note for note in outcome.notes):
        outcome.silent += [f"analysis {key[:8]}" for key in missing]
    outcome.n_analyses_told += bool(outcome.notes) * len(missing)
