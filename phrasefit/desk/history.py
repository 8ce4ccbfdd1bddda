"""What was done to a song at the desk: steps that are only ever added to.

Undoing and redoing are steps, too, and so is what another program changed meanwhile.  Each
change carries the whole correction that it led to, so that going back is exact.  Kept as
the desk's ``history`` of the song, in one step with the correction itself.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

MOST_STEPS = 600  # then the oldest changes can be undone no more
Step = dict[str, Any]
UNTOUCHED: Step = {"do": "change", "to": {}, "words": "", "settled": []}


class History:
    """The steps of one song, and where they have led.

    Parameters
    ----------
    document : dict, optional
        What `document` gave earlier.
    """

    def __init__(self, document: dict[str, Any] | None = None) -> None:
        kept = document or {}
        self.revision: int = kept.get("revision", 0)
        self._base: Step = kept.get("base", UNTOUCHED)
        self._steps: list[Step] = list(kept.get("steps", ()))
        self._replay()

    def _replay(self) -> None:
        self._past: list[Step] = [self._base]
        self._future: list[Step] = []
        for step in self._steps:
            self._take(step)

    def _take(self, step: Step) -> None:
        if step["do"] == "undo":
            self._future.append(self._past.pop())
        elif step["do"] == "redo":
            self._past.append(self._future.pop())
        else:
            self._past.append(step)
            self._future = []

    @property
    def correction(self) -> dict[str, Any]:
        """The sum of all corrections, as `correction_document` lays it out."""
        return self._past[-1]["to"]

    @property
    def settled(self) -> list[str]:
        """The questions that were answered without a correction."""
        return self._past[-1]["settled"]

    @property
    def undo_words(self) -> str | None:
        """What the next undoing takes back; None if there is nothing."""
        return self._past[-1]["words"] if len(self._past) > 1 else None

    @property
    def redo_words(self) -> str | None:
        """What the next redoing brings back."""
        return self._future[-1]["words"] if self._future else None

    def catch_up(self, kept: dict[str, Any] | None, words: str) -> None:
        """Note what another program has made of the correction since."""
        if (kept or {}) != self.correction:
            self.change(kept or {}, words)

    def change(self, to: dict[str, Any], words: str, *, settles: str = "") -> None:
        """Add a change that leads to the correction `to`, in words, and what it settles."""
        settled = [*self.settled, settles] if settles else self.settled
        self._add({"do": "change", "to": to, "words": words, "settled": settled})

    def undo(self) -> None:
        """Go back one change; nothing happens where there is none."""
        if self.undo_words is not None:
            self._add({"do": "undo"})

    def redo(self) -> None:
        """Go on one change that was undone."""
        if self.redo_words is not None:
            self._add({"do": "redo"})

    def _add(self, step: Step) -> None:
        self._steps.append(step)
        self._take(step)
        self.revision += 1

    def document(self) -> dict[str, Any]:
        """Lay out the history to be kept; of a long one only what can still be undone."""
        base, steps = self._base, self._steps
        if len(steps) > MOST_STEPS:
            base, *steps = self._past[-MOST_STEPS // 2 :]
        return {"revision": self.revision, "base": base, "steps": steps}


def mark_of(kept: dict[str, Any] | None) -> str:
    """Give a few signs that change with a correction, whoever made it."""
    return hashlib.sha256(json.dumps(kept or {}, sort_keys=True).encode()).hexdigest()[:12]
