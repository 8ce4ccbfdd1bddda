"""Captions can be read in time and by other programs."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import webvtt as reader

from fit_songs import make_routine, make_song
from phrasefit.errors import ParameterError
from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan
from phrasefit.reports.captions import captions, srt, webvtt


def seconds(stamp: str) -> float:
    """Read hh:mm:ss.mmm."""
    hours, minutes, rest = stamp.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(rest)


def test_webvtt_is_read_back_by_the_reference_reader(tagged: FitPlan) -> None:
    """webvtt-py finds the same cues at the same milliseconds."""
    items = captions(tagged)

    read = reader.from_string(webvtt(items))

    assert [c.text for c in read.captions] == ["\n".join(item.lines) for item in items]
    for cue, item in zip(read.captions, items, strict=True):
        assert seconds(cue.start) == pytest.approx(item.start_s, abs=0.0006)
        assert seconds(cue.end) == pytest.approx(item.end_s, abs=0.0006)


def test_srt_is_read_back_by_the_reference_reader(restarted: FitPlan) -> None:
    """webvtt-py reads the SRT form too, with the same number of cues."""
    items = captions(restarted)

    read = reader.from_buffer(io.StringIO(srt(items)), format="srt")

    assert len(read.captions) == len(items)


def test_captions_are_readable(tagged: FitPlan, waltz: FitPlan) -> None:
    """At most two lines of 42 characters, 17 characters a second, 1.333 s or longer.

    Usual figures of captioning guides (the minimum time and the two lines are those of
    the checker vttlint; 42 characters and 17 a second from memory of several guides).
    """
    for fit in (tagged, waltz):
        for item in captions(fit):
            length = item.end_s - item.start_s
            assert len(item.lines) <= 2
            assert all(len(line) <= 42 for line in item.lines)
            assert sum(map(len, item.lines)) <= max(17 * length, 42)
            assert length >= 1.333


def test_captions_stand_two_counts_ahead(tagged: FitPlan) -> None:
    """The caption of wall 2 appears one second before it, two counts at 120."""
    (item,) = [c for c in captions(tagged) if c.lines[0].startswith("WALL 2,")]

    assert item.start_s == pytest.approx(tagged.plan.walls[1].start_s - 1.0)


def test_two_counts_are_those_danced() -> None:
    """Where a song gets slower on a beat, captions stand two of the slow counts ahead."""
    song = make_song(("I", 8), ("A", 16), ("B", 16), ("A", 16), ("B", 16))
    steps_s = np.where(np.arange(song.beat_times_s.size) < 160, 0.5, 0.6)
    beats_s = np.append(1.0, 1.0 + np.cumsum(steps_s))
    ends = {"end_s": float(beats_s[-1]), "duration_s": float(beats_s[-1])}
    fit = fit_routine(replace(song, beat_times_s=beats_s[:-1], **ends), make_routine())

    for number, lead_s in ((2, 1.0), (5, 1.2)):
        (item,) = [c for c in captions(fit) if c.lines[0].startswith(f"WALL {number},")]
        assert item.start_s == pytest.approx(fit.plan.walls[number - 1].start_s - lead_s)


def test_offset_moves_all_and_drops_what_lies_before_zero(tagged: FitPlan) -> None:
    """With an offset into the song, captions before the video begins are left out."""
    whole, cut = captions(tagged), captions(tagged, offset_s=-60.0)

    assert 0 < len(cut) < len(whole)
    assert all(c.start_s >= 0 for c in cut)
    assert cut[-1].end_s == pytest.approx(whole[-1].end_s - 60.0)


def test_a_video_that_begins_after_the_dance_is_refused(tagged: FitPlan) -> None:
    """A file without a caption would look as if the work were done."""
    with pytest.raises(ParameterError, match="over before the video begins; give the seconds"):
        captions(tagged, offset_s=-tagged.plan.ending.time_s)


def test_markup_signs_are_escaped() -> None:
    """Signs that WebVTT reads as markup arrive as text."""
    from phrasefit.reports.captions import Caption

    item = Caption(start_s=0.0, end_s=2.0, lines=("rock & <b>roll</b> -->",))

    assert "&amp; &lt;b&gt;roll&lt;/b&gt; --&gt;" in webvtt((item,))
