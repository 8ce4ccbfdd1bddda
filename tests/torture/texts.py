"""Damaged and hostile texts and names: routines, bar maps, settings, corrections, arguments.

``python tests/torture/texts.py [N] [--seed S]`` runs N cases (10,000) in this process and
prints what came of them.  A case is right if the program ends with 0, or with 1 or 2 and a
line on standard error that is no traceback, within `MOST_S`, and if what it wrote can be
read back.  `text_cases.py` draws the cases; the short run of the build is `test_texts.py`.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import csv
import io
import json
import random
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass, replace
from pathlib import Path

import mido
import pytest
import soundfile
from text_cases import Drawing

sys.path.insert(0, str(Path(__file__).parent.parent))

from phrasefit import pipeline
from phrasefit.cli import _edge, app
from phrasefit.corrections.document import FORMAT, VERSION
from phrasefit.reports.page import fingerprint
from phrasefit.serial import encode
from phrasefit.store import Store
from synth import make_song

MOST_S = 2.0  # of processor time, for any text; a sheet is drawn in about one
MOST_ERROR = 3000  # signs on standard error
FORMULAS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Outcome:
    """What a run left: its exit code, what it wrote, how long it took, how it broke."""

    code: int
    out: str
    err: str
    seconds: float
    broke: str = ""
    spoilt: str = ""

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
        if any(ord(sign) < 32 and sign != "\n" for sign in self.err + self.out):
            return "control signs on the terminal"
        if "two\nlines" in self.err + self.out:
            return "a line break of a name on the terminal"
        if self.spoilt:
            return self.spoilt
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


# ------------------------------------------------------------------ what was written


def spoilt(target: Path) -> str:
    """Why a file that was written is not what its ending says; empty if it is."""
    content = target.read_bytes()
    if target.suffix == ".jams":
        json.loads(content)
    elif target.suffix == ".mid":
        mido.MidiFile(file=io.BytesIO(content))
    elif target.suffix == ".csv":
        rows = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""))
        cells = {cell for row in rows for cell in row}
        return "a formula in a CSV" if any(cell.startswith(FORMULAS) for cell in cells) else ""
    elif target.suffix in (".vtt", ".srt", ".html"):
        text = content.decode("utf-8")
        controls = set(map(chr, range(32))) - set("\t\n\r")
        return "control signs in a file" if controls & set(text) else ""
    return ""


def judged(words: list[str]) -> Outcome:
    """Run a command line, and look at the file that it wrote."""
    outcome = run(words)
    if outcome.fault or outcome.code or "--out" not in words:
        return outcome
    try:
        fault = spoilt(Path(words[words.index("--out") + 1]))
    except (OSError, ValueError) as exc:
        fault = f"a file that cannot be read back ({type(exc).__name__})"
    return replace(outcome, spoilt=fault)


# ------------------------------------------------------------------ many of them


def heard_song(folder: Path) -> tuple[Path, str]:
    """Make a song, listen to it, and write the correction file that its page would save."""
    song = make_song("4*24", bpm=112.0)
    path = folder / "song.wav"
    soundfile.write(path, song.samples, song.rate_hz)
    with Store() as store:
        analysis = pipeline.analyse(path, store=store)
    untouched = encode(pipeline.UNTOUCHED)
    document = {
        "format": FORMAT,
        "version": VERSION,
        "song": {
            "content_hash": analysis.info.content_hash,
            "title": analysis.bar_map.title,
            "duration_s": analysis.info.duration_s,
        },
        "shown": fingerprint(analysis.bar_map),
        "based_on": untouched,
        "change": untouched | {"shift_one_beats": 1, "sections_at_s": [4.0]},
    }
    return path, json.dumps(document)


def torture(n: int, seed: int) -> tuple[collections.Counter[str], dict[str, list[str]]]:
    """Run `n` cases; count exit codes and faults, and keep one example of each fault."""
    counts: collections.Counter[str] = collections.Counter()
    examples: dict[str, list[str]] = {}
    with (
        tempfile.TemporaryDirectory(prefix="phrasefit-texts-") as name,
        pytest.MonkeyPatch.context() as patch,
    ):
        folder = Path(name)
        patch.setenv("PHRASEFIT_DATA", str(folder / "data"))
        (folder / "texts" / "out").mkdir(parents=True)
        drawn = Drawing(folder / "texts", *heard_song(folder), random.Random(seed)).cases()
        for i in range(n):
            if i % 1000 == 0 and i:
                print(f"{i} cases, {len(examples)} kinds of faults", file=sys.stderr, flush=True)
            words = next(drawn)
            outcome = judged(words)
            counts[f"{words[0]}, exit {outcome.code}"] += 1
            if outcome.fault:
                counts[outcome.fault] += 1
                if outcome.fault not in examples:
                    files = {
                        path.name: path.read_bytes()[:300]
                        for path in map(Path, words)
                        if len(str(path)) < 300 and path.is_file()
                    }
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
