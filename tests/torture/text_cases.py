"""Command lines with damaged and hostile files: routines, bar maps, settings, corrections,
exports of the store, arguments and file names.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from pathlib import Path

ROUTINES = sorted((Path(__file__).parents[2] / "phrasefit").glob("**/routines/*.toml"))

NUMBERS = (
    "0", "-1", "1", "3", "0.5", "1e308", "-1e308", "nan", "inf", "-inf", "1e400", "9" * 400,
    "9" * 5000, "0x" + "f" * 5000, "2147483648", "10000000", "3.0", "true", "false", '"32"', "[]",
    "{}", "[[]]", "[10000000]", "[" * 2000 + "]" * 2000, "1979-05-27", "''", '"\\u0000"',
)  # fmt: skip
TEXTS = (
    "", " ", "\n", "\t", "\x00", "\x1b[31m", "\u202e", "\ufeff", "\ud800", "=1+1", "@x", "-x",
    "a" * 100_000, "\u0301" * 5000, "💃" * 500, "عربي", "CON", "..", "../x", "'\"", "<script>",
    "$(x)", "%s{}",
)  # fmt: skip
# Names of files; "\udcff" is how Python shows a byte that is no UTF-8.
NAMES = (
    "a", "CON", "two\nlines", "=1+1", "\x1b[31m", "x" * 200, "-x", "💃", "it's", "%s{}", "\udcff",
    "end. .", "#x", "a:b", "a\\b", "\u202eabc",
)  # fmt: skip

ARGUMENTS = (
    "--start-at", "--intro", "--max-changes", "--counts", "--walls", "--changes",
)  # fmt: skip
# What writes a file: the words, the ending, and options that take a number or a text.
WRITERS: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = (
    (("export", "--to", "midi"), ".mid", ()),
    (("export", "--to", "jams"), ".jams", ()),
    (("export", "--to", "csv"), ".csv", ()),
    (("captions",), ".vtt", ("--offset",)),
    (("captions",), ".srt", ("--offset",)),
    (("page",), ".html", ()),
)
SHEET_SHARE = 0.01  # of the cases with an output: a sheet takes longer than all others


def damaged(text: str, rng: random.Random) -> str:
    """Damage a text in one of the ways that texts are damaged, and attacked."""
    where = rng.randrange(len(text) + 1)
    kind = rng.randrange(10)
    if kind == 0:
        return text[:where]
    if kind == 1:
        return text[:where] + rng.choice(TEXTS) + text[where:]
    if kind == 2:
        return text[:where] + text[where + rng.randrange(1, 40) :]
    if kind == 3:
        return text[:where] + chr(rng.randrange(1, 0x3000)) + text[where + 1 :]
    if kind == 4:
        lines = text.split("\n")
        lines.insert(rng.randrange(len(lines)), rng.choice(lines))
        return "\n".join(lines)
    if kind == 5:
        piece = text[where:][: rng.randrange(1, 200)]
        return text[:where] + piece * rng.choice((2, 50)) + text[where:]
    if kind in (6, 7):
        return _with_other_texts(text, rng)
    numbers = list(re.finditer(r"-?\d+(\.\d+)?", text))
    if not numbers:
        return text
    hit = rng.choice(numbers)
    return text[: hit.start()] + rng.choice(NUMBERS) + text[hit.end() :]


def _with_other_texts(text: str, rng: random.Random) -> str:
    """Put hostile texts in place of some that stand in quotes."""
    values = r'(?<=[:=] )"[^"\n]*"' if rng.random() < 0.7 else r'"[^"\n]*"'
    quoted = list(re.finditer(values, text))
    chosen = rng.sample(quoted, min(len(quoted), rng.randrange(1, 4)))
    for hit in sorted(chosen, key=lambda hit: -hit.start()):
        other = json.dumps(rng.choice(TEXTS), ensure_ascii=rng.random() < 0.5)
        text = text[: hit.start()] + other + text[hit.end() :]
    return text


def small_map(rng: random.Random) -> str:
    """Write a bar map by hand."""
    n, gap = rng.choice((2, 160, 400, 400, 400, 400)), rng.choice((0.5, 0.35, 1.2))
    document = {
        "beats_s": [round(i * gap, 3) for i in range(n)],
        "positions": [i % 4 + 1 for i in range(n)],
        "meter": 4,
        "title": "Drawn",
        "artist": "Nobody",
        "tempo_bpm": round(60 / gap, 1),
        "sections": [{"start_s": 0.0, "letter": "A", "strength": 0.9}],
        "phrases": [{"start_s": 0.0, "group": 32, "strength": 0.9}],
        "outlook": {
            "start_s": [0.0, round(16 * gap, 3), round(32 * gap, 3)],
            "sections": [1.0, 0.3, 0.5],
            "groups": [16, 32],
            "phrases": [[0.0, 0.2, 0.1], [0.0, 0.1, 0.0]],
            "likeliest_s": [0.0, 0.0],
        },
        "confidence": {"beats": 0.9, "downbeat": 0.5},
        "alternatives": [],
        "notes": ["by hand"],
    }
    return json.dumps(document)


PHRASED = """
name = "Two Lanterns"
sequence = "A A B A tail"
[parts.A]
counts = 32
turn = "1/4 R"
[parts.B]
counts = 16
restarts = "none"
[parts."tail"]
counts = 8
[[tags]]
name = "look round"
counts = 4
steps = "1-4 | paddle turn | R L R L | 1/2 L"
"""
SETTINGS = """
[costs]
restart = 1.5
meet_half = 0.25
[[tempo]]
meter = 4
low = 90
high = 120
source = "the club"
"""


def _exported(rng: random.Random) -> str:
    """Write what `store export` writes, by hand."""
    document = {
        "format": "phrasefit-store",
        "version": 1,
        "correction": [
            {"content_hash": "ab" * 32, "document": '{"level": 0.5}', "stored_at": 1.7e9}
        ],
        "routine": [
            {"name": "Two Lanterns", "text": PHRASED, "stored_at": 1.7e9 + rng.randrange(9)}
        ],
    }
    return json.dumps(document, indent=1)


class Drawing:
    """Draws command lines, and writes the files they name.

    Parameters
    ----------
    folder : Path
        Where the files lie; emptied as it pleases.
    song, correction : Path, str
        A song that was heard, and the text of a correction file that fits it.
    """

    def __init__(self, folder: Path, song: Path, correction: str, rng: random.Random) -> None:
        self.folder, self.song, self.correction, self.rng = folder, song, correction, rng

    def cases(self) -> Iterator[list[str]]:
        """Draw for ever."""
        while True:
            kind = self.rng.random()
            if kind < 0.06:
                yield self._imported()
            elif kind < 0.12:
                yield self._corrected()
            else:
                yield from self._planned()

    def _file(self, ending: str, content: str) -> str:
        name = self.rng.choice(NAMES) if self.rng.random() < 0.3 else "a"
        path = self.folder / f"{name}{ending}"
        mark = "\ufeff" if self.rng.random() < 0.05 else ""
        path.write_bytes((mark + content).encode("utf-8", "surrogatepass"))
        return str(path)

    def _hurt(self, text: str) -> str:
        for _ in range(self.rng.choice((1, 1, 2, 5))):
            text = damaged(text, self.rng)
        return text

    def _imported(self) -> list[str]:
        return ["store", "import", self._file(".json", self._hurt(_exported(self.rng)))]

    def _corrected(self) -> list[str]:
        return ["correct", str(self.song), self._file(".json", self._hurt(self.correction))]

    def _planned(self) -> Iterator[list[str]]:
        rng = self.rng
        routine = PHRASED if rng.random() < 0.3 else rng.choice(ROUTINES).read_text("utf-8")
        whole = [routine, small_map(rng), SETTINGS]
        which = rng.randrange(4)
        if which < 3:
            whole[which] = self._hurt(whole[which])
        files = [
            self._file(ending, content)
            for ending, content in zip((".toml", ".json", ".set.toml"), whole, strict=True)
        ]
        if which == 0:
            yield ["check", files[0]]
        yield self._command(files, argued=which == 3)

    def _command(self, files: list[str], *, argued: bool) -> list[str]:
        rng = self.rng
        routine, song, settings = files
        named = ["--map", song, "--", routine]
        kind = rng.random()
        if kind < 0.1:
            return ["suits", "--settings", settings, *named]
        chosen = named if rng.random() < 0.7 else ["--map", song, "--counts", "32", "--walls", "4"]
        if kind < 0.5:
            words, own = ["fit", "--settings", settings], ARGUMENTS[:-1]
        else:
            words, own = self._writer()
        if argued:
            value = rng.choice((*NUMBERS, *TEXTS)).replace("\x00", "0")
            words += [rng.choice(own), value.encode("utf-8", "replace").decode()]
        return [*words, *chosen]

    def _writer(self) -> tuple[list[str], tuple[str, ...]]:
        rng = self.rng
        if rng.random() < SHEET_SHARE:
            words, ending, own = ("sheet", "--kind", "steps"), ".pdf", ()
        else:
            words, ending, own = rng.choice(WRITERS)
        target = self.folder / "out" / f"{rng.choice(NAMES)}{ending}"
        return (
            [*words, "--force", "--out", str(target)],
            own or ("--start-at", "--counts", "--walls", "--changes"),
        )
