"""``phrasefit new``: files from templates and from typed sheets."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from phrasefit.cli import app
from phrasefit.routine.check import check_routine
from phrasefit.routine.templates import TEMPLATES

SHEET = """\
Tin Whistle
16 counts, 2 walls
1-4 Vine right, touch
5-8 Vine left, touch
9-12 Rocking chair right
Wiggle
13-14 Pivot ½ left
15-16 Walk right, left
"""


def new(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(app, ["new", *map(str, arguments)])


@pytest.mark.parametrize("template", TEMPLATES)
def test_every_template_is_a_right_routine(template: str, tmp_path: Path) -> None:
    """What a person starts from has no mistake and no doubt, and the file's name."""
    target = tmp_path / "paper-ladders.toml"

    result = new(target, "--template", template)

    assert result.exit_code == 0
    routine, findings = check_routine(target)
    assert routine is not None and findings == ()
    assert routine.name == "Paper ladders"
    size = TEMPLATES[template].title
    assert str(routine.counts) in size or routine.sequence
    assert "phrasefit check" in result.stdout


def test_a_sheet_is_read_and_its_marked_lines_are_told(tmp_path: Path) -> None:
    """The file is made, each line that was not understood is said with its number: exit 1."""
    sheet, target = tmp_path / "sheet.txt", tmp_path / "tin.toml"
    sheet.write_text(SHEET, encoding="utf-8")

    result = new(target, "--from", sheet)

    assert result.exit_code == 1
    assert "7 of 8 lines" in result.stdout
    assert "line 6 not understood: Wiggle; no counts stand before it" in result.stderr
    routine, _ = check_routine(target.read_text(encoding="utf-8"))
    assert routine is not None and (routine.name, routine.walls) == ("Tin Whistle", 2)
    assert "# not understood, line 6 of the sheet: Wiggle" in target.read_text(encoding="utf-8")

    sheet.write_text(SHEET.replace("Wiggle\n", ""), encoding="utf-8")
    mended = new(target, "--from", sheet, "--force")
    assert mended.exit_code == 0 and mended.stderr == ""


def test_nothing_is_written_over(tmp_path: Path) -> None:
    """An existing file stays without --force; the sheet itself always."""
    target = tmp_path / "tin.toml"
    target.write_text("mine", encoding="utf-8")

    assert "add --force" in str(new(target).exception)
    assert target.read_text(encoding="utf-8") == "mine"
    assert new(target, "--force").exit_code == 0
    written = target.read_bytes()
    assert "the routine file itself" in str(new(target, "--from", target, "--force").exception)
    assert target.read_bytes() == written


def test_slips_are_told(tmp_path: Path) -> None:
    """An unknown template, both ways at once, a sheet that is not there."""
    target = tmp_path / "tin.toml"

    assert "32-4 (32 counts, 4 walls)" in str(new(target, "--template", "99").exception)
    both = new(target, "--template", "32-4", "--from", tmp_path / "sheet.txt")
    assert "exclude each other" in str(both.exception)
    assert "cannot be read" in str(new(target, "--from", tmp_path / "no.txt").exception)
    assert not target.exists()
