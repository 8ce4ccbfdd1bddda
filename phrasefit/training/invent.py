"""Patterns nobody wrote: kicks, hats, bass and chord rhythms drawn by chance.

They keep what makes a style (where its snare falls, how fine its rhythm is) and change
the rest, so that no fixed set of patterns can be learned by heart.
"""

from __future__ import annotations

import numpy as np

from phrasefit.training.styles import Style

HATS = (
    "x.x.x.x.", "xoxoxoxo", "xxxxxxxx", "..x...x.", "x...x...", "x.xxx.xx", "xxxoxxxo",
    "x.xox.xo", "x..xx..x", ".x.x.x.x", "x.x.x.xx", "X.o.X.o.",
)  # fmt: skip
TRIPLET_HATS = ("x.xx.x", "xxxxxx", "x..x..", "..x..x", "x.ox.o")
BACKBEAT_VOICES = "SRQE"


def _step_weights(style: Style) -> np.ndarray:
    """How likely a note starts on each step of a bar: beats, halves, the rest."""
    steps, n = style.steps, style.meter * style.steps
    within = np.arange(n) % steps
    weights = np.where(within == 0, 1.0, 0.3)
    if steps % 2 == 0:
        weights = np.where(within == steps // 2, 0.6, weights)
    if steps == 3:
        weights = np.where(within == 2, 0.5, np.where(within == 1, 0.12, weights))
    return weights


def invent_drums(rng: np.random.Generator, variant: dict[str, str], style: Style) -> dict[str, str]:
    """Give a drum variant another kick, other hats, or more ghost notes."""
    n = style.meter * style.steps
    new = dict(variant)
    backbeat = next((variant[v] for v in BACKBEAT_VOICES if v in variant), None)
    if backbeat is None or "K" not in variant or len(backbeat) < n:
        return new
    if rng.random() < 0.7:
        new["K"] = _kick(rng, style, backbeat[:n])
    hat = next((v for v in "HDYZ" if v in variant), None)
    if hat and rng.random() < 0.5:
        pool = TRIPLET_HATS if style.steps % 3 == 0 else HATS
        text = pool[rng.integers(len(pool))]
        del new[hat]
        new[str(rng.choice(["H", "H", "H", "D", "Y", "Z"]))] = (text * n)[:n]
    if "S" in new and style.steps >= 4 and rng.random() < 0.25:
        marks = list(new["S"][:n])
        for step in range(n):
            if marks[step] == "." and rng.random() < 0.12:
                marks[step] = "g"
        new["S"] = "".join(marks)
    return new


def _kick(rng: np.random.Generator, style: Style, backbeat: str) -> str:
    """Draw a kick: mostly on the one, seldom with the snare, syncopated or plain."""
    n = style.meter * style.steps
    busy = float(rng.choice([0.1, 0.25, 0.4]))
    likely = _step_weights(style) * busy
    likely[[i for i, mark in enumerate(backbeat) if mark in "Xx"]] *= 0.3
    likely[0] = 0.93
    if style.meter % 2 == 0:
        likely[n // 2] = max(likely[n // 2], float(rng.choice([0.15, 0.5, 0.85])))
    hits = rng.random(n) < likely
    return "".join(("X" if i == 0 else "x") if hit else "." for i, hit in enumerate(hits))


def follow_kick(rng: np.random.Generator, kick: str, style: Style) -> str:
    """Let the bass play with the kick, now and then a note of its own."""
    n = style.meter * style.steps
    cell = (kick * n)[:n] if len(kick) < n else kick[:n]
    hold = "-" if rng.random() < 0.7 else "."
    out = []
    for step, mark in enumerate(cell):
        if mark in "Xx" or step == 0:
            out.append("R" if step == 0 or rng.random() < 0.75 else str(rng.choice(list("FOTSA"))))
        else:
            free = rng.random() < 0.05 and step % style.steps == 0
            out.append(str(rng.choice(list("RFA"))) if free else hold)
    return "".join(out)


def invent_chords(rng: np.random.Generator, style: Style) -> str:
    """Draw a rhythm of chords: held, short, syncopated or sparse."""
    n = style.meter * style.steps
    likely = _step_weights(style) * float(rng.choice([0.25, 0.5, 0.9]))
    if rng.random() < 0.3:  # off the beat
        likely = np.where(np.arange(n) % style.steps == 0, 0.08, likely + 0.2)
    hits = rng.random(n) < likely
    if rng.random() < 0.6:
        hits[0] = True
    mark = str(rng.choice(["x", "x", "s"]))
    out = [mark if hit else "-" for hit in hits]
    if mark == "x" and rng.random() < 0.4 and not hits[-style.steps // 2 :].any():
        out[-max(1, style.steps // 2)] = "P"
    first = next((i for i, m in enumerate(out) if m != "-"), n)
    return "." * first + "".join(out[first:])


def invent_riff(rng: np.random.Generator, style: Style) -> str:
    """Draw an ostinato of one or two bars over the tones of the chord."""
    n = style.meter * style.steps * int(rng.choice([1, 1, 2]))
    likely = np.resize(_step_weights(style), n) * float(rng.choice([0.4, 0.8, 1.0]))
    hits = rng.random(n) < likely
    hits[0] = rng.random() < 0.85
    gap = str(rng.choice(["-", "."]))
    tones = rng.integers(1, 6, size=n)
    if rng.random() < 0.6:
        tones[0] = 1
    out = [str(tone) if hit else gap for tone, hit in zip(tones, hits, strict=True)]
    first = int(hits.argmax()) if hits.any() else n
    return "." * first + "".join(out[first:])
