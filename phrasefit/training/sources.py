"""``python -m phrasefit.training.sources FOLDER``: gather what others made, once.

Fills the material folder from packages with free licenses that are installed on this
machine; nothing of it is shipped or committed, and songs are made without it where it
is missing (from our own composer and synthesis alone). Packages that are not installed
are named and left out.

=====================  ===============================================  =================
What                   Maker, package                                   License
=====================  ===============================================  =================
fonts/fluidr3          Frank Wen, ``fluid-soundfont-gm``                MIT
fonts/gmbank           unnamed, ``csound-soundfont``                    public domain
fonts/opl3             Zandro Reveille, ``opl3-soundfont``              CC-BY-SA-4.0
fonts/timgm6mb         Tim Brechbill, ``timgm6mb-soundfont``            GPL-2 (held out)
kits/pearl, zeppelin   Glen MacArthur, ``avldrums.lv2-soundfont``       GPL-2+
kits/audiophob         Audiophob, ``hydrogen-drumkits``                 CC0
kits/electricempire,   Artemiy Pavlov, same package                     GPL-2+
hardelectro1,
varibreaks
kits/millo*            Emiliano Grilli, same package                    GPL-2
kits/colombo*          Marcos Guglielmetti, same package                GPL-2+ with
                                                                        composition
                                                                        exception
kits/circafrique       Jim Harney, same package                         CC-BY-SA-3.0
kits/bja_pacific       Luc Tanguay, same package                        CC-BY-SA-3.0
kits/gimme*, the-bla*  Glen MacArthur, same package                     GPL-2
kits/rumpf*            Emanuel Rumpf, same package                      CC-BY-3.0
kits/forzeestereo      V. Sadovnikov, A. Belokurov, same package        GPL-2
kits/gmrockkit, tr808  Hydrogen developers, ``hydrogen-data``           GPL-2+
accompaniments, drum   Bob van der Poel and contributors, ``mma``       GPL-2+
loops
tunes, scores          music21 corpus: tunes printed 1782-1903,         public domain;
                       chorales and movements to about 1910;            encodings given
                       encodings by their makers                        for distribution
games                  Freedoom contributors, ``freedoom``              BSD-like
popular                POP909 and its phrase labels (`source_popular`,  MIT
                       from two folders, not installed)
games-held-out         Denis Dumoulin (EPSITEC), ``planetblupi-music-   GPL-3+ (held out)
                       midi``
=====================  ===============================================  =================

Held out whole: the soundfont and kits ``timgm6mb``, the groove folders of
`HELD_OUT_GROOVES`, the game ``planetblupi``, and the rhythm styles of
`styles.HELD_OUT_STYLES`.  The Essen folk songs are not used at all: their legal status
is unclear, as their own license file says.
"""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from phrasefit.errors import ParameterError, PhrasefitError
from phrasefit.training import source_games, source_grooves, source_sounds, source_tunes
from phrasefit.training.collection import StoredPiece, write_collection
from phrasefit.training.source_popular import read_popular

HELD_OUT_GROOVES = frozenset({"yamaha", "kara", "alexis"})
KINDS = ("fonts", "kits", "grooves", "games", "scores", "tunes")

logger = logging.getLogger(__name__)


def collect(
    folder: Path, kinds: Iterable[str] = KINDS, *, seed: int = 1, per_file: int = 8
) -> None:
    """Fill `folder` with the chosen kinds of material.

    Parameters
    ----------
    folder : Path
        Made if missing; existing files of the same name are replaced.
    kinds : iterable of str
        Some of `KINDS`.
    seed : int
        Seed of the chord charts that accompaniments are asked for.
    per_file : int
        Accompaniments for each file of the groove library.

    Raises
    ------
    ParameterError
        If a kind is unknown.
    """
    makers: dict[str, Callable[[Path], None]] = {
        "fonts": lambda path: _say("fonts", source_sounds.collect_fonts(path / "fonts")),
        "kits": lambda path: _say("kits", source_sounds.collect_kits(path / "kits")),
        "grooves": lambda path: _collect_grooves(path / "scores", seed, per_file),
        "games": lambda path: _collect_games(path / "scores"),
        "scores": lambda path: _write(
            path / "scores" / "scores.npz", source_tunes.read_scores(400)
        ),
        "tunes": lambda path: _write(path / "scores" / "tunes.npz", source_tunes.read_tunes(900)),
    }
    for kind in kinds:
        if kind not in makers:
            raise ParameterError(f"kind={kind!r} is unknown; choose from {', '.join(KINDS)}")
        (folder / "scores").mkdir(parents=True, exist_ok=True)
        makers[kind](folder)


def _collect_grooves(folder: Path, seed: int, per_file: int) -> None:
    """Accompaniments, their held-out part, and drum loops."""
    if not source_grooves.LIBRARY.is_dir():
        logger.warning("mma is not installed; accompaniments and drum loops are left out")
        return
    pieces = list(source_grooves.play_accompaniments(seed, per_file))
    held_out = [piece for piece in pieces if piece.tags[0] in HELD_OUT_GROOVES]
    trained = [piece for piece in pieces if piece.tags[0] not in HELD_OUT_GROOVES]
    _write(folder / "accompaniments.npz", trained)
    _write(folder / "accompaniments-held-out.npz", held_out)
    _write(folder / "drum-loops.npz", source_grooves.play_drum_loops())


def _collect_games(folder: Path) -> None:
    """Songs of games."""
    _write(folder / "games.npz", source_games.read_freedoom())
    _write(folder / "games-held-out.npz", source_games.read_planetblupi())


def _write(path: Path, pieces: Iterable[StoredPiece]) -> None:
    logger.info("%s: %d pieces", path.name, write_collection(path, pieces))


def _say(kind: str, names: list[str]) -> None:
    logger.info("%s: %s", kind, ", ".join(names) or "none")


def main() -> int:
    """Parse the options and collect."""
    parser = argparse.ArgumentParser(
        prog="python -m phrasefit.training.sources", description="Gather material for training."
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kinds", default=",".join(KINDS), help="some of: " + ", ".join(KINDS))
    parser.add_argument("--popular", nargs=2, type=Path, metavar=("POP909", "LABELS"))
    parser.add_argument("--per-file", type=int, default=8, help="accompaniments a groove file")
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stdout)
    try:
        collect(options.folder, options.kinds.split(","), per_file=options.per_file)
        if options.popular:
            _write(options.folder / "scores" / "popular.npz", read_popular(*options.popular))
    except PhrasefitError as exc:
        print(f"phrasefit.training.sources: {exc}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
