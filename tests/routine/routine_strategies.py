"""Random routine files without mistakes, built beside an independent simulation."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

# Rhythms of a line and the counts they fill.
RHYTHMS = {"{0}": 1, "{0}-{1}": 2, "{0}&{1}": 2, "{0}-{2}": 3, "{0}a{1}": 2, "{0}&{1}&": 2}
MOMENTS = {"{0}": 1, "{0}-{1}": 2, "{0}&{1}": 3, "{0}-{2}": 3, "{0}a{1}": 3, "{0}&{1}&": 4}
TURNS = {"": 0, "1/4 L": -90, "1/4 R": 90, "1/2 R": 180, "1/8 L": -45, "full R": 360}


@dataclass(frozen=True)
class Written:
    """A routine file and what a person dancing it would find."""

    text: str
    counts: int
    turned: list[int]  # after each count, signed degrees
    weight: list[str]  # after each count
    line_ends: set[int]  # numbers of counts after which a line is done
    foot: str


@st.composite
def written_routines(draw: st.DrawFn, meter: int = 4) -> Written:
    """Draw step lines that fill whole sections, with legal feet, and dance them."""
    section = 8 if meter == 4 else 6
    n_sections = draw(st.integers(2, 6))
    counts = n_sections * section
    by_section = draw(st.booleans())
    foot = draw(st.sampled_from("RL"))
    weight = {"R": "L", "L": "R"}[foot]
    lines, turned, weights, ends = [], [], [], set()
    begun = False
    danced = turn_sum = 0
    while danced < counts:
        left = section - danced % section
        rhythm = draw(st.sampled_from([r for r, n in RHYTHMS.items() if n <= left]))
        signs = []
        for _ in range(MOMENTS[rhythm]):
            kind = draw(st.sampled_from(["step", "step", "touch"])) if begun else "step"
            if kind == "step":
                weight = {"R": "L", "L": "R"}[weight]
                begun = True
            signs.append(weight if kind == "step" else ".")
        turn = draw(st.sampled_from(sorted(TURNS)))
        first = danced % section if by_section else danced
        numbers = [first + 1 + place for place in range(3)]
        lines.append(f"{rhythm.format(*numbers)} | move | {' '.join(signs)} | {turn}")
        for place in range(RHYTHMS[rhythm]):
            done = place == RHYTHMS[rhythm] - 1
            turned.append(turn_sum + (TURNS[turn] if done else 0))
            # The weight inside a line: only whole counts and what stands behind them.
            upto = {"{0}-{1}": [1, 2], "{0}-{2}": [1, 2, 3], "{0}": [1]}.get(rhythm, [2, 4])[place]
            weights.append(_standing(signs[:upto], weights, foot))
        turn_sum += TURNS[turn]
        danced += RHYTHMS[rhythm]
        ends.add(danced)
    steps = "\n".join(lines)
    name = "waltz" if meter == 3 else "4/4"
    text = f'counts = {counts}\nrhythm = "{name}"\nfoot = "{foot}"\nsteps = """\n{steps}\n"""\n'
    return Written(text, counts, turned, weights, ends, foot)


def _standing(signs: list[str], weights: list[str], foot: str) -> str:
    """Find who stands after some signs of a line, given the counts before."""
    before = weights[-1] if weights else {"R": "L", "L": "R"}[foot]
    return next((sign for sign in reversed(signs) if sign != "."), before)
