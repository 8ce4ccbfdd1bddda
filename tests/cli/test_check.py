"""``phrasefit check``: findings with lines, the summary, JSON, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import phrasefit
from phrasefit.cli import app

EXAMPLES = Path(phrasefit.__file__).parent / "routines"
BAD = '''\
name = "Bent Nail"
counts = 8
walls = 4
steps = """
1-4 | walk | R L L R |
5-8 | hold
"""
'''


def check(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(app, ["check", *map(str, arguments)])


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    """Write a routine with a foot and a wall mistake."""
    path = tmp_path / "bent nail.toml"
    path.write_text(BAD, encoding="utf-8")
    return path


def test_a_right_routine_is_summed_up() -> None:
    """Counts, walls, facing after every 8, weight, restarts and turn load are shown."""
    result = check(EXAMPLES / "borrowed-teaspoons.toml")

    assert result.exit_code == 0
    for words in (
        "no mistakes, no doubts",
        "32 counts, 4 walls",
        "12:00, 3:00, 6:00, 9:00",
        "begins      on the right foot",
        "after  16    6:00  back wall           left foot free",
        "after   8   12:00  on count 8 touch the right foot instead of stepping on it",
        "after  12    6:00  no change of step",
        "full turns a minute at 124 counts a minute",
        "tags of 2, 4, 8, 16 counts may be added",
    ):
        assert words in result.stdout


def test_a_waltz_is_shown_in_sixes() -> None:
    """Sections of a waltz have six counts."""
    result = check(EXAMPLES / "mill-pond-waltz.toml")

    assert "waltz, in sixes" in result.stdout
    assert "after  30    9:00  left wall" in result.stdout


def test_a_phrased_routine_is_shown_by_part() -> None:
    """Parts, their order and their length in all are shown."""
    result = check(EXAMPLES / "two-lanterns.toml")

    assert "A A B A A B B: 176 counts" in result.stdout
    assert "part B: 16 counts, no turn" in result.stdout


def test_mistakes_are_listed_with_lines_and_exit_code_2(bad: Path) -> None:
    """All mistakes, then what follows from the file as it stands."""
    result = check(bad)

    assert result.exit_code == 2
    assert "error    line 3: the file says walls = 4" in result.stdout
    assert "error    line 5: count 3 steps on the left foot" in result.stdout
    assert "2 mistakes to fix, 1 doubt to decide on" in result.stdout
    assert "Bent Nail   (as the file stands, mistakes included)" in result.stdout


def test_doubts_alone_do_not_fail(tmp_path: Path) -> None:
    """Warnings are for a person to decide on: exit code 0."""
    path = tmp_path / "short.toml"
    path.write_text("counts = 8\nwalls = 2\n", encoding="utf-8")

    result = check(path)

    assert result.exit_code == 0
    assert "warning  line 1: 8 counts are unusual" in result.stdout
    assert "feet not known" in result.stdout


def test_one_bad_file_does_not_stop_the_others(bad: Path, tmp_path: Path) -> None:
    """Files that cannot be read are told; the rest are checked."""
    result = check(tmp_path / "missing.toml", bad, EXAMPLES / "first-gate.toml")

    assert result.exit_code == 2
    assert "this file cannot be read (No such file or directory)" in result.stdout
    assert "no turn, every repetition faces 12:00" in result.stdout
    assert "Traceback" not in result.output


def test_json_goes_to_standard_output_alone(bad: Path) -> None:
    """``--json -`` prints one document and nothing else."""
    result = check(bad, EXAMPLES / "lighthouse-laundry.toml", "--json", "-")
    document = json.loads(result.stdout)
    wrong, right = document["files"]

    assert result.exit_code == 2
    assert document["format"] == "phrasefit-check"
    assert (wrong["errors"], wrong["warnings"]) == (2, 1)
    assert {finding["line"] for finding in wrong["findings"]} == {2, 3, 5}
    assert (right["routine"]["counts"], right["routine"]["walls"]) == (64, 2)
    part = right["routine"]["parts"][0]
    assert len(part["facing"]) == len(part["free_foot"]) == 64
    assert part["restarts"][0] == {"after_count": 16, "facing": "3:00", "step_change": ""}
    assert part["steps"][1]["counts"] == ["3", "3&", "4"]
    assert part["steps"][1]["feet"] == ["R", "L", "R"]
    assert right["routine"]["tags"][0] == {"name": "look back", "counts": 4, "turn_deg": -180}


def test_json_is_written_to_a_file_once(tmp_path: Path) -> None:
    """A file is never replaced without --force, and refused before any work."""
    target = tmp_path / "found.json"
    example = EXAMPLES / "first-gate.toml"

    first = check(example, "--json", target)
    written = target.read_bytes()
    second = check(example, "--json", target)
    third = check(example, "--json", target, "--force")

    assert json.loads(written)["files"][0]["errors"] == 0
    assert (first.exit_code, third.exit_code) == (0, 0)
    assert second.exit_code != 0 and "add --force" in str(second.exception)
    assert target.read_bytes() == written
