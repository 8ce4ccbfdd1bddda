"""A few of the copies that ``copies_long.py`` makes by the hundred."""

from __future__ import annotations

from pathlib import Path

from copies_long import compare

SAMPLE = Path(__file__).parents[2] / "sample_audio" / "thirty-two-fence-posts.ogg"
KINDS = ["20 dB louder, clipped", "MP3, 64 kbit/s", "4 % faster", "noise before"]


def test_copies_are_heard_like_the_song() -> None:
    """Loudness, coding, speed and a lead change neither beats nor plan."""
    verdicts = compare(SAMPLE, KINDS, seconds=30.0)

    assert [(v.kind, v.changed) for v in verdicts] == [(kind, "") for kind in KINDS]
    assert all(v.n_kept == v.n_beats for v in verdicts)
