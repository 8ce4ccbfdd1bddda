"""What phrases are to be expected, whatever the sections turn out to be.

The likeliest form is shown, but it is one of many that are nearly as likely, and which of
them wins may hang on a trifle.  So plans look at the mean of all of them as well: each
possible section, with the phrases inside it, counts with its probability.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from phrasefit.form.boundary_cues import BarEvidence
from phrasefit.form.phrases import heard_odds, phrases_between
from phrasefit.form.sections import FEWEST_BARS, TEMPER
from phrasefit.form.segmentation import segment_probabilities, start_probabilities
from phrasefit.meters import phrase_beats_of
from phrasefit.model import Outlook
from phrasefit.phrase_lengths import phrases_of_length

UNLIKELY = 0.03  # what is rarer is left out: it hardly changes a plan, and is kept with each song
MULTIPLES = (1, 2, 4, 8)  # of the longest phrases; the last is 64 counts of three beats each


def outlook_of(bars: BarEvidence, scores: np.ndarray, likeliest: Sequence[int]) -> Outlook | None:
    """Weigh all forms of a song.

    Parameters
    ----------
    bars : BarEvidence
    scores : np.ndarray [shape=(n + 1, n + 1)]
        Log score of every section (`form.sections.segment_scores`), -inf where a person
        ruled it out.
    likeliest : sequence of int
        Where the sections and phrases of the form that is shown begin (`form_starts`).

    Returns
    -------
    Outlook or None
        None for music that is too short to be divided.
    """
    n_bars = len(bars.cues)
    if n_bars < FEWEST_BARS:
        return None
    probability = segment_probabilities(TEMPER * scores)
    highest = phrase_beats_of(bars.meter)[0]
    groups = highest * np.array(MULTIPLES)
    odds = heard_odds(bars)
    bar_at = {beat: bar for bar, beat in enumerate(bars.starts.tolist())}
    expected = np.zeros((len(groups), n_bars))
    longer = bars.starts - bars.starts[:-1, None] > highest  # others are one phrase
    for start, end in np.argwhere(longer & (probability >= UNLIKELY)).tolist():
        phrases = phrases_between(bars, odds, start, end)
        for row, beats in zip(expected, groups.tolist(), strict=True):
            last = int(bars.starts[end])
            for phrase in phrases_of_length(phrases, beats, highest=highest, end=last):
                bar = bar_at[phrase.start_beat]
                row[bar] += probability[start, end] * phrase.strength * (bar != start)
    begins = start_probabilities(probability)
    return Outlook(
        beats=bars.starts[:-1],
        sections=np.where(begins < UNLIKELY, 0.0, begins).round(3),
        groups=groups,
        phrases=np.where(expected < UNLIKELY, 0.0, expected).round(3),
        likeliest=np.array(likeliest),
    )
