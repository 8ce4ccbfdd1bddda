"""``phrasefit correct``: files from the page are checked, applied once, and forgotten."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from typer.testing import CliRunner, Result

from drums import played
from phrasefit.cli import app
from phrasefit.corrections.document import read_correction, read_saved
from phrasefit.errors import MapError, ParameterError, PhrasefitError
from phrasefit.fields import Fields
from phrasefit.model import Correction

SCHEMA = json.loads(
    files("phrasefit").joinpath("schemas/correction.schema.json").read_text("utf-8")
)


def run(*arguments: object) -> Result:
    """Run phrasefit."""
    return CliRunner().invoke(app, [*map(str, arguments)])


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Listen to a song once; the filled cache stands beside it."""
    folder = tmp_path_factory.mktemp("heard")
    played(folder / "barn door.wav", bpm=120, seconds=30)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PHRASEFIT_DATA", str(folder / "data"))
        result = run(
            "page", folder / "barn door.wav", "--counts", 16, "--out", folder / "page.html"
        )
    assert result.exit_code == 0, result.exception
    return folder


@pytest.fixture
def barn_door(prepared: Path, private_cache: Path) -> Path:
    """Give the song, with what was heard in this test's own cache."""
    shutil.copytree(prepared / "data", private_cache, dirs_exist_ok=True)
    return prepared / "barn door.wav"


def saved_in(page: Path) -> dict[str, Any]:
    """Read from a page what it would write into a correction file."""
    text = page.read_text("utf-8").split('id="plan">', 1)[1].split("</script>", 1)[0]
    return {"format": "phrasefit-correction", "version": 2, **json.loads(text)["save"]}


@pytest.fixture
def write(prepared: Path, tmp_path: Path) -> Callable[..., Path]:
    """Write a correction file as the page does, with these changes."""

    def write_file(name: str = "c.json", **change: object) -> Path:
        document = {**saved_in(prepared / "page.html"), "change": change}
        jsonschema.validate(document, SCHEMA)
        path = tmp_path / name
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return write_file


def heard(song: Path) -> dict[str, Any]:
    """Give the bar map as all later commands see it."""
    return json.loads(run("map", song, "--json", "-").stdout)


def test_a_correction_is_applied_and_kept(barn_door: Path, write: Callable) -> None:
    """Beats move by the nudge, ones by the shift; what was done is said."""
    before = heard(barn_door)
    result = run("correct", barn_door, write(shift_one_beats=1, nudge_s=0.01))
    after = heard(barn_door)

    assert result.exit_code == 0, result.exception
    assert "corrected: all beats later by 10 ms, every one later by 1 beat" in result.stdout
    assert after["positions"][1:] == before["positions"][:-1]
    assert np.allclose(np.subtract(after["beats_s"], before["beats_s"])[1:], 0.01)
    listed = run("correct", barn_door).stdout
    assert "all beats later by 10 ms, every one later by 1 beat" in listed
    assert run("correct", barn_door, "--forget").exit_code == 0
    assert heard(barn_door) == before
    assert "no corrections are kept" in run("correct", barn_door).stdout


def test_applying_twice_is_noticed(barn_door: Path, write: Callable) -> None:
    """The second time nothing changes, and the reason is told."""
    file = write(shift_one_beats=1)
    run("correct", barn_door, file)
    once = heard(barn_door)
    again = run("correct", barn_door, file)

    assert isinstance(again.exception, MapError)
    assert "has been applied to" in str(again.exception)
    assert heard(barn_door) == once


def test_a_newer_correction_is_not_overrun(barn_door: Path, write: Callable) -> None:
    """A file made before another correction is refused; after --forget it goes."""
    file = write(shift_one_beats=1)
    run("map", barn_door, "--nudge", 20)
    refused = run("correct", barn_door, file)

    assert "before other corrections" in str(refused.exception)
    assert "all beats later by 20 ms" in str(refused.exception)
    run("correct", barn_door, "--forget")
    assert run("correct", barn_door, file).exit_code == 0


