"""The one table of costs."""

from __future__ import annotations

import pytest

from phrasefit.errors import ParameterError
from phrasefit.fit.costs import Costs, tag_meeting, wall_meeting
from phrasefit.fit.settings import Settings


@pytest.mark.parametrize(
    ("counts", "meter", "met"),
    [
        # 1 at 0; 0.5 at the half if it is a multiple of 8; 0.25 other eights;
        # 0 other bar lines; -0.5 anywhere else.  In threes 6 for 8, 24 for 32.
        (32, 4, {0: 1, 16: 0.5, 8: 0.25, 24: 0.25, 4: 0, 20: 0, 1: -0.5, 14: -0.5, 31: -0.5}),
        (64, 4, {0: 1, 32: 0.5, 16: 0.25, 48: 0.25, 8: 0.25, 36: 0, 33: -0.5}),
        (48, 4, {0: 1, 24: 0.5, 16: 0.25, 32: 0.25, 4: 0}),
        (40, 4, {0: 1, 20: 0, 8: 0.25, 16: 0.25}),
        (24, 3, {0: 1, 12: 0.5, 6: 0.25, 18: 0.25, 3: 0, 4: -0.5}),
        (48, 3, {0: 1, 24: 0.5, 6: 0.25, 42: 0.25, 3: 0, 8: -0.5}),
    ],
)
def test_how_well_a_phrase_is_met(counts: int, meter: int, met: dict[int, float]) -> None:
    """A wall meets a phrase fully at its start, by half in the middle, by less at other eights."""
    meeting = wall_meeting(counts, meter, Costs())

    assert len(meeting) == counts
    assert {k: meeting[k] for k in met} == met


def test_a_tag_has_no_half() -> None:
    """A phrase may begin with a tag, not half-way through it."""
    assert tag_meeting(16, 4, Costs())[[0, 4, 8, 9]].tolist() == [1, 0, 0.25, -0.5]


def test_own_values_from_a_file(tmp_path) -> None:
    """A TOML file replaces single values."""
    path = tmp_path / "mine.toml"
    path.write_text("[costs]\nrestart = 2\nmeet_half = 0.75\n")

    costs = Settings.load(path).costs

    assert (costs.restart, costs.meet_half, costs.tag) == (2, 0.75, Costs().tag)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("[costs]\nrestrat = 2\n", "restrat is no cost; the names are meet_start"),
        ("[costs]\nrestart = -1\n", "restart=-1 must lie between 0 and 100"),
        ("[costs]\nmeet_bar = 3\n", "meet_bar=3 must lie between -1 and 1"),
        ("[costs]\nrestart = nan\n", "restart=nan must lie"),
        ('[costs]\nrestart = "dear"\n', "must be a number"),
        ("[costs]\ngroups_after_event = 1.5\n", "whole number"),
        ("[prices]\nrestart = 2\n", "prices is not known here"),
        ("costs = 3\n", "not known here"),
        ("[costs\n", "is no TOML file"),
        ("#" * 200_001, "is too large for settings"),
        ("[costs]\nrestart" + ".a" * 20_000 + " = 1", "dots or a number without end"),
    ],
)
def test_refuses_bad_files(tmp_path, text: str, match: str) -> None:
    """The error names the file, the value and what is legal."""
    path = tmp_path / "mine.toml"
    path.write_text(text)

    with pytest.raises(ParameterError, match=match) as caught:
        Settings.load(path)
    assert str(path) in str(caught.value)


def test_refuses_missing_files(tmp_path) -> None:
    """A missing file is named."""
    with pytest.raises(ParameterError, match="cannot be read"):
        Settings.load(tmp_path / "none.toml")
