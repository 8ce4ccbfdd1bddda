"""Damage many caches in turn and print what became of each kind.

Run it from a checkout: ``python tests/torture/caches_long.py [N]`` (300 if left out).
Exit code 1 if anything was lost, or went wrong without a word.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path


def main(n: int) -> int:
    """Try `n` damages; print a table."""
    sys.path.insert(0, str(Path(__file__).parents[2]))  # the checkout, if it is not installed
    from caches import DAMAGES, LOG_DAMAGES, judge, make

    kinds = [*((name, False) for name in DAMAGES), *((name, True) for name in LOG_DAMAGES)]
    done: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory(prefix="damaged-caches-") as folder:
        content = {
            unclean: make(Path(folder, f"sound-{unclean}"), random.Random(1), unclean=unclean)
            for unclean in (False, True)
        }
        for i in range(n):
            name, unclean = kinds[i % len(kinds)]
            rng, place = random.Random(i), Path(folder, f"cache-{i}")
            shutil.copytree(Path(folder, f"sound-{unclean}"), place)
            ({**DAMAGES, **LOG_DAMAGES}[name])(place, rng)
            try:
                found = judge(place, content[unclean])
            except Exception:
                print(f"{i} {name}: TRACEBACK\n{traceback.format_exc()}")
                done[name, "traceback"] += 1
                continue
            finally:
                shutil.rmtree(place)
            done[name, "refused" if found.refused else "opened"] += 1
            done[name, "lost"] += bool(found.lost)
            done[name, "silent"] += bool(found.silent)
            done[name, "told"] += bool(found.notes or found.refused)
            done[name, "heard again"] += found.n_analyses_told
            for words in (*found.lost[:3], *found.silent[:3]):
                print(f"{i} {name}: {words}")
    return _print(done, [name for name, _ in kinds])


def _print(done: Counter[tuple[str, str]], names: list[str]) -> int:
    columns = ("opened", "refused", "told", "lost", "silent", "traceback", "heard again")
    print(f"{'':30}" + "".join(f"{column:>12}" for column in columns))
    for name in names:
        print(f"{name:30}" + "".join(f"{done[name, column]:12}" for column in columns))
    sums = {column: sum(done[name, column] for name in names) for column in columns}
    print(f"{'all':30}" + "".join(f"{sums[column]:12}" for column in columns))
    return int(bool(sums["lost"] or sums["silent"] or sums["traceback"]))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 300))
