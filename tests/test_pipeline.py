"""What the cache keeps belongs to the weights that heard it."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from kept_songs import keep, square_song
from phrasefit import pipeline
from phrasefit.collection import Collection
from phrasefit.corrections.ones import shift_ones
from phrasefit.model import Correction
from phrasefit.store import Store
from sound_files import write_song
from synth import make_song


def test_other_weights_are_another_version(monkeypatch: pytest.MonkeyPatch) -> None:
    """A change of what was learned makes earlier analyses unknown, for both models."""
    before = pipeline.analysis_version(), pipeline.analysis_version(hand_made=True)
    assert len(set(before)) == 2

    monkeypatch.setattr(pipeline, "_fingerprint_of_weights", lambda: 0xBEEF)

    after = pipeline.analysis_version(), pipeline.analysis_version(hand_made=True)
    assert not set(before) & set(after)


def test_fingerprint_covers_the_shipped_weights() -> None:
    """The check sum is that of all files of weights, in the order of their names."""
    import zlib
    from importlib import resources

    rooms = {"beats.npz": "meter", "handmade.json": "meter", "lines.npz": "form"}
    parts = [
        (resources.files(f"phrasefit.{room}") / "weights" / name).read_bytes()
        for name, room in rooms.items()
    ]

    assert pipeline._fingerprint_of_weights() == zlib.crc32(b"".join(parts))


# ------------------------------------------------------------------- corrections kept

ROOT = Path(__file__).parents[1]


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """A song that was heard before; nothing is listened to."""
    with Store() as store:
        keep(store, tmp_path, square_song("A", 16, 16, 16, 16, 16, 16))
    return tmp_path / "A.wav"


def test_two_shells_keep_all_their_corrections(song: Path) -> None:
    """Two programs that mark eight sections each in the same song keep all sixteen."""
    code = """
        import sys
        from pathlib import Path
        from phrasefit import pipeline
        from phrasefit.model import Correction
        from phrasefit.store import Store
        for i in range(8):
            with Store() as store:
                analysis = pipeline.analyse(Path(sys.argv[1]), store=store)
                time_s = 10.0 * i + float(sys.argv[2])
                pipeline.correct(analysis, Correction(sections_at_s=(time_s,)), store=store)
    """
    shells = [
        subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), song, begin], cwd=ROOT)
        for begin in ("4", "9")
    ]

    assert [shell.wait(timeout=120) for shell in shells] == [0, 0]
    with Store() as store:
        kept = pipeline.analyse(song, store=store).correction.sections_at_s
        assert kept == tuple(sorted([10.0 * i + begin for i in range(8) for begin in (4.0, 9.0)]))


@pytest.mark.parametrize(
    "kept",
    [
        {"one_at_s": 9999.0},  # beyond the song
        {"level": 1000.0},
        {"meter": "four"},
        {"one_at_s": "soon"},
        {"sections_at_s": 7},
        {"sections_at_s": [None]},
        {"nudge_s": "late"},
        {"no": "correction"},
        {"level": [2.0]},
        {"shift_one_beats": 10**400},
        {"meter": -3},
    ],
)
def test_correction_that_no_longer_fits_is_set_aside(song: Path, kept: dict[str, object]) -> None:
    """The song opens as it was heard, the correction is kept out of use, and it is told."""
    with Store() as store:
        key = store.hash_of(song)
        store.put_correction(key, kept)

        analysis = pipeline.analyse(song, store=store)

        assert analysis.bar_map is analysis.found
        (aside,) = store.corrections_set_aside()
        assert (aside.name, aside.kept) == (key, kept)
        assert any("set aside" in note and "A.wav" in note for note in store.notes)
        assert store.get_correction(key) is None
        change = Correction(meter=3)
        assert pipeline.correct(analysis, change, store=store).bar_map.meter == 3


@pytest.mark.parametrize("moved", [0, 1, 2, 3])
def test_ones_stay_where_a_person_shifted_them_when_they_are_heard_elsewhere(
    song: Path, moved: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another version hears the ones `moved` beats later: the shift is counted from there."""
    with Store() as store:
        analysis = pipeline.analyse(song, store=store)
        key, path = analysis.info.content_hash, analysis.info.path
        wanted = pipeline.correct(analysis, Correction(shift_one_beats=2), store=store).bar_map
        later = shift_ones(analysis.found, moved)
        monkeypatch.setattr(pipeline, "ANALYSIS_VERSION", pipeline.ANALYSIS_VERSION + 1)
        version = pipeline.analysis_version()
        document = pipeline.document_of(replace(analysis, found=later))
        for _ in range(2):  # heard twice, as after a damaged cache: it is carried over once
            pipeline.keep_analysis(store, key, version, document, path=Path(path))
            again = pipeline.analyse(song, store=store)

            assert np.array_equal(again.bar_map.positions, wanted.positions)
            assert again.bar_map.confidence.downbeat == 1  # still decided by a person
            assert list(store.other_analyses(key, version)) == []


