"""How every command gets at a song: cache, progress bar, corrections."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from phrasefit.model import Correction, Routine
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
    anyway: bool = False,
    no_cache: bool = False,
    targets: tuple[str | Path | None, ...] = (),
    force: bool = False,
    routine: Routine | None = None,
    level_of_beats: bool = False,
) -> Analysis:
    """Listen to `song` with a progress bar, or recall it; apply corrections.

    `targets` are the files the command will write: they are checked first.  Half and
    double mean the counts that are shown, which `routine` helps to choose; with
    `level_of_beats` they mean the beats of the map.
    """
    from phrasefit import pipeline
    from phrasefit.cli._edge import Progress, tell
    from phrasefit.files import protect
    from phrasefit.fit.grid import level_of

    protect(song, "the song")  # before the long work, as its reader does it at the end only
    check_targets(targets, force=force)
    with ExitStack() as stack:
        store = None
        if not no_cache:
            from phrasefit.store import Store

            store = stack.enter_context(Store())
        progress = Progress(song.name[:30])
        stack.callback(progress.close)
        analysis = pipeline.analyse(
            song, store=store, hand_made=hand_made, anyway=anyway, progress=progress
        )
        if forget:
            analysis = pipeline.forget(analysis, store=store)
        if change is not None and change != pipeline.UNTOUCHED:
            if change.level and not level_of_beats:
                shown = level_of(analysis.bar_map, routine)
                change = replace(change, level=change.level / shown)
            analysis = pipeline.correct(analysis, change, store=store)
    for note in store.notes if store else ():  # a damaged cache was moved aside
        tell(f"phrasefit: {note}", err=True)
    return analysis
