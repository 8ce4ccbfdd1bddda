"""Damaged and hostile texts: routines, bar maps, settings, arguments.

``python tests/torture/texts.py [N] [--seed S]`` runs N cases (10,000) in this process and
prints what came of them.  A case is right if the program ends with 0, or with 1 or 2 and a
line on standard error that is no traceback, within `MOST_S`.  The short run of the build is
`test_texts.py`.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import io
import json
import random
import re
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from phrasefit.cli import _edge, app

MOST_S = 2.0  # of processor time, for any text
MOST_ERROR = 3000  # signs on standard error
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


@dataclass(frozen=True)
class Outcome:
    """What a run left: its exit code, what it wrote, how long it took, how it broke."""

    code: int
    out: str
    err: str
    seconds: float
    broke: str = ""

    @property
    def fault(self) -> str:
        """Why this is not what was promised; empty if it is."""
        if self.broke:
            return "traceback: " + self.broke.strip().rsplit("\n", 1)[-1][:120]
        if self.code not in (0, 1, 2):
            return f"exit code {self.code}"
        if self.code == 2 and not self.err and not self.out:
            return "exit code 2 without a word"
        if len(self.err) > MOST_ERROR:
            return f"a message of {len(self.err)} signs"
        if any(ord(sign) < 32 and sign not in "\n\r" for sign in self.err):
            return "control signs in a message"
        return f"took {self.seconds:.1f} s" if self.seconds > MOST_S else ""


def run(words: list[str]) -> Outcome:
    """Run the program in this process."""
    out, err = io.StringIO(), io.StringIO()
    begin, code, broke = time.process_time(), 0, ""
    argv, sys.argv = sys.argv, ["phrasefit", *words]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            _edge.run(app)
    except SystemExit as exc:
        code = exc.code if isinstance(exc.code, int) else int(exc.code is not None)
    except BaseException:
        broke = traceback.format_exc()
    finally:
        sys.argv = argv
    return Outcome(code, out.getvalue(), err.getvalue(), time.process_time() - begin, broke)


# ------------------------------------------------------------------ drawn texts


def damaged(text: str, rng: random.Random) -> str:
    """Damage a text in one of the ways that texts are damaged, and attacked."""
    where = rng.randrange(len(text) + 1)
    kind = rng.randrange(9)
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
        return (
            text[:where]
            + text[where:][: rng.randrange(1, 200)] * rng.choice((2, 50))
            + text[where:]
        )
    if kind == 6:
        return re.sub(
            r'"[^"\n]*"', lambda _: json.dumps(rng.choice(TEXTS)), text, count=rng.randrange(1, 4)
        )
    numbers = list(re.finditer(r"-?\d+(\.\d+)?", text))
    if not numbers:
        return text
    hit = rng.choice(numbers)
    return text[: hit.start()] + rng.choice(NUMBERS) + text[hit.end() :]


def small_map(rng: random.Random) -> str:
    """Write a bar map by hand."""
    n, gap = rng.choice((2, 160, 400, 400)), rng.choice((0.5, 0.35, 1.2))
    document = {
        "beats_s": [round(i * gap, 3) for i in range(n)],
        "positions": [i % 4 + 1 for i in range(n)],
        "meter": 4,
        "title": "Drawn",
        "tempo_bpm": 120.0,
        "sections": [{"start_s": 0.0, "letter": "A", "strength": 0.9}],
        "confidence": {"beats": 0.9, "downbeat": 0.5},
        "alternatives": [],
        "notes": ["by hand"],
    }
    return json.dumps(document)


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


def cases(folder: Path, rng: random.Random) -> Iterator[list[str]]:
    """Draw command lines with their files for ever."""
    routine, song, settings = (folder / n for n in ("r.toml", "m.json", "s.toml"))
    while True:
        text = rng.choice(ROUTINES).read_text("utf-8")
        whole = [text, small_map(rng), SETTINGS]
        which = rng.randrange(4)
        if which < 3:
            for _ in range(rng.choice((1, 1, 2, 5))):
                whole[which] = damaged(whole[which], rng)
        for path, content in zip((routine, song, settings), whole, strict=True):
            path.write_bytes(content.encode("utf-8", "surrogatepass"))
        if which == 0:
            yield ["check", str(routine)]
        fit = ["fit", "--map", str(song)]
        chosen = [str(routine)] if rng.random() < 0.7 else ["--counts", "32", "--walls", "4"]
        if which == 3:
            name = rng.choice(("--start-at", "--intro", "--max-changes", "--counts", "--walls"))
            value = rng.choice((*NUMBERS, *TEXTS)).replace("\x00", "0")
            chosen += [name, value.encode("utf-8", "replace").decode()]
        yield [*fit, *chosen, "--settings", str(settings)]


def torture(n: int, seed: int) -> tuple[collections.Counter[str], dict[str, list[str]]]:
    """Run `n` cases; count exit codes and faults, and keep one example of each fault."""
    counts: collections.Counter[str] = collections.Counter()
    examples: dict[str, list[str]] = {}
    with tempfile.TemporaryDirectory(prefix="phrasefit-texts-") as name:
        folder = Path(name)
        drawn = cases(folder, random.Random(seed))
        for _ in range(n):
            words = next(drawn)
            outcome = run(words)
            counts[f"exit {outcome.code}"] += 1
            if outcome.fault:
                counts[outcome.fault] += 1
                if outcome.fault not in examples:
                    files = {p.name: p.read_bytes()[:300] for p in folder.iterdir()}
                    examples[outcome.fault] = [*words, str(files), outcome.broke[-1500:]]
    return counts, examples


def main() -> None:
    """Run as many cases as asked for; end with 1 if any was not right."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("n", nargs="?", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="Show an example of each fault.")
    asked = parser.parse_args()
    counts, examples = torture(asked.n, asked.seed)
    for what, number in counts.most_common():
        print(f"{number:>7}  {what}")
    if asked.show:
        for fault, example in examples.items():
            print(f"\n== {fault}", *example, sep="\n")
    sys.exit(bool(examples))


if __name__ == "__main__":
    main()
