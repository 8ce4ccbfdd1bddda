"""`playlist`: an evening on the terminal and in all its files."""

from __future__ import annotations

import csv
import io
import json
from importlib.resources import files
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import jsonschema
import pypdf
import pytest

from in_process import Program
from kept_songs import keep, square_song
from phrasefit.cli._many import split_places
from phrasefit.store import Store

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
EASY = ("--minutes", 8, "--beginner-every", 0, "--min-length", "1:00")
XSPF = "{http://xspf.org/ns/0/}"


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """A folder of songs heard before; names that playlist formats must escape."""
    folder = tmp_path / "my music"
    folder.mkdir()
    names = ("#1 & more", "Grün", "Extra", "Last <one>", "Fünf", "Six", "Waltz")
    with Store() as store:
        for i, name in enumerate(names):
            bars = (4, 8, 9 if name == "Extra" else 8, 8, 8, 8, 8)
            meter, bpm = (3, 96) if name == "Waltz" else (4, 100 + 4 * i)
            keep(
                store, folder,
                square_song(name, *bars, bpm=bpm, meter=meter, artist=f"Band {i % 3}"),
            )  # fmt: skip
    return folder


def routines() -> list[Path]:
    """The example routines."""
    return sorted(ROUTINES.glob("*.toml"))


def test_evening_on_the_terminal(program: Program, music: Path) -> None:
    """Each place has its time, routine, song and reasons; how good it is is told."""
    done = program("playlist", music, *routines(), *EASY)

    assert "dances" in done.out.splitlines()[0]
    assert "  1.     0:00  " in done.out
    assert "fits " in done.out
    assert "no better one can be made of them" in done.out


def test_keep_one_and_ask_for_another(program: Program, music: Path) -> None:
    """--at keeps a dance where it is, --instead puts the next best at another place."""

    def evening(*words: object) -> list[tuple[str, str]]:
        done = program("playlist", music, *routines(), *EASY, "--json", "-", *words)
        return [(d["title"], d["routine"]) for d in json.loads(done.out)["dances"]]

    first = evening("--at", "1=Grün")
    second = evening("--at", "1=Grün", "--instead", 2)

    assert first[0][0] == second[0][0] == "Grün"
    assert first[1] != second[1]
    assert first[2:] == second[2:]


def test_stopped_while_listening(
    program: Program, music: Path, tmp_path: Path, stopped: pytest.MonkeyPatch
) -> None:
    """No evening is made of half the songs: nothing is written, and the exit code says so."""
    words = ("--csv", tmp_path / "e.csv")
    done = program("playlist", music, *routines(), *EASY, *words, expect=130)

    assert "3 are left; run the command again" in done.err
    assert not (tmp_path / "e.csv").exists()


def test_same_seed_same_evening(program: Program, music: Path) -> None:
    """The seed repeats the evening."""
    words = ("playlist", music, *routines(), *EASY, "--seed", 3)

    assert program(*words).out == program(*words).out


def test_files(program: Program, music: Path, tmp_path: Path) -> None:
    """All files name the same dances in the same order, from where they lie."""
    out = tmp_path / "lists"
    out.mkdir()
    program(
        "playlist", music, *routines(), *EASY, "--must", "Grün", "--must", "#1", "--must", "<one>",
        "--title", "Mill & Pond", "--xspf", out / "e.xspf", "--m3u8", out / "e.m3u8",
        "--csv", out / "e.csv", "--floor", out / "e.pdf", "--json", out / "e.json",
    )  # fmt: skip

    document = json.loads((out / "e.json").read_text("utf-8"))
    schema = files("phrasefit").joinpath("schemas/playlist.schema.json").read_text("utf-8")
    jsonschema.validate(document, json.loads(schema))
    titles = [dance["title"] for dance in document["dances"]]
    assert {"Grün", "#1 & more", "Last <one>"} <= set(titles)

    check_xspf(out / "e.xspf", titles, music)
    for dance in document["dances"]:  # players show one line: it names the dance
        named = f"{dance['title']} ({dance['routine']})"
        assert named in ElementTree.parse(out / "e.xspf").getroot().itertext()
        assert f" - {named}\n" in (out / "e.m3u8").read_text("utf-8")

    lines = (out / "e.m3u8").read_text("utf-8").splitlines()
    assert lines[0] == "#EXTM3U"
    assert [line for line in lines if not line.startswith("#")] == [
        f"../my music/{title}.wav" for title in titles
    ]
    assert len([line for line in lines if line.startswith("#EXTINF:")]) == len(titles)

    text = (out / "e.csv").read_bytes().decode("utf-8")
    assert text.startswith("\ufeff")
    assert [row["title"] for row in csv.DictReader(io.StringIO(text[1:]))] == titles

    printed = "\n".join(page.extract_text() for page in pypdf.PdfReader(out / "e.pdf").pages)
    assert "Mill & Pond" in printed
    assert "needs a license" in " ".join(printed.split())
    for dance in document["dances"]:
        assert dance["routine"] in printed
    assert printed.count("count 1 at") == len(titles)


