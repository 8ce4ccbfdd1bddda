"""The shipped example routines: without mistakes, and of the kinds people need."""

from __future__ import annotations

from pathlib import Path

import pytest

import phrasefit
from phrasefit.routine.check import check_routine
from phrasefit.routine.dancer_state import danced_parts, free_foot_after
from phrasefit.routine.spec import load_routine
from phrasefit.routine.turns import clock

FOLDER = Path(phrasefit.__file__).parent / "routines"
EXAMPLES = sorted(FOLDER.glob("*.toml"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_pass_without_a_doubt(path: Path) -> None:
    """Every shipped routine is right, and nothing in it is unusual."""
    routine, findings = check_routine(path)

    assert routine is not None
    assert findings == ()
    assert "(invented)" in routine.by


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_repeat_on_the_same_foot(path: Path) -> None:
    """The last count of each frees the foot that begins."""
    routine = load_routine(path)

    assert all(free_foot_after(part)[-1] == routine.starting_foot for part in danced_parts(routine))


def test_examples_are_of_many_kinds() -> None:
    """32 counts on 4 walls, 64 on 2, a waltz of 48, a phrased one, 16 on 1 wall."""
    routines = {path.stem: load_routine(path) for path in EXAMPLES}
    sizes = {name: (r.counts, r.walls, r.meter, bool(r.sequence)) for name, r in routines.items()}

    assert sizes == {
        "borrowed-teaspoons": (32, 4, 4, False),
        "first-gate": (16, 1, 4, False),
        "lighthouse-laundry": (64, 2, 4, False),
        "mill-pond-waltz": (48, 4, 3, False),
        "two-lanterns": (48, 2, 4, True),
    }
    assert [tag.turn_deg for tag in routines["lighthouse-laundry"].tags] == [-180, 0]


def test_facings_of_an_example_by_hand() -> None:
    """Counted through by hand: half right, quarter left, so the next wall is 3:00."""
    part = load_routine(FOLDER / "borrowed-teaspoons.toml").parts[0]

    assert [(p.after_count, clock(p.turn_deg)) for p in part.restart_points] == [
        (4, "12:00"),
        (8, "12:00"),
        (12, "6:00"),
        (16, "6:00"),
        (20, "3:00"),
        (24, "3:00"),
        (28, "3:00"),
    ]
