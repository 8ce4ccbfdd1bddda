"""Make the sample songs again: ``python -m phrasefit.demo FOLDER [--seed N] [--force]``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from phrasefit.errors import PhrasefitError


def main(arguments: list[str] | None = None) -> int:
    """Write all sample songs with their truths; return the exit code (2 = fix something)."""
    parser = argparse.ArgumentParser(
        prog="python -m phrasefit.demo",
        description="Write the sample songs (OGG) and what is true about them (JSON).",
    )
    parser.add_argument("folder", type=Path, help="an existing folder")
    parser.add_argument("--seed", type=int, help="another number gives other music")
    parser.add_argument("--force", action="store_true", help="replace existing files")
    chosen = parser.parse_args(arguments)

    from phrasefit.demo.songs import DEFAULT_SEED, write_samples

    seed = DEFAULT_SEED if chosen.seed is None else chosen.seed
    try:
        written = write_samples(
            chosen.folder, seed=seed, force=chosen.force,
            progress=lambda share, title: print(f"{share:4.0%} {title}", file=sys.stderr),
        )  # fmt: skip
    except PhrasefitError as exc:
        print(f"phrasefit: {exc}", file=sys.stderr)
        return 2
    print("\n".join(str(path) for path in written))
    return 0


if __name__ == "__main__":
    sys.exit(main())
