"""All rendered songs on the training device, end to end on one long strip of frames."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch

from phrasefit.audio import HOP_S
from phrasefit.training.rendered import RenderedSong, load_songs, packs_in

MAX_EVENTS = 512  # beats of a song that are learned from


class DeviceSongs:
    """Songs on the training device, end to end, as one strip of frames.

    Parameters
    ----------
    device : torch.device or str
    capacity_hours : float
        Memory is taken once for this many hours (17 MB an hour).
    """

    def __init__(self, device: object, *, capacity_hours: float) -> None:
        n_frames = int(capacity_hours * 3600 / HOP_S)
        self.device = device
        self.levels = torch.zeros((n_frames, 96), dtype=torch.uint8, device=device)
        self.weights = torch.zeros(n_frames, dtype=torch.float16, device=device)
        self.starts: list[int] = []
        self.lengths: list[int] = []
        self.families: list[str] = []
        self._events: list[np.ndarray] = []
        self._kinds: list[np.ndarray] = []
        self._seen: set[str] = set()
        self._tables: tuple | None = None
        self.n_frames = 0
        self.is_full = False

    def add(self, song: RenderedSong) -> bool:
        """Put one song at the end of the strip; False if it is full."""
        n_frames = len(song.levels)
        if self.n_frames + n_frames > len(self.levels):
            self.is_full = True
            return False
        strip = slice(self.n_frames, self.n_frames + n_frames)
        self.levels[strip] = torch.from_numpy(song.levels).to(self.device)
        self.weights[strip] = torch.from_numpy(song.frame_weights()).to(self.device).half()
        frames, kinds = song.event_frames()
        self._events.append(frames[:MAX_EVENTS])
        self._kinds.append(kinds[:MAX_EVENTS])
        self.starts.append(self.n_frames)
        self.lengths.append(n_frames)
        self.families.append(song.family)
        self.n_frames += n_frames
        self._tables = None
        return True

    def take_new(self, folder: Path, *, without: frozenset[str] = frozenset()) -> int:
        """Add the songs of `folder` that are not there yet; return how many.

        Songs whose family or source is in `without` stay away.
        """
        n_added = 0
        for path in packs_in(folder):
            if self.is_full:
                break
            if path.name in self._seen:
                continue
            self._seen.add(path.name)
            for song in load_songs(path):
                if not without & {song.family, song.source}:
                    n_added += self.add(song)
        return n_added

    @property
    def hours(self) -> float:
        """How much music they hold."""
        return self.n_frames * HOP_S / 3600

    def tables(self) -> tuple:
        """Starts, lengths [shape=(n_songs,)], events [shape=(n_songs, MAX_EVENTS)] and kinds.

        Events that do not exist are at minus infinity.
        """
        if self._tables is None:
            events = np.full((len(self.starts), MAX_EVENTS), -np.inf, dtype=np.float32)
            kinds = np.zeros((len(self.starts), MAX_EVENTS, 2), dtype=bool)
            for row, (frames, kind) in enumerate(zip(self._events, self._kinds, strict=True)):
                events[row, : len(frames)] = frames
                kinds[row, : len(frames)] = kind
            arrays = (np.array(self.starts), np.array(self.lengths), events, kinds)
            self._tables = tuple(torch.as_tensor(a, device=self.device) for a in arrays)
        return self._tables
