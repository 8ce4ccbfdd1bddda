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
    """The check sum is that of both files of weights, in the order of their names."""
    import zlib
    from importlib import resources

    folder = resources.files("phrasefit.meter") / "weights"
    parts = [(folder / name).read_bytes() for name in ("beats.npz", "handmade.json")]

    assert pipeline._fingerprint_of_weights() == zlib.crc32(b"".join(parts))