def test_a_correction_builds_on_the_one_before(
    barn_door: Path, write: Callable, tmp_path: Path
) -> None:
    """A page made after a correction saves a change relative to it."""
    run("correct", barn_door, write(shift_one_beats=1))
    page = tmp_path / "again.html"
    run("page", barn_door, "--counts", 16, "--out", page)
    document = saved_in(page)
    assert document["based_on"] == {"shift_one_beats": 1}
    file = tmp_path / "second.json"
    file.write_text(json.dumps({**document, "change": {"shift_one_beats": 1}}))
    result = run("correct", barn_door, file)

    assert result.exit_code == 0, result.exception
    assert "every one later by 2 beats" in run("correct", barn_door).stdout


def test_other_songs_and_other_beats_are_refused(
    barn_door: Path, write: Callable, tmp_path: Path
) -> None:
    """A correction goes to its own song only, and to the beats that were looked at."""
    file = write(shift_one_beats=1)
    other = played(tmp_path / "another.wav", bpm=100, seconds=20)
    refused = run("correct", other, file)
    document = json.loads(file.read_text())
    file.write_text(json.dumps({**document, "shown": "0" * 16}))
    moved = run("correct", barn_door, file)

    assert "was made for 'barn door'" in str(refused.exception)
    assert "was made from other beats" in str(moved.exception)


