"""A pulse that goes on does not go on half a beat off: the whole song tells which half is right.

Where the off-beat is played louder for a while, a tracker that may break off and begin anew
follows it, and comes back later.  Nobody dances so: what begins again at once, in the same
tempo and half a beat off, is the same pulse, heard on its other half.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from phrasefit._dp import Chain
from phrasefit.meter.bars import NOT_DECODED
from phrasefit.meter.beat_descriptors import FrameEvidence, nearest_frames

AT_ONCE_BEATS = 2.75  # after a longer rest music may begin anew anywhere
SAME_TEMPO = 0.03
HALF = (0.35, 0.65)  # of a beat, by which chains are apart
IN_STEP_BEATS = 0.15  # chains that are so near to a whole number of beats apart are one


def in_one_phase(heard: FrameEvidence, chains: list[Chain]) -> list[Chain]:
    """Move chains that follow each other half a beat off to the half with more evidence.

    What then goes on in step is one chain: it is timed as a whole.

    Parameters
    ----------
    heard : FrameEvidence
    chains : list of Chain
        As decoded, in order of time.

    Returns
    -------
    list of Chain
        Beats that were moved or filled in have places that are open (`NOT_DECODED`).
    """
    found: list[Chain] = []
    for first, stop in _pulses(chains):
        turned = np.cumsum([0, *(_apart(a, b) == 1 for a, b in pairwise(chains[first:stop]))]) % 2
        lead = [_lead_of_beats(heard, chain) for chain in chains[first:stop]]
        keep = int(np.dot(lead, 1 - 2 * turned) < 0)
        for index, (chain, half) in enumerate(zip(chains[first:stop], turned, strict=True)):
            here = chain if half == keep else _moved(chain)
            joined = _joined(found[-1], here) if index > first else None
            found[-1 if joined else len(found) :] = [joined or here]
    return found


def _pulses(chains: list[Chain]) -> list[tuple[int, int]]:
    """Group chains that are one pulse: first and stop of each group."""
    edges = [i for i, pair in enumerate(pairwise(chains), 1) if _apart(*pair) is None]
    return list(pairwise([0, *edges, len(chains)])) if chains else []


def _apart(before: Chain, after: Chain) -> int | None:
    """By how many half beats chains are apart, modulo two; None if they are two pulses."""
    gaps = [float(np.median(np.diff(chain.steps))) for chain in (before, after)]
    beats = float(after.steps[0] - before.steps[-1]) / np.mean(gaps)
    if abs(gaps[0] / gaps[1] - 1) > SAME_TEMPO or beats > AT_ONCE_BEATS:
        return None
    return int(HALF[0] <= beats % 1 <= HALF[1])


def _lead_of_beats(heard: FrameEvidence, chain: Chain) -> float:
    """How much more the beats of a chain sound like beats than what lies between them."""
    n_frames = len(heard.gain)
    on, between = (nearest_frames(at, n_frames) for at in (chain.steps[1:], _between(chain)))
    return float((heard.gain_near[on] - heard.gain_near[between]).sum())


def _between(chain: Chain) -> np.ndarray:
    return (chain.steps[1:] + chain.steps[:-1]) / 2


def _moved(chain: Chain) -> Chain:
    return replace(
        chain,
        steps=_between(chain),
        rates=chain.rates[1:],
        places=np.full(len(chain.steps) - 1, NOT_DECODED),
    )


def _joined(before: Chain, after: Chain) -> Chain | None:
    """Put two chains of one phase together, beats between them filled in; None if out of step."""
    rest = float(after.steps[0] - before.steps[-1])
    in_beats = rest / float(np.median(np.diff(before.steps)))
    n_beats = round(in_beats)
    if n_beats < 1 or abs(in_beats - n_beats) > IN_STEP_BEATS:
        return None
    filled = before.steps[-1] + rest * np.arange(1, n_beats) / n_beats
    return Chain(
        steps=np.hstack([before.steps, filled, after.steps]),
        rates=np.hstack([before.rates, np.repeat(before.rates[-1], len(filled)), after.rates]),
        places=np.hstack([before.places, np.full(len(filled), NOT_DECODED), after.places]),
    )
