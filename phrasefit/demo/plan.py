"""What an arranger is told: the sections of a song and how it moves through time."""

from __future__ import annotations

from dataclasses import dataclass

# Label -> (energy, who has the tune): an arranger's usual curve through a song.
USUAL: dict[str, tuple[float, str]] = {
    "intro": (0.5, "solo"),
    "verse": (0.5, "lead"),
    "prechorus": (0.62, "lead"),
    "chorus": (0.82, "lead"),
    "bridge": (0.56, "lead"),
    "solo": (0.75, "solo"),
    "break": (0.3, "none"),
    "tag": (0.8, "lead"),
    "outro": (0.66, "solo"),
}
# Sections that borrow the harmony of another.
HARMONY_OF = {"solo": "verse", "tag": "chorus", "outro": "chorus", "break": "intro"}
# Sections that borrow the tune of another, where the song has it: a tag repeats its last line.
TUNE_OF = {"tag": "chorus"}


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionPlan:
    """One section to be written.

    `label` is a key of `USUAL`; `phrases` are phrase lengths in bars; `odd_bars` gives
    other lengths to single bars, as (index in the section, beats); `drums` False leaves
    the kit out; `energy` and `tune` (``lead``, ``solo``, ``none``) override the usual.
    """

    label: str
    phrases: tuple[int, ...]
    odd_bars: tuple[tuple[int, int], ...] = ()
    drums: bool = True
    energy: float | None = None
    tune: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePlan:
    """How the song moves through time; see `score.make_time_map`."""

    tempo_bpm: float
    start_s: float = 0.3
    drift_percent: float = 0.0
    wander_percent: float = 0.15
    jitter_ms: float = 1.0
    ritardando_beats: int = 0
    ritardando_to: float = 0.7
