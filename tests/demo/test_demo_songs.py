"""The sample songs on disk: true to their recipes, in time, sized to ship, and music."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
from demo_songs import beat_chroma

import phrasefit
from phrasefit import serial
from phrasefit.demo.__main__ import main
from phrasefit.demo.songs import (
    SAMPLE_SONGS,
    SampleSong,
    make_sample,
    render_sample,
    truth_document,
    write_samples,
)
from phrasefit.errors import OutputError
from phrasefit.fit import fit_routine
from phrasefit.routine.spec import routine_from_numbers

SAMPLES = Path(__file__).parents[2] / "sample_audio"
SCHEMAS = Path(phrasefit.__file__).parent / "schemas"
BY_STEM = {recipe.stem: recipe for recipe in SAMPLE_SONGS}
STEMS = sorted(BY_STEM)


def truth_of(stem: str) -> dict:
    """Read the committed truth of a song."""
    return json.loads((SAMPLES / f"{stem}.json").read_text(encoding="utf-8"))


def short_recipe() -> SampleSong:
    """The shortest sample song."""
    return BY_STEM["marmalade-polka"]


def test_the_folder_holds_the_songs_and_stays_small() -> None:
    """At least six songs, each with its truth, together under 12 MB."""
    songs = sorted(path.stem for path in SAMPLES.glob("*.ogg"))

    assert songs == STEMS == sorted(path.stem for path in SAMPLES.glob("*.json"))
    assert len(songs) >= 6
    assert sum(path.stat().st_size for path in SAMPLES.iterdir()) < 12e6


@pytest.mark.parametrize("stem", STEMS)
def test_truth_on_disk_is_what_the_recipe_gives(stem: str) -> None:
    """The committed truth is made again, value for value, from recipe and seed."""
    recipe = BY_STEM[stem]
    written = truth_of(stem)

    made = truth_document(recipe, make_sample(recipe), duration_s=written["duration_s"])

    made = json.loads(serial.dump_json(made))
    for key in ("beats_s", "duration_s", "end_s"):
        np.testing.assert_allclose(written.pop(key), made.pop(key), atol=2e-5)
    for key in ("sections", "phrases"):
        starts = [[item.pop("start_s") for item in d[key]] for d in (written, made)]
        np.testing.assert_allclose(starts[0], starts[1], atol=2e-5)
    for key in ("tempo_bpm", "tempo_drift_percent"):
        assert written.pop(key) == pytest.approx(made.pop(key), abs=0.02)
    irregular = [[(b["bar"], b["beats"]) for b in d.pop("irregular_bars")] for d in (written, made)]
    assert irregular[0] == irregular[1]
    assert written == made


@pytest.mark.parametrize("stem", STEMS)
def test_truth_is_a_valid_bar_map(stem: str) -> None:
    """The truth meets the published schema and reads back as a bar map."""
    document = truth_of(stem)
    schema = json.loads((SCHEMAS / "map.schema.json").read_text(encoding="utf-8"))

    jsonschema.validate(document, schema)
    bar_map = serial.read_map(document)

    assert len(document["audible"]) == len(bar_map.beat_times_s)
    assert sum(section.n_beats for section in bar_map.sections) == len(bar_map.beat_times_s)
    downbeats = bar_map.beat_times_s[bar_map.positions == 1]
    for item in (*document["sections"], *document["phrases"]):
        assert np.abs(downbeats - item["start_s"]).min() < 1e-9


def test_the_songs_hold_the_promised_cases() -> None:
    """An added bar, a half bar, a drift with a bare intro, a click track; meters 2, 3 and 4."""
    documents = {stem: truth_of(stem) for stem in STEMS}

    lengths = [s["counts"] for s in documents["one-bar-for-breath"]["sections"]]
    assert lengths == [16, 32, 32, 32, 36, 32, 32]
    assert [b["beats"] for b in documents["half-a-bar-of-dust"]["irregular_bars"]] == [2]
    gaps = np.diff(documents["porch-light-for-nobody"]["beats_s"])[:-8]
    assert np.mean(gaps[:16]) / np.mean(gaps[-16:]) > 1.02
    assert documents["glitter-ledger"]["steady"]
    assert {d["meter"] for d in documents.values()} == {2, 3, 4}
    assert {d["style"] for d in documents.values()} >= {
        "country-rock", "shuffle", "disco", "waltz", "ballad", "two-step",
    }  # fmt: skip


def test_one_song_fits_a_32_count_routine_as_it_is() -> None:
    """The planner finds every wall on a phrase, with no change, from count 17."""
    bar_map = serial.read_map(truth_of("thirty-two-fence-posts"))

    plan = fit_routine(bar_map, routine_from_numbers(counts=32, walls=4)).plan

    assert (plan.n_changes, plan.intro_counts, len(plan.walls)) == (0, 16, 6)
    assert all(wall.phrase_offset == 0 and wall.counts == 32 for wall in plan.walls)


@pytest.mark.parametrize("stem", STEMS)
def test_decoded_songs_are_sound_recordings(stem: str) -> None:
    """Stereo, 60 to 150 s, tagged, peak at most -1 dBFS, nothing clipped."""
    with soundfile.SoundFile(SAMPLES / f"{stem}.ogg") as song:
        samples = song.read(dtype="float32")
        assert (song.title, song.artist) == (BY_STEM[stem].title, BY_STEM[stem].artist)
        assert song.channels == 2
        duration_s = song.frames / song.samplerate

    assert 60.0 <= duration_s <= 150.0
    assert duration_s == pytest.approx(truth_of(stem)["duration_s"], abs=1e-3)
    assert 20 * np.log10(np.abs(samples).max()) <= -1.0


@pytest.mark.parametrize("stem", STEMS)
def test_songs_are_music_and_not_clicks(stem: str) -> None:
    """Sound between the beats, energy in every register, and crests of a mastered record.

    Clicks would leave silence between beats (floor) and crest factors over 25 dB.
    """
    samples, rate_hz = soundfile.read(SAMPLES / f"{stem}.ogg", dtype="float32")
    truth = truth_of(stem)
    mono = samples.mean(axis=1)[: round((truth["end_s"] - 10.0) * rate_hz)]
    frame = rate_hz // 20
    frames = mono[: len(mono) // frame * frame].reshape(-1, frame)[10:]
    level_db = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-12)
    power = np.mean(np.abs(np.fft.rfft(frames, axis=1)) ** 2, axis=0)
    f = np.fft.rfftfreq(frame, 1 / rate_hz)

    shares = [
        power[(f >= low) & (f < high)].sum() / power.sum()
        for low, high in ((40, 160), (160, 640), (640, 2560), (2560, 10240))
    ]

    assert np.percentile(level_db, 5) > np.percentile(level_db, 95) - 24.0
    assert 8.0 < 20 * np.log10(np.abs(mono).max() / mono.std()) < 20.0
    assert min(shares) > 0.01 and max(shares) < 0.75


@pytest.mark.parametrize("stem", STEMS)
def test_returning_sections_sound_alike(stem: str) -> None:
    """Beat by beat, the harmony of a section matches its return better than other sections."""
    samples, rate_hz = soundfile.read(SAMPLES / f"{stem}.ogg", dtype="float32")
    truth = truth_of(stem)
    beats_s = np.array([*truth["beats_s"], truth["end_s"]])
    chroma = beat_chroma(samples.mean(axis=1), beats_s, rate_hz)
    firsts = [int(np.argmin(np.abs(beats_s - s["start_s"]))) for s in truth["sections"]]
    same, other = [], []
    for i, one in enumerate(truth["sections"]):
        for j, two in enumerate(truth["sections"][:i]):
            n = min(one["counts"], two["counts"]) - 4
            a, b = (chroma[firsts[k] : firsts[k] + n] for k in (i, j))
            (same if one["letter"] == two["letter"] else other).append(np.mean(np.sum(a * b, 1)))

    assert same
    assert np.mean(same) > np.mean(other) + 0.05


def test_ogg_keeps_the_time() -> None:
    """What soundfile decodes has no encoder delay: lag 0 against the samples written.

    The committed file is also the one this code makes: the waveforms match within the
    error of the codec (10 dB).
    """
    recipe = short_recipe()
    made = render_sample(recipe, make_sample(recipe)).mean(axis=1)
    decoded, rate_hz = soundfile.read(SAMPLES / f"{recipe.stem}.ogg", dtype="float32")
    decoded = decoded.mean(axis=1)
    span = slice(20 * rate_hz, 30 * rate_hz)
    size = 2 * 10 * rate_hz

    product = np.fft.rfft(decoded[span], size) * np.conj(np.fft.rfft(made[span], size))
    lag = int(np.argmax(np.fft.irfft(product)))

    assert len(decoded) == len(made)
    assert lag == 0
    gain = np.dot(decoded[span], made[span]) / np.dot(made[span], made[span])
    error = decoded[span] - gain * made[span]
    assert np.mean((gain * made[span]) ** 2) > 10 * np.mean(error**2)


def test_writing_needs_force_to_replace(tmp_path: Path) -> None:
    """Existing songs are refused before anything is made."""
    (tmp_path / "marmalade-polka.json").write_text("{}")

    with pytest.raises(OutputError, match="add --force"):
        write_samples(tmp_path, recipes=[short_recipe()])

    assert sorted(p.name for p in tmp_path.iterdir()) == ["marmalade-polka.json"]


def test_writing_makes_song_and_truth(tmp_path: Path) -> None:
    """Two files a song, progress from 0 to 1, and the seed noted."""
    seen = []

    written = write_samples(
        tmp_path, seed=7, recipes=[short_recipe()], progress=lambda share, _: seen.append(share)
    )

    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in written)
    assert json.loads((tmp_path / "marmalade-polka.json").read_text())["seed"] == 7
    assert seen == [0.0, 1.0]


def test_the_command_explains_a_missing_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and one line on standard error."""
    code = main([str(tmp_path / "nowhere")])

    assert code == 2
    assert "does not exist; make it first" in capsys.readouterr().err
