"""What is expected of phrases is the mean over every form that a song may have."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from form_songs import made_song
from phrasefit.form import add_form, outlook
from phrasefit.form.boundary_cues import BarEvidence, bar_evidence
from phrasefit.form.phrases import group_phrases
from phrasefit.form.sections import TEMPER, sections_between, segment_scores
from phrasefit.phrase_lengths import phrases_of_length

FOURS = [4] * 8


def all_forms(bars: BarEvidence, scores: np.ndarray) -> list[tuple[float, tuple[int, ...]]]:
    """Every way to cut the bars into sections: its probability and its edges."""
    n = len(bars.cues)
    cuts = [(0, *cut, n) for size in range(n) for cut in combinations(range(1, n), size)]
    weights = np.exp([TEMPER * sum(scores[a, b] for a, b in pairwise(cut)) for cut in cuts])
    return list(zip(weights / weights.sum(), cuts, strict=True))


@pytest.mark.parametrize(
    ("plan", "meter"),
    [
        ([("A", [4] * 4), ("B", [4] * 5)], 4),
        ([("A", [4, 4, 4, 4, 2]), ("B", [4] * 4)], 4),
        ([("A", [3] * 5), ("B", [3] * 4)], 3),
        ([("A", [2] * 6), ("B", [2] * 4)], 2),
    ],
)
def test_it_is_the_mean_over_all_forms(
    plan: list, meter: int, rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each of all cuts of a short song is grouped by itself, and weighs as it is likely."""
    song = made_song(plan, rng, meter=meter, noise=1.0)
    positions = song.bar_map.positions
    bars = bar_evidence(song.evidence, positions, meter)
    scores = segment_scores(bars)
    monkeypatch.setattr(outlook, "UNLIKELY", 1e-9)
    found = outlook.outlook_of(bars, scores, ())
    sections, phrases = np.zeros(found.beats.size), np.zeros(found.phrases.shape)
    for probability, edges in all_forms(bars, scores):
        cut = sections_between(
            bars.starts[list(edges)], ["A"] * (len(edges) - 1), np.ones(len(edges) - 1)
        )
        sections[list(edges[:-1])] += probability
        grouped = group_phrases(positions, meter, cut, bars=bars)
        for section in cut:
            end = section.start_beat + section.n_beats
            inside = [p for p in grouped if section.start_beat <= p.start_beat < end]
            for row, beats in zip(phrases, found.groups.tolist(), strict=True):
                for phrase in phrases_of_length(inside, beats, highest=found.groups[0], end=end):
                    inner = phrase.start_beat != section.start_beat
                    row[found.beats.tolist().index(phrase.start_beat)] += (
                        inner * probability * phrase.strength
                    )

    assert 0.05 < sections[1:].max() < 1  # there is a doubt to be weighed
    assert found.sections == pytest.approx(sections, abs=6e-4)
    assert found.phrases == pytest.approx(phrases, abs=6e-4)


def test_sure_sections_are_expected_where_they_are(rng: np.random.Generator) -> None:
    """In clear music the outlook says what the form says."""
    song = made_song([(letter, FOURS) for letter in "ABACB"], rng, noise=0.1)
    formed = add_form(song.bar_map, song.evidence)
    expected = dict(zip(formed.outlook.beats.tolist(), formed.outlook.sections, strict=True))

    assert all(expected.pop(section.start_beat) > 0.9 for section in formed.sections)
    assert max(expected.values()) < 0.2


def test_a_song_too_short_to_be_cut_has_none(rng: np.random.Generator) -> None:
    """Seven bars are one section, whatever they hold."""
    song = made_song([("A", [4] * 3), ("B", [4] * 4)], rng)

    assert add_form(song.bar_map, song.evidence).outlook is None
