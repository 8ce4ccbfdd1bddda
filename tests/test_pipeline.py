"""What the cache keeps belongs to the weights that heard it."""

from __future__ import annotations

from pathlib import Path

import pytest

from phrasefit import pipeline
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


def test_doubts_about_the_file_stand_on_the_map(tmp_path: Path) -> None:
    """Of this MP3 nobody knows where its music begins to a few milliseconds."""
    samples = make_song("4*8", rate_hz=44_100).samples
    path = write_song(tmp_path / "song.mp3", "bare.mp3", samples, 44_100)

    analysis = pipeline.analyse(path)

    assert any("before the music" in note for note in analysis.bar_map.notes)
    recalled = pipeline.recalled(pipeline.document_of(analysis), None)
    assert recalled.bar_map.notes == analysis.bar_map.notes
