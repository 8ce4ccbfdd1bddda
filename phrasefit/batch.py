"""Many songs: find them in folders, listen to what is new in several processes, recall the rest.

The processes are joblib's: they live through the whole batch, so every library is
imported once in each.  They only read files and return what they heard; this process
alone writes to the cache, one song at a time, so that a stop at any moment keeps all
that was finished.  joblib's other backends (Dask) work the same way.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from phrasefit import pipeline
from phrasefit.errors import CacheError, MissingExtraError, ParameterError, PhrasefitError, Reason
from phrasefit.model import SongSummary
from phrasefit.parent_watch import start_worker
from phrasefit.ranking.summary import summary_of
from phrasefit.store import Store

# What a file is, its content decides; these suffixes only keep covers and texts out.
SONG_SUFFIXES = frozenset(
    {".aac", ".aif", ".aifc", ".aiff", ".au", ".caf", ".flac", ".m4a", ".m4b", ".mka", ".mp3",
     ".mp4", ".oga", ".ogg", ".opus", ".w64", ".wav", ".webm", ".wma"}
)  # fmt: skip
BACKENDS = ("loky", "dask")

ENDED_ITS_WORKER = "listening to it ended the program that did it (too little memory?)"

# Told (files done, files in all, the file just done).
BatchProgress = Callable[[int, int, Path], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Workers:
    """Who does the work: `n_jobs` processes here, or the workers of a Dask scheduler.

    `scheduler` is the address of the scheduler (``tcp://host:8786``).  Its workers must
    see the songs under the same paths.
    """

    n_jobs: int = 0
    backend: str = "loky"
    scheduler: str = ""

    def __post_init__(self) -> None:
        if self.backend not in BACKENDS:
            raise ParameterError(f"backend={self.backend!r} must be {' or '.join(BACKENDS)}")
        if (self.backend == "dask") != bool(self.scheduler):
            raise ParameterError(
                "a Dask backend needs the address of its scheduler, and only it does;"
                " use --backend dask --scheduler tcp://HOST:8786"
            )
        if self.n_jobs < 0:
            raise ParameterError(f"n_jobs={self.n_jobs} must be 1 or more, or 0 for all cores")

    @property
    def n_workers(self) -> int:
        """Processes on this machine."""
        return self.n_jobs or os.cpu_count() or 1

    def joblib_options(self) -> dict[str, object]:
        """Give what joblib's ``parallel_config`` wants to know.

        Raises
        ------
        MissingExtraError
            If Dask is asked for and not installed.
        """
        if self.backend == "loky":
            return {
                "backend": "loky",
                "n_jobs": self.n_workers,
                "initializer": start_worker,
                "initargs": (os.getpid(),),
            }
        try:
            import distributed  # noqa: F401 - joblib's backend needs it
        except ImportError as exc:
            raise MissingExtraError(
                "--backend dask needs Dask here and on its workers; pip install distributed"
            ) from exc
        return {"backend": "dask", "n_jobs": -1, "scheduler_host": self.scheduler}


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A file that could not be used, and why: in words, and for programs where they may ask."""

    path: Path
    trouble: str
    reason: Reason | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a worker returns for one file; `trouble` if it could not be used.

    `reason` is that of the error, `lasting` says that trying the same file again is of no
    use; `notes` are what happened to the cache meanwhile.
    """

    path: Path
    content_hash: str = ""
    document: str = ""
    summary: SongSummary | None = None
    trouble: str = ""
    reason: Reason | None = None
    lasting: bool = False
    notes: tuple[str, ...] = ()


@dataclass(kw_only=True)
class BatchReport:
    """What came of a batch: the sound of each usable file, and what went wrong.

    `n_new` files were listened to; `n_left` were not reached because the user stopped;
    `notes` are troubles of the cache.
    """

    hash_of: dict[Path, str] = field(default_factory=dict)
    failures: list[Failure] = field(default_factory=list)
    unkept: dict[str, Heard] = field(default_factory=dict)
    n_new: int = 0
    n_left: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def path_of(self) -> dict[str, Path]:
        """The first file of each sound."""
        return {key: path for path, key in reversed(self.hash_of.items())}


def songs_in(places: Iterable[Path]) -> list[Path]:
    """List the song files in folders and their subfolders, in order of their paths.

    Hidden files and folders are passed over, links to folders are not followed.  A file
    that is named itself is taken whatever its suffix.

    Parameters
    ----------
    places : iterable of Path
        Folders and song files.

    Returns
    -------
    list of Path
        Each file once.

    Raises
    ------
    ParameterError
        If a place does not exist.
    """
    found: dict[Path, None] = {}
    for place in places:
        if place.is_file():
            found[place] = None
        elif place.is_dir():
            found |= dict.fromkeys(sorted(_walk(place)))
        else:
            raise ParameterError(f"{place}: there is no such folder or file; check the name")
    return list(found)


def _walk(folder: Path) -> Iterator[Path]:
    for place, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in files:
            if not name.startswith(".") and os.path.splitext(name)[1].lower() in SONG_SUFFIXES:
                yield Path(place, name)


# ------------------------------------------------------------------ listening


def listen_to(
    paths: Sequence[Path],
    store: Store,
    *,
    workers: Workers | None = None,
    hand_made: bool = False,
    progress: BatchProgress | None = None,
) -> BatchReport:
    """Make sure that every song is in the store; listen to those that are not.

    Parameters
    ----------
    paths : sequence of Path
    store : Store
        Written to as each song is done.
    workers : Workers, optional
        All cores of this machine if left out.
    hand_made : bool
        Use the hand-made observation model.
    progress : callable, optional
        Told after each file that was listened to.

    Returns
    -------
    BatchReport
        Never raises for a single file.  After Ctrl-C it tells how many are left.
    """
    workers = workers or Workers()
    version = pipeline.analysis_version(hand_made=hand_made)
    report = BatchReport()
    new = recall(paths, store, version, report)
    try:
        for heard in _hear_all(new, store, workers, hand_made):
            report.n_new += 1
            _keep(heard, store, version, report)
            if progress:
                progress(report.n_new, len(new), heard.path)
    except KeyboardInterrupt:
        report.n_left = len(new) - report.n_new
    order = {path: i for i, path in enumerate(paths)}
    report.hash_of = dict(sorted(report.hash_of.items(), key=lambda item: order[item[0]]))
    report.failures.sort(key=lambda failure: order[failure.path])
    return report


def recall(paths: Sequence[Path], store: Store, version: str, report: BatchReport) -> list[Path]:
    """Take from the store what is known of unchanged files; return the others."""
    known, failed = store.files(), store.failures(version)
    heard = store.hashes_heard(version)
    new = []
    for path in paths:
        try:
            state, name = path.stat(), os.path.realpath(path)
        except OSError as exc:
            report.failures.append(Failure(path=path, trouble=f"cannot be opened ({exc.strerror})"))
            continue
        now = (state.st_size, state.st_mtime_ns)
        if name in known and known[name][:2] == now and known[name][2] in heard:
            report.hash_of[path] = known[name][2]
        elif name in failed and failed[name][:2] == now:
            _, _, trouble, reason = failed[name]
            report.failures.append(Failure(path=path, trouble=trouble, reason=reason))
        else:
            new.append(path)
    return new


def _keep(heard: Heard, store: Store, version: str, report: BatchReport) -> None:
    """Store one result; if the disk is full go on with what is in memory."""
    report.notes += [note for note in heard.notes if note not in report.notes]
    if heard.trouble:
        report.failures.append(Failure(path=heard.path, trouble=heard.trouble, reason=heard.reason))
    else:
        report.hash_of[heard.path] = heard.content_hash
    try:
        keep_heard(heard, store, version)
    except (CacheError, OSError) as exc:
        if not heard.trouble:
            report.unkept[heard.content_hash] = heard
        if str(exc) not in report.notes:
            report.notes.append(str(exc))


def keep_heard(heard: Heard, store: Store, version: str) -> None:
    """Store what came of one file; what is not lasting is forgotten.

    Raises
    ------
    CacheError
        If the store cannot be written.
    OSError
        If the file is no longer there.
    """
    if heard.lasting:
        store.put_failure(heard.path, version, heard.trouble, heard.reason)
    elif not heard.trouble:
        pipeline.keep_analysis(store, heard.content_hash, version, heard.document, path=heard.path)
        if heard.summary and store.get_correction(heard.content_hash) is None:
            store.put_summaries([heard.summary])


def hear(path: Path, store_path: Path | None, hand_made: bool, anyway: bool = False) -> Heard:
    """Listen to one file, whatever happens.

    `store_path` is where to recall a sound from that is known under another name;
    nothing is written there.  `anyway` is as in `pipeline.analyse`.
    """
    version = pipeline.analysis_version(hand_made=hand_made)
    notes: list[str] = []
    try:
        if store_path is None:
            analysis = pipeline.listen(path, hand_made=hand_made, anyway=anyway)
        else:
            with Store(store_path) as store:
                notes = store.notes
                analysis = pipeline.listen(
                    path, recall=lambda key: store.get_analysis(key, version),
                    hand_made=hand_made, anyway=anyway,
                )  # fmt: skip
        key = analysis.info.content_hash
        return Heard(
            path=path,
            content_hash=key,
            document=pipeline.document_of(analysis),
            summary=summary_of(analysis.bar_map, key=key, version=version),
            notes=tuple(notes),
        )
    except PhrasefitError as exc:
        lasting = not isinstance(exc, MissingExtraError | CacheError)
        return Heard(
            path=path, trouble=exc.what, reason=exc.reason, lasting=lasting, notes=tuple(notes)
        )
    except Exception as exc:  # one file must never stop a batch, whatever is wrong with it
        return Heard(path=path, trouble=f"could not be listened to ({type(exc).__name__}: {exc})")


def _hear_all(
    paths: Sequence[Path], store: Store, workers: Workers, hand_made: bool
) -> Iterator[Heard]:
    """Yield results as they are done; a worker that dies costs only its own file."""
    if workers.backend == "dask":
        yield from _parallel(paths, None, workers.joblib_options(), hand_made)
        return
    if min(workers.n_workers, len(paths)) < 2:
        for path in paths:
            yield hear(path, store.path, hand_made)
        return
    left = dict.fromkeys(paths)
    while left:
        try:
            n_workers = min(workers.n_workers, len(left))
            options = workers.joblib_options() | {"n_jobs": n_workers}
            for heard in _parallel(list(left), store.path, options, hand_made):
                del left[heard.path]
                yield heard
        except _dead_worker():
            # Any of those in work may be the one: try as many singly, then go on together.
            for path in list(itertools.islice(left, 2 * workers.n_workers)):
                del left[path]
                yield _hear_alone(path, store.path, hand_made)


def _parallel(
    paths: Sequence[Path], store_path: Path | None, options: dict[str, object], hand_made: bool
) -> Iterator[Heard]:
    from joblib import Parallel, delayed, parallel_config

    with parallel_config(**options):
        yield from Parallel(return_as="generator_unordered", batch_size=1)(
            delayed(hear)(path, store_path, hand_made) for path in paths
        )


def _dead_worker() -> type[Exception]:
    from joblib.externals.loky.process_executor import BrokenProcessPool

    return BrokenProcessPool


def _hear_alone(path: Path, store_path: Path, hand_made: bool) -> Heard:
    """Listen in a process of its own, whose death proves the file guilty."""
    from joblib.externals.loky import ProcessPoolExecutor

    with ProcessPoolExecutor(
        max_workers=1, initializer=start_worker, initargs=(os.getpid(),)
    ) as executor:
        try:
            return executor.submit(hear, path, store_path, hand_made).result()
        except _dead_worker():
            return Heard(
                path=path,
                trouble=ENDED_ITS_WORKER,
            )
