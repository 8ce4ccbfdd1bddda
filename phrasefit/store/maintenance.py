"""Looking after the cache: what is in it, whether it is sound, throwing out what is stale."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from phrasefit.store.cache import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreInfo:
    """How much the cache holds; `stale` analyses are of other versions than `version`."""

    path: Path
    n_bytes: int
    schema: int
    version: str
    n_songs: int
    n_stale: int
    n_files: int
    n_failures: int
    n_corrections: int
    n_set_aside: int
    n_routines: int


def info(store: Store, version: str) -> StoreInfo:
    """Count what is in the cache."""
    count = store.count
    n_all = count("analysis")
    n_songs = len(store.hashes_heard(version))
    return StoreInfo(
        path=store.path,
        n_bytes=sum(
            p.stat().st_size for p in (store.path, Path(f"{store.path}-wal")) if p.exists()
        ),
        schema=store.schema(),
        version=version,
        n_songs=n_songs,
        n_stale=n_all - n_songs,
        n_files=count("file"),
        n_failures=count("failure"),
        n_corrections=store.count_kept("correction"),
        n_set_aside=store.count_kept("set_aside"),
        n_routines=store.count_kept("routine"),
    )


def verify(store: Store) -> list[str]:
    """Check the file and every analysis in it; rebuild or remove what is damaged.

    Returns
    -------
    list of str
        What was wrong, one line each; empty if all is well.  Removed analyses are made
        again when their songs are next listened to.
    """
    troubles = [f"the file: {line}" for line in store.integrity_errors()]
    if troubles:
        store.rebuild()
    for content_hash, version, is_sound in store.documents():
        if not is_sound:
            store.delete_analysis(content_hash, version)
            troubles.append(f"the analysis of song {content_hash[:12]} was damaged and is removed")
    return troubles


@dataclass(frozen=True, slots=True, kw_only=True)
class Pruned:
    """What was thrown out, and how small the file is now."""

    n_analyses: int
    n_files: int
    n_bytes: int


def prune(store: Store, version: str, *, gone: bool = False) -> Pruned:
    """Throw out analyses of other versions and failures; give the space back.

    Parameters
    ----------
    version : str
        The analysis version to keep.
    gone : bool
        Also forget files that are no longer there, and analyses that no file is left
        for.  Do not use it while an outside disk with songs is unplugged.

    Notes
    -----
    Corrections and routines stay, whatever becomes of their songs.
    """
    n_analyses, n_files = store.count("analysis"), store.count("file")
    if gone:
        store.forget_files([path for path in store.files() if not Path(path).exists()])
    store.forget_stale(version, without_files=gone)
    return Pruned(
        n_analyses=n_analyses - store.count("analysis"),
        n_files=n_files - store.count("file"),
        n_bytes=store.path.stat().st_size,
    )
