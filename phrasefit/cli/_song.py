"""How every command gets at a song: cache, progress bar, corrections.

May import: everything, inside functions.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from phrasefit.model import BarMap, Correction, FitPlan, Routine
    from phrasefit.pipeline import Analysis


def check_targets(targets: tuple[str | Path | None, ...], *, force: bool) -> None:
    """Refuse before the long work what could not be written after it."""
    from phrasefit.files import check_target

    for target in targets:
        if target is not None and str(target) != "-":
            check_target(Path(target), force=force)


def heard(
    song: Path,
    *,
    change: Correction | None = None,
    forget: bool = False,
    hand_made: bool = False,
    no_cache: bool = False,
    targets: tuple[str | Path | None, ...] = (),
    force: bool = False,
) -> Analysis:
    """Listen to `song` with a progress bar, or recall it; apply corrections.

    `targets` are the files the command will write: they are checked first.
    """
    from contextlib import ExitStack

    from phrasefit import pipeline
    from phrasefit.cli._edge import Progress

    check_targets(targets, force=force)
    with ExitStack() as stack:
        store = None
        if not no_cache:
            from phrasefit.store import Store

            store = stack.enter_context(Store())
        progress = Progress(song.name[:30])
        stack.callback(progress.close)
        analysis = pipeline.analyse(song, store=store, hand_made=hand_made, progress=progress)
        if forget:
            analysis = pipeline.forget(analysis, store=store)
        if change is not None and change != pipeline.UNTOUCHED:
            analysis = pipeline.correct(analysis, change, store=store)
    return analysis


def beats_per_count(bar_map: BarMap) -> float:
    """Tell at which level dancers count the song when no routine says otherwise."""
    from phrasefit.fit.grid import count_grid

    return count_grid(bar_map).beats_per_count


def routine_of(
    routine: Path | None, *, counts: int | None, walls: int | None, meter: int | None = None
) -> Routine:
    """Read the routine file, or make a routine of numbers alone.

    Raises
    ------
    ParameterError
        If both or neither are given.
    RoutineError
        If the file contradicts itself.
    """
    from phrasefit.errors import ParameterError
    from phrasefit.routine.spec import load_routine, routine_from_numbers

    if routine is not None and (counts is not None or walls is not None):
        raise ParameterError("give a routine file or --counts and --walls, not both")
    if routine is not None:
        return load_routine(routine)
    if counts is None:
        raise ParameterError("no routine given; name a routine file, or --counts 32 --walls 4")
    return routine_from_numbers(counts=counts, walls=walls or 1, meter=meter or 4)


def fitted(bar_map: BarMap, routine: Routine, **wishes: object) -> FitPlan:
    """Lay `routine` over `bar_map` (see `phrasefit.fit.fit_routine`)."""
    from phrasefit.fit import fit_routine

    return fit_routine(bar_map, routine, **wishes)
