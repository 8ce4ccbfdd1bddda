"""Workers do not outlive the program that gave them their work."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

WORKER = """
import os, sys, time
from phrasefit.parent_watch import start_worker
start_worker(int(sys.argv[1]))
print(os.getpid(), flush=True)
time.sleep(60)
"""
PARENT = """
import os, subprocess, sys, time
subprocess.Popen([sys.executable, "-c", sys.argv[1], str(os.getpid())])
time.sleep(60)
"""
MOST_S = 5.0


def test_a_worker_ends_when_its_parent_is_killed() -> None:
    """Killed without a word, the parent takes its worker along, and the pipe is free again."""
    root = str(Path(__file__).parent.parent)
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, WORKER],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": root},
    )
    assert parent.stdout is not None
    worker = int(parent.stdout.readline())
    os.kill(parent.pid, signal.SIGKILL)
    parent.wait()
    begin = time.monotonic()

    rest = parent.stdout.read()  # ends when nobody holds the pipe any more

    parent.stdout.close()
    assert rest == b"" and time.monotonic() - begin < MOST_S
    assert not Path(f"/proc/{worker}/fd/1").exists()
