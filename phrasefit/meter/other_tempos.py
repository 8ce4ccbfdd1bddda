"""Music in a tempo of its own: a slow opening, the second song after a cut.

A reading is one level of one tempo, so that what is a quarter faster or slower has no beats in
it.  What is left without any for long is heard as a song by itself, at the level that people
count it at, and believed where its pulse is sure.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit._dp import Chain
from phrasefit.meter.bars import NOT_DECODED
from phrasefit.meter.beat_descriptors import FrameEvidence
from phrasefit.meter.half_beats import SAME_TEMPO, in_one_phase
from phrasefit.meter.pointer import decode_song
from phrasefit.meter.pulse import judge_pulse
from phrasefit.meter.tempo_readings import Reading, find_readings, smooth_beats
from phrasefit.model import STEADY_FROM

LEAST_S = 10.0  # the shortest music whose pulse `judge_pulse` was fitted to judge


def in_one_tempo(
    heard: FrameEvidence, weights: dict[str, np.ndarray]
) -> tuple[list[Reading], list[Chain]]:
    """List the ways to count what is heard, and decode the most probable: without other tempos."""
    readings = find_readings(heard, weights)
    decoded = decode_song(heard, readings[0], weights) if readings else []
    return readings, in_one_phase(heard, decoded)


def with_other_tempos(
    heard: FrameEvidence, chains: list[Chain], weights: dict[str, np.ndarray]
) -> list[Chain]:
    """Add the beats of stretches that have none.

    Parameters
    ----------
    heard : FrameEvidence
    chains : list of Chain
        As decoded, in order of time.
    weights : dict of str to np.ndarray
        The observation model's `decoder_weights`.

    Returns
    -------
    list of Chain
        Those given, and the new ones, in order of time.
    """
    begins = [0, *(round(float(chain.steps[-1])) + 1 for chain in chains)]
    ends = [*(round(float(chain.steps[0])) for chain in chains), len(heard.gain)]
    usual = float(np.median(np.concatenate([np.diff(chain.steps) for chain in chains])))
    found = [
        _at_level(usual, replace(chain, steps=chain.steps + begin))
        for begin, end in zip(begins, ends, strict=True)
        if (end - begin) * heard.hop_s >= LEAST_S
        for chain in _by_itself(heard.part(begin, end), weights)
    ]
    return sorted([*chains, *found], key=lambda chain: chain.steps[0])


def _by_itself(heard: FrameEvidence, weights: dict[str, np.ndarray]) -> list[Chain]:
    """Decode a stretch as a song of its own; nothing where its pulse is not sure."""
    readings, decoded = in_one_tempo(heard, weights)
    if not decoded:
        return []
    pulse = judge_pulse(heard, readings, [smooth_beats(c.steps) for c in decoded], weights)
    return with_other_tempos(heard, decoded, weights) if pulse >= STEADY_FROM else []


def _at_level(usual: float, chain: Chain) -> Chain:
    """Count the beats between, too, if a chain goes at half the tempo of the rest of the song.

    It is the same pulse, played thinly: people count on.
    """
    if abs(float(np.median(np.diff(chain.steps))) / usual / 2 - 1) > SAME_TEMPO:
        return chain
    between = (chain.steps[1:] + chain.steps[:-1]) / 2
    steps = np.sort(np.append(chain.steps, between))
    return Chain(
        steps=steps,
        rates=np.repeat(chain.rates, 2)[: len(steps)],
        places=np.full(len(steps), NOT_DECODED),
    )
