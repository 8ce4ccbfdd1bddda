"""What `fit` and `map` write is as wide as the terminal; into a file it goes as it always did."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from phrasefit.model import Confidence, FitPlan
from phrasefit.reports import fit_text, map_text
from phrasefit.reports.terminal import cut

NOTE = (
    "the file does not say how much silence its encoder put before the music; the usual 25 ms were"
    " taken off, so all beats may be a little early or late"
)


def doubtful(fit: FitPlan) -> FitPlan:
    """Give the fit to a song of which hardly anything is sure."""
    sure = Confidence(pulse=0.5, beats=0.4, downbeat=0.4, meter=0.5, phrase=0.3)
    return replace(fit, bar_map=replace(fit.bar_map, confidence=sure, notes=(NOTE,)))


def fit_lines(fit: FitPlan) -> list[str]:
    """Write what `phrasefit fit` does below the names, which are not broken."""
    return fit_text.render(doubtful(fit)).splitlines()[1:]


def map_lines(fit: FitPlan) -> list[str]:
    """Write what `phrasefit map` does below the names."""
    return map_text.render(doubtful(fit).bar_map).splitlines()[1:]


@pytest.mark.parametrize("lines_of", [fit_lines, map_lines])
@pytest.mark.parametrize("columns", [60, 72, 120])
def test_as_wide_as_the_terminal(
    tagged: FitPlan,
    monkeypatch: pytest.MonkeyPatch,
    columns: int,
    lines_of: Callable[[FitPlan], list[str]],
) -> None:
    """Its room is used, and no line is broken by the terminal itself."""
    monkeypatch.setenv("COLUMNS", str(columns))

    assert columns - 12 < max(map(len, lines_of(tagged))) <= columns


def test_a_terminal_too_narrow_for_any_table_breaks_lines_itself(
    tagged: FitPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a telephone held upright, say."""
    monkeypatch.setenv("COLUMNS", "30")

    assert 48 < max(map(len, fit_lines(tagged))) <= 60


def test_what_goes_into_a_file_keeps_its_lines(
    tagged: FitPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A note of a map is one line, as other programs look for it."""
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr("sys.__stdout__", None)  # no terminal, wherever the tests are run from

    assert NOTE in map_lines(tagged)
    assert 84 < max(map(len, fit_lines(tagged))) <= fit_text.WIDTH


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Tin Whistle", "Tin Whi…"),
        ("Whistler", "Whistler"),
        ("日本語のうた", "日本語…"),
        ("日本語歌", "日本語歌"),
        ("שִׁיר עֶרֶב", "שִׁיר עֶרֶב"),
        ("", ""),
    ],
)
def test_names_are_cut_by_the_columns_they_take(name: str, shown: str) -> None:
    """Letters that are two columns wide pushed a line over the edge; marks take none."""
    assert cut(name, 8) == shown
