"""Tempo verdicts and the table of ranges."""

from __future__ import annotations

import pytest

from fit_songs import make_routine
from phrasefit.errors import ParameterError
from phrasefit.fit.settings import Settings
from phrasefit.fit.tempo import TEMPO_ROWS, tempo_verdict


@pytest.mark.parametrize(
    ("tempo", "verdict", "change"),
    [
        (100, "in range", 0.0),
        (120, "in range", 0.0),
        (96, "too slow", 4.2),  # 100 / 96 = 1.04167
        (125, "too fast", -4.0),  # 120 / 125 = 0.96
        (130, "too fast", -7.7),  # 120 / 130 = 0.92308
    ],
)
def test_the_routine_s_range_decides(tempo: float, verdict: str, change: float) -> None:
    """The change reaches the range, rounded outwards to a tenth."""
    found = tempo_verdict(tempo, make_routine(tempo_bpm=(100, 120), level="advanced"))

    assert (found.verdict, found.change_percent) == (verdict, change)
    assert (found.low, found.high) == (100, 120)
    if change:
        assert 100 <= round(tempo * (1 + change / 100), 6) <= 120


@pytest.mark.parametrize(
    ("level", "low", "high"),
    [
        ("beginner", 100, 125),
        ("High Beginner", 100, 125),
        ("absolute beginner", 90, 115),  # the longer name wins over "beginner"
        ("improver", 105, 135),
        ("a level of our own", 67, 158),
        ("", 67, 158),
    ],
)
def test_the_level_decides_without_a_range(level: str, low: float, high: float) -> None:
    """A level is found by the words in it."""
    found = tempo_verdict(110, make_routine(level=level))

    assert (found.low, found.high) == (low, high)


@pytest.mark.parametrize(
    ("tempo", "low", "high"),
    # International table, waltz 28-30 bars a minute = 84-90, Viennese waltz 54-60 = 162-180
    # (Polish dance society rules extract; National Dance Council of America); social
    # waltzes to 110 (USA Dance chapter).
    [(87, 84, 110), (100, 84, 110), (120, 84, 110), (170, 162, 180), (150, 162, 180)],
)
def test_waltzes_have_two_ranges(tempo: float, low: float, high: float) -> None:
    """The range that asks for the smaller change is meant."""
    found = tempo_verdict(tempo, make_routine(meter=3))

    assert (found.low, found.high) == (low, high)


def test_every_range_names_its_source() -> None:
    """Ranges are data with a source."""
    assert all(row.source and 0 < row.low < row.high for row in TEMPO_ROWS)


def test_own_ranges_come_first(tmp_path) -> None:
    """A row of the user replaces the one of the same meter and level, and adds others."""
    path = tmp_path / "mine.toml"
    path.write_text(
        '[[tempo]]\nmeter = 4\nlevel = "Beginner"\nlow = 80\nhigh = 100\nsource = "my hall"\n'
        '[[tempo]]\nmeter = 4\nlevel = "seniors"\nlow = 70\nhigh = 96\nsource = "my hall"\n'
    )

    rows = Settings.load(path).tempo_rows

    assert tempo_verdict(110, make_routine(level="beginner"), rows=rows).high == 100
    assert tempo_verdict(110, make_routine(level="seniors"), rows=rows).source == "my hall"
    assert tempo_verdict(110, make_routine(level="improver"), rows=rows).high == 135


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("[[tempo]]\nmeter = 4\n", "needs meter, low, high, source"),
        ('[[tempo]]\nmeter = 5\nlow = 1\nhigh = 2\nsource = ""\n', "must be 4 or 3"),
        ('[[tempo]]\nmeter = 4\nlow = 90\nhigh = 80\nsource = ""\n', "must be below"),
        ('[[tempo]]\nmeter = 4\nlow = "x"\nhigh = 2\nsource = ""\n', "counts a minute"),
        ("tempo = 4\n", "not known here"),
    ],
)
def test_refuses_unusable_rows(tmp_path, text: str, match: str) -> None:
    """The error names file, row and what is needed."""
    path = tmp_path / "mine.toml"
    path.write_text(text)

    with pytest.raises(ParameterError, match=match):
        Settings.load(path)