def check_xspf(path: Path, titles: list[str], music: Path) -> None:
    """XSPF version 1 (xspf.org/spec): root, order of elements, values of each track."""
    root = ElementTree.parse(path).getroot()
    assert root.tag == f"{XSPF}playlist"
    assert root.attrib == {"version": "1"}
    assert [child.tag for child in root] == [f"{XSPF}title", f"{XSPF}trackList"]
    assert root.findtext(f"{XSPF}title") == "Mill & Pond"
    tracks = root.findall(f"{XSPF}trackList/{XSPF}track")
    named = [track.findtext(f"{XSPF}title") for track in tracks]
    assert [name.rpartition(" (")[0] for name in named] == titles
    for number, (track, title) in enumerate(zip(tracks, titles, strict=True), start=1):
        location = track.findtext(f"{XSPF}location")
        assert (path.parent / unquote(location)).resolve() == (music / f"{title}.wav").resolve()
        assert "#" not in location
        assert int(track.findtext(f"{XSPF}trackNum")) == number
        assert int(track.findtext(f"{XSPF}duration")) > 60_000  # milliseconds


def test_events_are_on_the_floor_list(program: Program, music: Path, tmp_path: Path) -> None:
    """A dance with a tag or restart has it in capitals, with wall, facing and time."""
    target = tmp_path / "floor.pdf"

    program(
        "playlist", music, ROUTINES / "borrowed-teaspoons.toml", "--must", "Extra",
        "--min-length", "1:00", "--minutes", 3, "--floor", target, "--paper", "letter",
        "--starts-at", "19:30",
    )  # fmt: skip

    text = " ".join(pypdf.PdfReader(target).pages[0].extract_text().split())
    assert "Extra" in text
    assert "from 19:30 to 19:3" in text
    assert "TAG 4 after wall" in text or "RESTART wall" in text


def test_picture_of_the_floor_list(program: Program, music: Path, tmp_path: Path) -> None:
    """As PNG it is a picture."""
    target = tmp_path / "floor.png"

    program("playlist", music, *routines(), *EASY, "--floor", target)

    assert target.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--curve", "slow,fast"), "write 95,120,110"),
        (("--at", "3"), "write --at 3=waltz"),
        (("--floor", "list.txt"), "printed as .pdf or .png"),
        (("--must", "Nobody At All"), "in no title, artist or routine"),
        (("--floor", "list.pdf", "--starts-at", "half past"), "write it as in --starts-at 19:30"),
        (("--instead", 9), "place 9 lies outside the evening"),
        (("--min-length", "9:00"), "shorter than 9:00; add longer ones"),
        (("--minutes", 0), "minutes=0 must lie between"),
        (("--at", "1=Grün", "--at", "2=Grün"), "cannot be met together"),
    ],
)
def test_slips_are_explained(program: Program, music: Path, words: tuple, message: str) -> None:
    """Each ends with code 2 and one line that says what to do."""
    done = program("playlist", music, *routines(), *EASY, *words, expect=2)

    assert message in done.err
    assert len(done.err.splitlines()) == 1


def test_without_routines(program: Program, music: Path) -> None:
    """An evening needs routines."""
    assert "no routine given" in program("playlist", music, expect=2).err


def test_a_folder_of_routines_is_taken_as_routines(tmp_path: Path) -> None:
    """A folder that holds routine files alone is no music; others are looked through for songs."""
    routines = tmp_path / "routines"
    routines.mkdir()
    (routines / "a.toml").touch()
    (tmp_path / "b.toml").touch()
    mixed = tmp_path / "mixed"
    mixed.mkdir()
    (mixed / "a.toml").touch()
    (mixed / "a.mp3").touch()
    empty = tmp_path / "empty"
    empty.mkdir()

    places, files = split_places([routines, mixed, empty, tmp_path / "b.toml", tmp_path / "x.ogg"])

    assert places == [mixed, empty, tmp_path / "x.ogg"]
    assert files == [routines / "a.toml", tmp_path / "b.toml"]
