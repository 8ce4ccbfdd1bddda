"""`map` and `fit` on real audio: what is shown, saved, corrected, refused."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile

from heard import remember
from in_process import Program

SAMPLES = Path(__file__).parents[2] / "sample_audio"
ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
SONG = SAMPLES / "thirty-two-fence-posts.ogg"
ROUTINE = ROUTINES / "borrowed-teaspoons.toml"


@pytest.fixture
def phrasefit(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


@pytest.fixture
def known_song() -> Path:
    """A sample song that was heard before."""
    remember(SONG.stem)
    return SONG


def schema(name: str) -> dict:
    """Load a shipped schema."""
    return json.loads(files("phrasefit").joinpath(f"schemas/{name}.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def heard() -> dict:
    """Listen to a sample song once, in a process of its own as a user does."""
    words = ("map", str(SONG), "--json", "-", "--no-cache")
    done = subprocess.run(
        [sys.executable, "-m", "phrasefit", *words], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def test_map_obeys_its_schema_and_is_right(heard: dict) -> None:
    """Every key is there, and the beats are those the song was made with."""
    jsonschema.validate(heard, schema("map"))
    truth = json.loads(SONG.with_suffix(".json").read_text("utf-8"))

    true_beats, beats = np.array(truth["beats_s"]), np.array(heard["beats_s"])
    hits = np.min(np.abs(true_beats[:, None] - beats), axis=1) < 0.07
    assert hits.mean() > 0.97
    assert heard["meter"] == truth["meter"]


def test_standard_output_holds_the_json_alone(
    heard: dict, phrasefit: Program, known_song: Path, tmp_path: Path
) -> None:
    """With --json - nothing but the document is printed, and it is what a file would hold."""
    phrasefit("map", known_song, "--json", tmp_path / "map.json")

    assert json.loads((tmp_path / "map.json").read_text("utf-8")) == heard


def test_fit_of_song_and_of_its_map_agree(
    heard: dict, phrasefit: Program, known_song: Path, tmp_path: Path
) -> None:
    """Planning from the saved map gives the same plan as planning from the song."""
    path = tmp_path / "map.json"
    path.write_text(json.dumps(heard), encoding="utf-8")

    of_song = json.loads(phrasefit("fit", SONG, ROUTINE, "--json", "-").out)
    of_map = json.loads(phrasefit("fit", "--map", path, ROUTINE, "--json", "-").out)

    jsonschema.validate(of_song, schema("fit"))
    assert of_map == of_song
    assert [wall["number"] for wall in of_song["walls"]] == list(
        range(1, len(of_song["walls"]) + 1)
    )


def test_corrections_are_kept_and_can_be_dropped(phrasefit: Program, known_song: Path) -> None:
    """A shifted one is used by later commands until it is forgotten; nothing is re-decoded."""
    before = json.loads(phrasefit("map", SONG, "--json", "-").out)
    phrasefit("map", SONG, "--shift-one", "+1")
    kept = json.loads(phrasefit("map", SONG, "--json", "-").out)
    phrasefit("map", SONG, "--forget")
    after = json.loads(phrasefit("map", SONG, "--json", "-").out)

    assert kept["beats_s"] == before["beats_s"]
    assert kept["positions"][1:] == before["positions"][:-1]
    assert after == before


def test_moved_file_is_known_again(phrasefit: Program, known_song: Path, tmp_path: Path) -> None:
    """Corrections go with the sound of a file, not with its name."""
    copy = tmp_path / "renamed.ogg"
    shutil.copy(SONG, copy)
    phrasefit("map", SONG, "--nudge", "25")
    moved = json.loads(phrasefit("map", copy, "--json", "-").out)
    phrasefit("map", copy, "--forget")
    plain = json.loads(phrasefit("map", SONG, "--json", "-").out)

    assert np.allclose(np.array(moved["beats_s"]) - plain["beats_s"], 0.025)


def test_section_mark_and_half_time(phrasefit: Program, known_song: Path) -> None:
    """A section mark lands on the nearest one; half counts every other beat."""
    plain = json.loads(phrasefit("map", SONG, "--json", "-").out)
    marked = json.loads(phrasefit("map", SONG, "--section-at", "0:41.3", "--json", "-").out)
    half = json.loads(phrasefit("map", SONG, "--forget", "--half", "--json", "-").out)

    starts = [section["start_s"] for section in marked["sections"]]
    assert min(abs(start - 41.3) for start in starts) < 4 * 60 / plain["tempo_bpm"] / 2 + 0.1
    assert half["tempo_bpm"] == pytest.approx(plain["tempo_bpm"] / 2, rel=1e-3)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["map", "no-such-song.mp3"], "no-such-song.mp3"),
        (["fit", SONG], "--counts 32 --walls 4"),
        (["fit", "--counts", "32"], "no song given"),
        (["fit", SONG, ROUTINE, "--counts", "32"], "not both"),
        (["fit", SONG, "no-such-routine.toml"], "no-such-routine.toml"),
        (["map", SONG, "--half", "--double"], "only one"),
        (["map", SONG, "--meter", "5"], "2, 3, 4 or 6"),
        (["map", SONG, "--one-at", "later"], "m:ss"),
        (["map", SONG, "--json", "/no/such/folder/x.json"], "does not exist"),
        (["fit", SONG, ROUTINES / "mill-pond-waltz.toml"], "threes"),
    ],
)
def test_what_a_user_must_mend_is_said_and_exits_2(
    phrasefit: Program, known_song: Path, words: list, complaint: str
) -> None:
    """One line on standard error, exit code 2, nothing on standard output."""
    done = phrasefit(*words, expect=2)

    assert complaint in done.err
    assert done.out == ""


def test_existing_file_is_not_replaced_without_force(phrasefit: Program, tmp_path: Path) -> None:
    """The old file stays, and the program says so before it listens."""
    path = tmp_path / "map.json"
    path.write_text("mine")

    done = phrasefit("map", SONG, "--json", path, expect=2)

    assert "--force" in done.err
    assert path.read_text() == "mine"


def write(path: Path, samples: np.ndarray, rate: int = 22050) -> Path:
    """Write test audio."""
    soundfile.write(path, samples, rate)
    return path


def test_no_pulse_means_no_plan(
    phrasefit: Program, tmp_path: Path, rng: np.random.Generator
) -> None:
    """Silence and noise are told apart and never get an invented plan."""
    n = 22050 * 20
    silence = write(tmp_path / "silence.wav", np.zeros(n))
    noise = write(tmp_path / "noise.wav", 0.1 * rng.standard_normal(n))

    for path in (silence, noise):
        for command in (["map", path], ["fit", path, "--counts", "32", "--walls", "4"]):
            done = phrasefit(*command, "--no-cache", expect=2)
            assert "no steady beat found" in done.err
            assert path.name in done.err


def test_no_option_is_advised_that_a_map_file_refuses(phrasefit: Program, tmp_path: Path) -> None:
    """Corrections belong to a song: doubts of a map written by hand are told in plain words."""
    by_hand = tmp_path / "map.json"
    beats_s = [1 + 0.36 * beat for beat in range(300)]
    turn = {"kind": "one", "correction": {"shift_one_beats": 2}, "probability": 0.4}
    by_hand.write_text(
        json.dumps(
            {
                "beats_s": beats_s,
                "positions": [beat % 4 + 1 for beat in range(300)],
                "confidence": {"downbeat": 0.5},
                "alternatives": [turn | {"tempo_bpm": 166.7, "meter": 4}],
            }
        )
    )

    words = " ".join(phrasefit("fit", "--map", by_hand, "--counts", "32").out.split())

    assert "it may be 2 beats later (40%" in words
    assert "or twice as fast, 167 counts a minute" in words
    assert "--" not in words


def test_whoever_insists_gets_a_map_under_a_loud_doubt(
    phrasefit: Program, tmp_path: Path, rng: np.random.Generator
) -> None:
    """The refusal names --anyway; what it makes is kept, and every report opens with the doubt."""
    noise = write(tmp_path / "noise.wav", 0.1 * rng.standard_normal(22050 * 60))
    assert "--anyway" in phrasefit("map", noise, expect=2).err

    shown = phrasefit("map", noise, "--anyway").out
    assert "HARDLY A STEADY BEAT: TAP ALONG BEFORE YOU TRUST IT" in shown.splitlines()[2]

    fit = phrasefit("fit", noise, "--counts", "8", "--walls", "4").out
    assert fit.splitlines()[2].startswith("Hardly a steady beat: tap along before you trust it.")


def test_bad_files_are_named(phrasefit: Program, tmp_path: Path) -> None:
    """Empty, renamed and cut-off files each get a line with their name."""
    empty = tmp_path / "empty.mp3"
    empty.touch()
    renamed = tmp_path / "letter.wav"
    renamed.write_text("Dear dancers, " * 500)

    for path in (empty, renamed):
        assert path.name in phrasefit("map", path, expect=2).err


def test_clip_shorter_than_one_wall_gets_no_plan(phrasefit: Program, tmp_path: Path) -> None:
    """A few bars are no song: the message says how much a wall needs."""
    samples, rate = soundfile.read(SONG, frames=44100 * 14, dtype="float32")
    clip = write(tmp_path / "clip.wav", samples, rate)

    done = phrasefit("fit", clip, "--counts", "64", "--walls", "2", "--no-cache", expect=2)

    assert "64" in done.err
