"""The scripts that measure the planner: they skip without songs, and measure made-up ones."""

from __future__ import annotations

import gzip
import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType

import pytest

TESTS = Path(__file__).parent.parent


def load_script(name: str) -> ModuleType:
    """Import a script of the tests by its path."""
    spec = importlib.util.spec_from_file_location(Path(name).stem + "_script", TESTS / name)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up by name
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def harmonix() -> ModuleType:
    """The script that plans over the Harmonix bar maps."""
    return load_script("accuracy/harmonix.py")


def made_up_song(*bars_of_section: tuple[str, int], meter: int = 4) -> dict:
    """Write a song in the form of the set: a beat each half second, labels, an end."""
    n_bars = sum(bars for _, bars in bars_of_section)
    starts, bar = [], 0
    for label, bars in bars_of_section:
        starts.append([bar * meter / 2, label])
        bar += bars
    return {
        "genre": "Pop",
        "beats_s": [i / 2 for i in range(n_bars * meter)],
        "positions": [i % meter + 1 for i in range(n_bars * meter)],
        "sections": [*starts, [n_bars * meter / 2, "end"]],
    }


def test_skips_without_the_songs(harmonix, tmp_path, capsys) -> None:
    """No folder, or none with songs in it: a message, not a failure."""
    assert harmonix.main([]) == 0
    assert harmonix.main([str(tmp_path)]) == 0
    assert capsys.readouterr().out.count("skipped: the Harmonix bar maps are not there") == 2


def test_measures_songs(harmonix, tmp_path, capsys) -> None:
    """Of two songs one is square, one fits with one change."""
    square = made_up_song(("intro", 8), ("verse", 16), ("chorus", 16), ("verse", 16), ("outro", 8))
    odd = made_up_song(
        ("intro", 8), ("verse", 17), ("chorus", 16), ("verse", 16), ("chorus", 16), ("outro", 8)
    )
    waltz = made_up_song(("intro", 8), ("verse", 16), ("chorus", 16), ("outro", 8), meter=3)
    with gzip.open(tmp_path / "songs.jsonl.gz", "wt", encoding="utf-8") as out:
        out.writelines(json.dumps(song) + "\n" for song in (square, odd, waltz))

    assert harmonix.main([str(tmp_path), "--counts", "32"]) == 0

    printed = capsys.readouterr().out
    assert "3 songs, 2 in fours" in printed
    assert "32 counts  50.0 (18)" in printed
    rows = [line.split("|") for line in printed.splitlines() if line.startswith("  all ")]
    assert rows[0][1].split() == ["50.0", "100.0", "100.0", "100.0"]
    assert rows[0][3].split() == ["50.0", "50.0", "0.0", "0.0"]
    assert "tag 4: 100 %" in printed
    assert rows[1][1].split() == ["100.0"] * 4


def test_section_edges_are_taken_to_downbeats(harmonix) -> None:
    """An edge half-way between two downbeats belongs to the later one."""
    row = made_up_song(("intro", 8), ("verse", 8))
    row["sections"][1][0] += 1.0  # two beats late, in bars of four beats of half a second

    song = harmonix._song(row)

    assert [s.start_beat for s in song.bar_map.sections] == [0, 36]


def test_the_bench_runs(capsys) -> None:
    """One line for each routine."""
    assert load_script("bench/planner.py").main(["--repeats", "1"]) == 0
    assert capsys.readouterr().out.count("median") == 5
