"""What the commands for many songs share: folders, workers, progress, failures."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Force

if TYPE_CHECKING:
    from phrasefit.batch import BatchProgress, BatchReport, Workers
    from phrasefit.cli._plan import Targets
    from phrasefit.collection import Collection
    from phrasefit.model import Routine
    from phrasefit.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """By whom a collection is worked on."""

    jobs: Annotated[
        int, typer.Option("--jobs", min=0, help="Processes that listen; 0 = one for each core.")
    ] = 0
    backend: Annotated[
        str,
        typer.Option("--backend", help="loky = this machine; dask = the workers of a scheduler."),
    ] = "loky"
    scheduler: Annotated[
        str,
        typer.Option("--scheduler", metavar="ADDRESS", help="The Dask scheduler: tcp://HOST:8786."),
    ] = ""
    force: Force = False

    def workers(self) -> Workers:
        """Check who shall do the work."""
        from phrasefit.batch import Workers

        return Workers(n_jobs=self.jobs, backend=self.backend, scheduler=self.scheduler)


def split_places(things: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """Tell folders and songs from routine files (TOML) and folders that hold only such."""
    places: list[Path] = []
    routines: list[Path] = []
    for thing in things:
        held = sorted(p for p in thing.iterdir() if p.is_file()) if thing.is_dir() else [thing]
        if held and all(path.suffix.lower() == ".toml" for path in held):
            routines += held
        else:
            places.append(thing)
    return places, routines


@contextmanager
def open_store() -> Iterator[Store]:
    """Open the cache; say what happened to it, at the end and on standard error."""
    from phrasefit.store import Store

    with Store() as store:
        try:
            yield store
        finally:
            for note in dict.fromkeys(store.notes):
                tell(f"phrasefit: {note}", err=True)


def gather(
    places: Sequence[Path],
    store: Store,
    workers: Workers,
    *,
    known: bool,
    targets: Targets = (),
    force: bool = False,
) -> tuple[Collection, BatchReport]:
    """Listen to what is new in `places`; give all their songs, ready for ranking.

    `targets` are the files the command will write: they are checked first.

    Raises
    ------
    ParameterError
        If no place is given, or there is no song in any.
    OutputError
        If one of `targets` cannot be written, or is one of the songs.
    """
    from phrasefit.batch import BatchReport, listen_to, songs_in
    from phrasefit.cli._song import check_targets
    from phrasefit.collection import Collection
    from phrasefit.errors import ParameterError
    from phrasefit.files import protect

    check_targets(targets, force=force)
    if known:
        if places:
            raise ParameterError("give folders or --known, not both")
        return Collection.of(store), BatchReport()
    if not places:
        raise ParameterError("no folder given; name a folder with songs, or use --known")
    paths = songs_in(places)
    if not paths:
        raise ParameterError(f"{places[0]}: there are no songs in it; check the folder")
    for path in paths:
        protect(path, "one of the songs")
    check_targets(targets, force=force)
    with _listening(len(paths)) as progress:
        report = listen_to(paths, store, workers=workers, progress=progress)
    library = Collection.of(store, keys=report.hash_of.values(), unkept=report.unkept)
    return library, report


@contextmanager
def _listening(n_files: int) -> Iterator[BatchProgress]:
    """Show how far the listening is: songs done, rate, time left, the song just done."""
    from phrasefit.cli._edge import Progress
    from phrasefit.clock import clock_time

    bar, begin = Progress("listening"), time.monotonic()

    def show(n_done: int, n_all: int, path: Path) -> None:
        rate = n_done / max(1e-9, time.monotonic() - begin)
        left = clock_time((n_all - n_done) / rate, decimals=0)
        pace = f"{rate:.1f}/s" if rate >= 1 else f"{1 / rate:.1f} s each"
        bar(n_done / n_all, f"{n_done}/{n_all} {pace} {left} left {path.stem}")

    try:
        yield show
    finally:
        bar.close()


def file_of(library: Collection, report: BatchReport) -> dict[str, str]:
    """Find a file for each song: from this run, or where it was last heard."""
    if report.hash_of:
        return {key: str(path) for key, path in report.path_of.items()}
    return library.known_files()


def unless_stopped(report: BatchReport, target: str | None) -> str | None:
    """Give `target`; None for a file of a batch that was stopped, which the next run would refuse.

    What is printed (``-``) is printed all the same.
    """
    return None if report.n_left and target != "-" else target


def finish(report: BatchReport) -> None:
    """List what failed, with reasons; end with the exit code that says so."""
    from phrasefit.cli._edge import EXIT_PARTIAL, EXIT_STOPPED, remedy

    for note in report.notes:
        tell(f"phrasefit: {note}", err=True)
    if report.failures:
        n = len(report.failures)
        print(f"{n} file{'s' * (n != 1)} could not be used:", file=sys.stderr)
        for failure in report.failures:
            tell(f"  {failure.path}: {failure.trouble}{remedy(failure.reason)}", err=True)
    if report.n_left:
        print(
            f"stopped: {report.n_new} songs were heard and are kept, {report.n_left} are left;"
            " run the command again to go on",
            file=sys.stderr,
        )
        raise typer.Exit(EXIT_STOPPED)
    if report.failures:
        raise typer.Exit(EXIT_PARTIAL)


def tempo_range(text: str | None) -> tuple[float, float] | None:
    """Read ``100-124`` or ``112``.

    Raises
    ------
    ParameterError
        If it is no such range.
    """
    import re

    from phrasefit.errors import ParameterError, shown

    if text is None:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?)(?:\s*-\s*(\d+(?:\.\d+)?))?", text.strip())
    if not match:
        raise ParameterError(f"tempo={shown(text)} is no range; write --tempo 100-124")
    low, high = match.groups()
    return float(low), float(high or low)


def read_routines(paths: Sequence[Path]) -> list[Routine]:
    """Read routine files; the first mistake ends the command, with its line."""
    from phrasefit.routine.spec import load_routine

    return [load_routine(path) for path in paths]
