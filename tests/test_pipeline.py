"""What the cache keeps belongs to the weights that heard it."""

from __future__ import annotations

import pytest

from phrasefit import pipeline


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