def test_the_hand_made_model_leaves_the_shift_alone(song: Path) -> None:
    """What it hears is another map of the same song, not a newer one."""
    with Store() as store:
        analysis = pipeline.analyse(song, store=store)
        pipeline.correct(analysis, Correction(shift_one_beats=2), store=store)
        document = pipeline.document_of(replace(analysis, found=shift_ones(analysis.found, 1)))
        version, key = pipeline.analysis_version(hand_made=True), analysis.info.content_hash
        pipeline.keep_analysis(store, key, version, document, path=song)

        assert store.get_correction(key) == {"shift_one_beats": 2}
        assert list(store.other_analyses(key, version)) == [pipeline.analysis_version()]


def test_forgetting_needs_no_valid_correction(song: Path) -> None:
    """A correction that was made invalid after the song was opened can be dropped."""
    with Store() as store:
        analysis = pipeline.analyse(song, store=store)
        key = analysis.info.content_hash
        store.put_correction(key, {"one_at_s": 9999.0})

        assert pipeline.forget(analysis, store=store).bar_map is analysis.found

        assert store.get_correction(key) is None


def test_ranking_takes_the_song_as_heard(song: Path) -> None:
    """A correction that no longer fits does not keep its song out of rankings."""
    with Store() as store:
        store.put_correction(store.hash_of(song), {"one_at_s": 9999.0})

        library = Collection.of(store)

        assert [song.title for song in library.table.songs] == ["A"]
        assert any("set aside" in note for note in store.notes)


def test_a_copy_with_other_tags_keeps_its_own_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same sound in two files: each is shown by its own tags, whichever was read last."""
    samples = make_song("4*8", rate_hz=44_100).samples
    titled = {name: tmp_path / f"{name}.flac" for name in ("Lamp", "Track 01")}
    for title, path in titled.items():
        with soundfile.SoundFile(path, "w", 44_100, 1) as file:
            file.title = title
            file.write(samples)

    with Store() as store:
        pipeline.analyse(titled["Lamp"], store=store)
        monkeypatch.setattr(pipeline, "_track", None)  # listened to once, for both
        for title in ("Track 01", "Lamp", "Lamp", "Track 01"):
            assert pipeline.analyse(titled[title], store=store).bar_map.title == title


def test_doubts_about_the_file_stand_on_the_map(tmp_path: Path) -> None:
    """Of this MP3 nobody knows where its music begins to a few milliseconds."""
    samples = make_song("4*8", rate_hz=44_100).samples
    path = write_song(tmp_path / "song.mp3", "bare.mp3", samples, 44_100)

    analysis = pipeline.analyse(path)

    assert any("before the music" in note for note in analysis.bar_map.notes)
    recalled = pipeline.recalled(pipeline.document_of(analysis), None)
    assert recalled.bar_map.notes == analysis.bar_map.notes
