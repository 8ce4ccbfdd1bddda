"""Kill a writing program again and again, and look for all that it had reported as done.

Run it from a checkout: ``python tests/torture/kill_long.py [N]`` (50 kills if left out).
Exit code 1 if anything was lost.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path


def main(n: int) -> int:
    """Kill `n` writers of one cache."""
    sys.path.insert(0, str(Path(__file__).parents[2]))  # the checkout, if it is not installed
    from kills import Tally, kill_one

    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="killed-writers-") as folder:
        for i in range(n):
            kill_one(Path(folder), random.Random(i), tally)
    for words in tally.lost:
        print(f"lost: {words}")
    print(f"{tally.n_kills} kills, {tally.n_reported} reports of work done, {len(tally.lost)} lost")
    return int(bool(tally.lost))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 50))
