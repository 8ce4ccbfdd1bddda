"""What comes from outside has stated ranges, and what is written destroys and deceives nobody."""

from __future__ import annotations

import csv
import io
import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import mido
import pytest

from in_process import Program
from phrasefit.batch import BatchReport
from phrasefit.errors import ParameterError
from phrasefit.fields import MOST_LETTERS
from phrasefit.files import safe_stem
from phrasefit.fit.settings import Settings
from phrasefit.reports.spreadsheet import csv_text

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
TEASPOONS = ROUTINES / "borrowed-teaspoons.toml"
NUMBERS = ("--counts", 32, "--walls", 4)
N_BEATS = 400


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


def written(path: Path, **changed: object) -> Path:
    """Write a bar map of 400 beats at 120, some of its keys changed."""
    document = {
        "beats_s": [0.5 * i for i in range(N_BEATS)],
        "positions": [i % 4 + 1 for i in range(N_BEATS)],
        "title": "Porch",
    }
    path.write_text(json.dumps(document | changed))
    return path


def with_hole(seconds: float) -> list[float]:
    """Beats at 120 with a silence in their middle."""
    half = [0.5 * i for i in range(N_BEATS // 2)]
    return half + [half[-1] + seconds + time for time in half]


# --------------------------------------------------------------- what is not destroyed


def test_inputs_are_protected_before_the_work(
    program: Program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Song, map and routine are no place for a result, even with --force, and nothing is heard."""

    def never(*_: object, **__: object) -> None:
        raise AssertionError("it listened first")

    monkeypatch.setattr("phrasefit.pipeline.analyse", never)
    song = tmp_path / "song.wav"
    song.write_bytes(b"music")
    routine = tmp_path / "routine.toml"
    routine.write_bytes(TEASPOONS.read_bytes())
    bar_map = written(tmp_path / "map.json")

    for words, what in (
        (("practice", song, *NUMBERS, "--out", song), "is the song itself"),
        (("fit", song, routine, "--json", routine), "is the routine file itself"),
        (("fit", "--map", bar_map, *NUMBERS, "--json", bar_map), "is the bar map itself"),
        (("rank", tmp_path, *NUMBERS, "--csv", song), "itself; choose another name"),
    ):
        before = [path.read_bytes() for path in (song, routine, bar_map)]
        assert what in program(*words, "--force", expect=2).err
        assert [path.read_bytes() for path in (song, routine, bar_map)] == before


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can make a device")
def test_results_go_into_a_device_of_our_own(program: Program, tmp_path: Path) -> None:
    """A device like /dev/null, made here, takes a result with --force and stays a device."""
    device = tmp_path / "null"
    try:
        os.mknod(device, 0o666 | stat.S_IFCHR, os.makedev(1, 3))
        device.write_bytes(b"")
    except PermissionError:
        pytest.skip("no devices can be made here")

    program("fit", "--map", written(tmp_path / "m.json"), *NUMBERS, "--json", device, "--force")

    assert stat.S_ISCHR(device.stat().st_mode)


# ------------------------------------------------------------------- stated ranges


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"meter": 3.0}, "meter = 3.0 must be a whole number"),
        ({"duration_s": 0}, "duration_s = 0 must be a number"),
        ({"tempo_bpm": 1}, "tempo_bpm = 1 must be a number"),
        ({"beats_s": with_hole(80_000)}, "no beat for 1333 minutes"),
        ({"title": "t" * 1_000_000}, f"at most {MOST_LETTERS} letters"),
        ({"notes": ["n" * 1_000_000]}, f"at most {MOST_LETTERS} letters"),
        ({"phrases": [{"start_s": 0}] * 100_000}, "phrases lists 100000"),
        ({"sections": [{"start_s": 0}] * 100_000}, "sections lists 100000"),
        ({"alternatives": [{}] * 101}, "alternatives lists 101"),
    ],
    ids=lambda value: "",
)
def test_maps_out_of_range(
    changed: dict[str, object], words: str, program: Program, tmp_path: Path
) -> None:
    """Each value has a range, each list and text a size."""
    assert words in program("fit", "--map", written(tmp_path / "m.json", **changed), *NUMBERS,
                            expect=2).err  # fmt: skip


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("fit", *NUMBERS[:2], "--walls", 0), "walls=0"),
        (("captions", *NUMBERS, "--offset", "nan"), "offset=nan"),
        (("captions", *NUMBERS, "--offset", "inf"), "offset=inf"),
        (("captions", *NUMBERS, "--offset", "1e300"), "offset=1e+300"),
        (("practice", *NUMBERS, "--percent", "75,75"), "names one tempo twice"),
        (("practice", *NUMBERS, "--tempo", "nan"), "tempo=nan"),
        (("practice", *NUMBERS, "--out", "x.txt"), "is no audio format known here"),
        (("fit", *NUMBERS, "--start-at", "9" * 30), "is not a time"),
        (("fit", *NUMBERS, "--start-at", "9:99"), '"9:99" is not a time, as 60 or more stand'),
        (("fit", *NUMBERS, "--tag-at", "1:75:00"), '"1:75:00" is not a time, as 60 or more stand'),
        (
            ("fit", *NUMBERS, "--start-at", "75:30"),
            "1:15:30.0 lies outside the counted song; give a",
        ),
        (("sheet", *NUMBERS, "--per-page", 2), "--per-page goes with --kind dj only"),
    ],
)
def test_options_out_of_range(
    words: tuple[object, ...], message: str, program: Program, tmp_path: Path
) -> None:
    """Nonsense is refused with the value it was."""
    done = program(*words, "--map", written(tmp_path / "m.json"), expect=2)

    assert message in done.err


def test_a_one_moved_out_of_the_song(program: Program, tmp_path: Path) -> None:
    """A shift of more beats than a song has is refused before anything is heard."""
    done = program("map", tmp_path / "none.wav", "--shift-one", 10**20, expect=2)

    assert "--shift-one" in done.err


@pytest.mark.parametrize("low", ["true", '"90"', "nan", "5", "9" * 400])
def test_tempo_rows_out_of_range(low: str, tmp_path: Path) -> None:
    """A range of one's own is of numbers that people dance to."""
    path = tmp_path / "own.toml"
    path.write_text(f'[[tempo]]\nmeter = 4\nlow = {low}\nhigh = 120\nsource = "the club"\n')

    with pytest.raises(ParameterError, match=r"low=.* must be 20 to 400"):
        Settings.load(path)


def test_practice_has_a_longest(program: Program, tmp_path: Path) -> None:
    """Three hours are refused before they are made, and their size is told first."""
    long = written(
        tmp_path / "m.json",
        beats_s=[0.5 * i for i in range(21_600)],
        positions=[i % 4 + 1 for i in range(21_600)],
    )

    done = program("practice", "--map", long, *NUMBERS, expect=2)

    assert "MB as WAV" in done.err and "2 are the most" in done.err


@pytest.mark.parametrize("positions", [[2] * N_BEATS, [1] + [2] * (N_BEATS - 1)])
@pytest.mark.parametrize("gap_s", [0.5, 61.0])
def test_midi_of_odd_maps(
    positions: list[int], gap_s: float, program: Program, tmp_path: Path
) -> None:
    """Without ones, and with a break longer than a tempo can say, beats sound where they are."""
    beats = with_hole(gap_s)
    bar_map = written(tmp_path / "m.json", beats_s=beats, positions=positions)

    program("export", "--to", "midi", "--map", bar_map, "--out", tmp_path / "m.mid")

    now, heard = 0.0, []
    for message in mido.MidiFile(tmp_path / "m.mid"):  # times in seconds
        now += message.time
        if message.type == "note_on":
            heard.append(now)
    assert heard == pytest.approx(beats, abs=0.002)


# ------------------------------------------------------------------ names that bite


def test_cells_are_no_formulas() -> None:
    """Texts that a spreadsheet would calculate are marked as text; numbers stay numbers."""
    rows = [["=1+1", "+x", "-x", "@x", "\tx", "\rx"], ["-3.5", "+2", -4, "x=1", "", "a\nb"]]

    text = csv_text(list("abcdef"), rows)

    assert text.startswith("\ufeff")
    first, second = list(csv.reader(io.StringIO(text[1:], newline="")))[1:]
    assert first == ["'=1+1", "'+x", "'-x", "'@x", "'\tx", "'\rx"]
    assert second == ["-3.5", "+2", "-4", "x=1", "", "a\nb"]


def test_parts_with_odd_names_are_sequenced(program: Program, tmp_path: Path) -> None:
    """Names with spaces, hyphens and signs may be danced in any order, and bite no spreadsheet."""
    names = ("=1+1", "A b", "B-2", "é")
    parts = "\n".join(f'[parts."{name}"]\ncounts = 32\nturn = "1/2 R"' for name in names)
    routine = tmp_path / "r.toml"
    for sequence in ('"=1+1 A b B-2 é"', json.dumps(names), '"=1+1, A b, B-2, é"'):
        routine.write_text(f'name = "x"\nsequence = {sequence}\n{parts}\n')
        out = tmp_path / "walls.csv"

        program("export", "--map", written(tmp_path / "m.json"), routine, "--out", out, "--force")

        rows = list(csv.DictReader(io.StringIO(out.read_text("utf-8-sig"))))
        danced = [row["part"] for row in rows if row["part"]]
        assert danced[:4] == ["'=1+1", "A b", "B-2", "é"]


@pytest.mark.parametrize("name", ["a\\nb", "\\u001b[31m", "", "x" * 41])
def test_parts_whose_names_fit_no_line_are_refused(
    name: str, program: Program, tmp_path: Path
) -> None:
    """A name is one line; it is shown escaped and short."""
    routine = tmp_path / "r.toml"
    routine.write_text(f'name = "x"\nsequence = "A"\n[parts."{name}"]\ncounts = 32\n')

    done = program("check", routine, expect=2)

    assert "give it a name of 1 to 40 letters" in done.out
    assert "\x1b" not in done.out


def test_default_names_are_safe_everywhere(
    program: Program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is named after a song has no sign that a system refuses, and is no device of Windows."""
    monkeypatch.chdir(tmp_path)
    program("page", "--map", written(tmp_path / "a:b?.json"), *NUMBERS)

    (made,) = tmp_path.glob("*.html")
    assert made.name.startswith("a_b_")
    assert (safe_stem("CON"), safe_stem("x" * 300)) == ("CON_", "x" * 200)


@pytest.mark.parametrize(
    ("words", "name", "said"),
    [
        (("page",), "p.pdf", "the page is written as .html or .htm; end the name in that"),
        (("export",), "song.mid", "--to csv is written as .csv; end the name in that"),
        (("export", "--to", "midi"), "song.csv", "--to midi is written as .mid"),
    ],
)
def test_no_file_is_named_as_what_it_is_not(
    words: tuple[str, ...], name: str, said: str, program: Program, tmp_path: Path
) -> None:
    """No other program would open a page called .pdf, or a table called .mid."""
    out = tmp_path / name

    done = program(*words, "--map", written(tmp_path / "m.json"), *NUMBERS, "--out", out, expect=2)

    assert said in done.err
    assert not out.exists()


def test_names_are_told_on_one_line(program: Program, tmp_path: Path) -> None:
    """A line break or ESC in a file name does not reach the terminal."""
    out = tmp_path / "two\nlines\x1b[31m.csv"

    done = program("export", "--map", written(tmp_path / "m.json"), *NUMBERS, "--out", out)

    assert done.out.count("\n") == 1 and "\x1b" not in done.out
    assert "two\\nlines\\x1b[31m.csv" in done.out


@pytest.mark.parametrize("kind", ["routine", "settings", "map", "store"])
def test_byte_order_marks_are_taken_everywhere(kind: str, program: Program, tmp_path: Path) -> None:
    """Editors of Windows write one at the beginning of a text."""
    files = {
        "routine": TEASPOONS.read_bytes(),
        "settings": b"[costs]\nrestart = 2.0\n",
        "map": written(tmp_path / "plain.json").read_bytes(),
        "store": b'{"format": "phrasefit-store", "version": 1, "correction": [], "routine": []}',
    }
    paths = {}
    for name, content in files.items():
        paths[name] = tmp_path / f"{name}.{'toml' if name in ('routine', 'settings') else 'json'}"
        paths[name].write_bytes(b"\xef\xbb\xbf" * (name == kind) + content)

    program("store", "import", paths["store"])
    program("fit", "--map", paths["map"], paths["routine"], "--settings", paths["settings"])


@pytest.mark.parametrize("key", ["name", "text"])
def test_half_characters_are_not_imported(key: str, program: Program, tmp_path: Path) -> None:
    """What no file of text can hold is refused with the kind of row it stands in."""
    row = {"name": "x", "text": "y", "stored_at": 1.0} | {key: "\ud800"}
    path = tmp_path / "export.json"
    path.write_text(
        json.dumps({"format": "phrasefit-store", "version": 1, "correction": [], "routine": [row]})
    )

    assert "a routine in it is damaged" in program("store", "import", path, expect=2).err


# ---------------------------------------------------------------- stopped and closed


def test_a_stopped_ranking_leaves_no_table(
    program: Program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After Ctrl-C the same command can be run again: no file of the first stands in its way."""
    monkeypatch.setattr("phrasefit.batch.listen_to", lambda *_, **__: BatchReport(n_left=3))
    (tmp_path / "song.wav").touch()
    table = tmp_path / "t.csv"

    done = program("rank", tmp_path, *NUMBERS, "--csv", table, expect=130)
    evening = program("playlist", tmp_path, TEASPOONS, "--csv", table, expect=130)

    assert "3 are left" in done.err and "3 are left" in evening.err
    assert not table.exists()


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_closed_outputs_are_no_failure(closed: str, tmp_path: Path) -> None:
    """A program started without output (a service, a link) does its work."""
    out = tmp_path / "walls.csv"
    words = (f'"{sys.executable}" -m phrasefit export --map "{written(tmp_path / "m.json")}"'
             f' --counts 32 --walls 4 --out "{out}" {closed}')  # fmt: skip

    done = subprocess.run(
        ["sh", "-c", words], capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip

    assert (done.returncode, done.stderr) == (0, "")
    assert out.exists()


@pytest.mark.parametrize("command", ["map", "fit", "suits", "rank"])
def test_a_path_typed_without_quotes_gets_a_hint(
    program: Program, tmp_path: Path, command: str
) -> None:
    """The terminal cuts `My songs/a b.ogg` into three words; other mistakes get no such hint."""
    song = tmp_path / "My songs" / "a b.ogg"
    song.parent.mkdir()
    song.write_bytes(b"song")
    hint = f'these words look like one path; put it in quotes: "{song}"'

    assert hint in program(command, *str(song).split(), "x.toml", expect=2).err
    assert "quotes" not in program(command, tmp_path / "My", "x.toml", expect=2).err