def test_level_and_marks_are_taken_over(barn_door: Path, write: Callable) -> None:
    """A section where it was heard; half as many beats."""
    before = heard(barn_door)
    mark_s = before["beats_s"][before["positions"].index(1, len(before["beats_s"]) // 2)]
    marked = run("correct", barn_door, write(sections_at_s=[mark_s]))
    after = heard(barn_door)
    run("correct", barn_door, "--forget")
    halved = run("correct", barn_door, write(level=0.5))

    assert (marked.exit_code, halved.exit_code) == (0, 0)
    assert mark_s in [section["start_s"] for section in after["sections"]]
    assert "half as many beats counted" in halved.stdout
    assert heard(barn_door)["tempo_bpm"] == pytest.approx(before["tempo_bpm"] / 2)


def test_names_and_singing_are_kept_shown_and_taken_back(barn_door: Path, write: Callable) -> None:
    """By file or by option: map and list show them, and the map validates."""
    filed = run("correct", barn_door, write(section_names=[{"at_s": 3, "name": "verse"}]))
    typed = run("correct", barn_door, "--name-section", "0:02 first verse", "--singing-at", "0:09")
    kept = run("correct", barn_door).stdout
    shown = run("map", barn_door).stdout
    document = heard(barn_door)

    assert (filed.exit_code, typed.exit_code) == (0, 0), typed.exception
    assert 'the section at 0:03.00 called "verse"' in filed.stdout
    assert "singing from 0:09.00 on" in kept and 'called "first verse"' in kept
    assert '"verse"' not in kept  # the later name for that section holds
    assert "first verse" in shown and "singing   from 0:09" in shown
    assert (document["sections"][0]["name"], document["singing_at_s"]) == ("first verse", 9.0)
    jsonschema.validate(
        document, json.loads(files("phrasefit").joinpath("schemas/map.schema.json").read_text())
    )
    run("correct", barn_door, "--name-section", "0:02", "--no-singing")
    assert "no corrections are kept" in run("correct", barn_door).stdout


def test_options_that_contradict(barn_door: Path, write: Callable) -> None:
    """Each is refused with a sentence, and nothing is changed."""
    for words, reason in (
        (("--singing-at", "9", "--no-singing"), "contradict"),
        (("--name-section", "chorus"), "is not a time"),
        (("--name-section", "0:23 " + "x" * 21), "20 are the most"),
        (("--singing-at", "9:59"), "outside the song"),
        ((write(shift_one_beats=1), "--singing-at", "9"), "not both"),
    ):
        assert reason in str(run("correct", barn_door, *words).exception), words
    assert "no corrections are kept" in run("correct", barn_door).stdout


def test_arguments_that_contradict(barn_door: Path, write: Callable) -> None:
    """A file and --forget, an untouched file, a missing file."""
    both = run("correct", barn_door, write(shift_one_beats=1), "--forget")
    nothing = run("correct", barn_door, write())
    missing = run("correct", barn_door, "nowhere.json")

    assert isinstance(both.exception, ParameterError)
    assert "changes nothing" in str(nothing.exception)
    assert "no such file" in str(missing.exception)


# Each entry: where in the document, what is put there (`...` removes it), a word of the error.
MISTAKES = [
    ((), [], "no correction file"),
    (("format",), "phrasefit-map", "no correction file"),
    (("version",), 3, "version 3"),
    (("shown",), ..., "shown is missing"),
    (("shown",), "xyz", 'shown = "xyz"'),
    (("song",), "me", "song must be"),
    (("song", "duration_s"), 0, "duration_s = 0"),
    (("song", "content_hash"), "ab", "content_hash"),
    (("song", "path"), "/tmp", '"path" is no key of it'),
    (("extra",), 1, '"extra" is no key of it'),
    (("change", "level"), 3, "level = 3 must be 0.25"),
    (("change", "level"), True, "level = True"),
    (("change", "meter"), 5, "meter = 5"),
    (("change", "shift_one_beats"), 1.5, "shift_one_beats = 1.5"),
    (("change", "shift_one_beats"), 65, "from -64 to 64"),
    (("change", "nudge_s"), "10", 'nudge_s = "10"'),
    (("change", "nudge_s"), 2, "from -1 to 1"),
    (("change", "ones_at_s"), [-1], "ones_at_s"),
    (("change", "sections_at_s"), [1, "2"], "sections_at_s"),
    (("change", "sections_at_s"), [0] * 1001, "at most 1000"),
    (("change", "odd_bars"), [{"at_s": 1, "beats": 1}], "beats = 1"),
    (("change", "odd_bars"), [{"at_s": 1}], "beats = None"),
    (("change", "section_names"), [{"name": "verse"}], "at_s = None"),
    (("change", "section_names"), [{"at_s": -1, "name": "verse"}], "at_s = -1"),
    (("change", "section_names"), [{"at_s": 1, "name": "x" * 21}], "at most 20 letters"),
    (("change", "section_names"), [{"at_s": 1, "name": 7}], "name = 7"),
    (("change", "section_names"), [{"at_s": 1, "letter": "A"}], '"letter" is no key of it'),
    (("change", "section_names"), [{"at_s": 1, "name": "a"}] * 1001, "at most 1000"),
    (("change", "singing_at_s"), -0.5, "singing_at_s = -0.5"),
    (("change", "singing_at_s"), [9], "singing_at_s = [9]"),
    (("change", "no_singing"), 1, "no_singing = 1"),
    (("based_on", "swing"), 0.6, '"swing" is no key of it'),
]


@pytest.mark.parametrize(("place", "value", "words"), MISTAKES)
def test_schema_and_program_refuse_the_same(
    place: tuple[str, ...], value: object, words: str, tmp_path: Path
) -> None:
    """Every mistake is refused by the shipped schema (reference validator) and by us."""
    document: Any = {
        "format": "phrasefit-correction",
        "version": 2,
        "song": {"content_hash": "a" * 64, "title": "t", "duration_s": 30.5},
        "shown": "b" * 16,
        "based_on": {},
        "change": {"level": 0.5, "sections_at_s": [1.5], "odd_bars": [{"at_s": 3, "beats": 2}]},
    }
    path = tmp_path / "c.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    jsonschema.validate(document, SCHEMA)
    assert read_saved(path).change.level == 0.5

    inner = document
    for key in place[:-1]:
        inner = inner[key]
    if not place:
        document = value
    elif value is ...:
        del inner[place[-1]]
    else:
        inner[place[-1]] = value
    path.write_text(json.dumps(document), encoding="utf-8")

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, SCHEMA)
    with pytest.raises(PhrasefitError) as refused:
        read_saved(path)
    assert words in str(refused.value)
    assert str(path) in str(refused.value)


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"format": NaN}'])
def test_files_that_are_no_corrections(text: str, tmp_path: Path) -> None:
    """Broken files are refused by name."""
    path = tmp_path / "c.json"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(MapError, match=r"c\.json"):
        read_saved(path)


def test_what_the_first_version_kept_is_read() -> None:
    """One time that is a one, and times before all beats were moved."""
    kept = {
        "level": None, "meter": 3, "one_at_s": 4.5, "shift_one_beats": 0, "nudge_s": 0.02,
        "sections_at_s": [8.0], "no_section_at_s": [],
    }  # fmt: skip

    assert read_correction(Fields("kept", kept)) == Correction(
        meter=3, ones_at_s=(4.52,), nudge_s=0.02, sections_at_s=(8.02,)
    )
