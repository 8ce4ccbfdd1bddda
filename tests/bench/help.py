"""How long ``phrasefit --help`` takes, as a ratio to an empty Python in the same run.

``python tests/bench/help.py [N]`` starts each N times (11), in turn, and prints the medians.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

COMMANDS = {
    "python": ["-c", "pass"],
    "phrasefit --help": ["-m", "phrasefit", "--help"],
    "phrasefit fit --help": ["-m", "phrasefit", "fit", "--help"],
}


def seconds(arguments: list[str]) -> float:
    """Run a fresh process and take its time."""
    begin = time.perf_counter()
    subprocess.run([sys.executable, *arguments], capture_output=True, check=True)
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 11
    runs = [{name: seconds(words) for name, words in COMMANDS.items()} for _ in range(n)]
    median = {name: statistics.median(run[name] for run in runs) for name in COMMANDS}
    for name, value in median.items():
        print(f"{name:<22} {value:6.3f} s   {value / median['python']:5.1f} x")


if __name__ == "__main__":
    main()
