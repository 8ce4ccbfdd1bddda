"""The referee itself: known estimates must get known scores."""

from dataclasses import replace

import numpy as np
import pytest
from referee import (
    Reading,
    bootstrap_interval,
    calibration_error,
    category,
    plan_agreement,
    score_reading,
    unbiased_calibration_error,
    wall_overlap,
)


def reading(beats_s, meter=4, first=0, sections_s=(0.0, 16.0, 32.0)):
    """A reading whose downbeats are every `meter`-th beat from `first`."""
    return Reading(np.array(beats_s), np.array(beats_s[first::meter]), meter, sections_s, 60.0)


BEATS_S = np.arange(0.25, 60.0, 0.5)
TRUTH = reading(BEATS_S)


def test_perfect_estimate_scores_one():
    """The truth against itself: every score 1, every error 0."""
    scores = score_reading(TRUTH, TRUTH)
    for name in ("beat_f", "beat_f_all", "cmlt", "amlt", "downbeat_f", "downbeat_f_all"):
        assert scores[name] == 1.0
    assert scores["section_f_05"] == scores["section_f_3"] == 1.0
    assert scores["timing_ms"] == scores["bias_ms"] == 0.0
    assert category(TRUTH, TRUTH, scores) == "ok"


@pytest.mark.parametrize("shift", [1, 2, 3])
def test_one_on_the_wrong_beat_keeps_beats_and_loses_downbeats(shift):
    """Beats right, the one shifted: beat F 1, downbeat F 0."""
    estimate = reading(BEATS_S, first=shift)
    scores = score_reading(TRUTH, estimate)
    assert scores["beat_f"] == 1.0
    assert scores["downbeat_f"] == scores["downbeat_f_all"] == 0.0
    assert category(TRUTH, estimate, scores) == "one"


@pytest.mark.parametrize(
    ("late_s", "beat_f", "bias_ms"), [(0.06, 1.0, 60), (-0.02, 1.0, -20), (0.1, 0.0, None)]
)
def test_offset_beyond_the_window_scores_nothing(late_s, beat_f, bias_ms):
    """60 ms late still counts and shows as bias with its sign; 100 ms late does not."""
    scores = score_reading(TRUTH, reading(BEATS_S + late_s))
    assert scores["beat_f"] == beat_f
    if bias_ms is None:
        assert np.isnan(scores["bias_ms"])
    else:
        assert scores["bias_ms"] == pytest.approx(bias_ms)
        assert scores["timing_ms"] == pytest.approx(abs(bias_ms))


def test_half_tempo_is_named_and_allowed_only_by_amlt():
    """Every other beat: F = 2/3 (precision 1, recall 1/2), CMLt 0, AMLt 1."""
    estimate = reading(BEATS_S[::2])
    scores = score_reading(TRUTH, estimate)
    assert scores["beat_f"] == pytest.approx(2 / 3, abs=0.01)
    assert scores["cmlt"] == 0.0
    assert scores["amlt"] == 1.0
    assert category(TRUTH, estimate, scores) == "half"


def test_off_beat_and_wrong_meter_are_named():
    """Beats between the beats are 'offbeat'; threes for fours are 'meter'."""
    off = reading(BEATS_S + 0.25)
    assert category(TRUTH, off, score_reading(TRUTH, off)) == "offbeat"
    waltz = reading(BEATS_S, meter=3)
    scores = score_reading(TRUTH, waltz)
    assert scores["meter_right"] == 0.0
    assert category(TRUTH, waltz, scores) == "meter"


def test_bars_of_two_read_as_fours_are_right_at_another_level():
    """2/4 heard as 4/4: downbeat recall 1/2, level-free 1; on the second beat, 0 in both."""
    polka = reading(BEATS_S, meter=2)
    for first, plain, free in ((0, 2 / 3, 1.0), (2, 2 / 3, 1.0), (1, 0.0, 0.0)):
        scores = score_reading(polka, reading(BEATS_S, meter=4, first=first))
        assert scores["downbeat_f_all"] == pytest.approx(plain, abs=0.02)
        assert scores["downbeat_f_level"] == pytest.approx(free)


def test_nothing_found_scores_zero_without_a_crash():
    """An empty estimate is a failure, not an error."""
    nothing = Reading(np.array([]), np.array([]), 4, (), 60.0)
    scores = score_reading(TRUTH, nothing)
    assert scores["beat_f"] == scores["downbeat_f"] == scores["cmlt"] == 0.0
    assert scores["section_f_3"] == 0.0
    assert category(TRUTH, nothing, scores) == "lost"


def test_section_windows():
    """A boundary 2 s off counts at 3 s and not at 0.5 s; the other one counts at both."""
    scores = score_reading(TRUTH, reading(BEATS_S, sections_s=(0.0, 18.0, 32.0)))
    assert scores["section_f_05"] == pytest.approx(0.5)
    assert scores["section_f_3"] == 1.0


def test_sections_are_not_judged_without_truth():
    """No true sections: NaN, which the means leave out."""
    truth = reading(BEATS_S, sections_s=())
    assert np.isnan(score_reading(truth, TRUTH)["section_f_3"])


def test_a_truth_without_ones_judges_beats_alone():
    """No known one: downbeats NaN, and a shifted one is no failure."""
    truth = replace(TRUTH, judge_ones=False)
    estimate = reading(BEATS_S, first=1)
    scores = score_reading(truth, estimate)
    assert np.isnan(scores["downbeat_f"])
    assert category(truth, estimate, scores) == "ok"


def test_plan_agreement_wants_every_wall():
    """All walls within 70 ms agree; one 100 ms off or one missing does not."""
    walls = [4.0, 20.0, 36.0]
    assert plan_agreement(walls, [4.05, 19.95, 36.0]) == 1.0
    assert plan_agreement(walls, [4.0, 20.1, 36.0]) == 0.0
    assert plan_agreement(walls, walls[:2]) == 0.0
    assert wall_overlap(walls, walls[:2]) == pytest.approx(0.8)


def test_bootstrap_interval_holds_the_mean_and_narrows_with_songs():
    """The interval holds the mean; four times the songs, about half the width."""
    rng = np.random.default_rng(1)
    few, many = rng.normal(0.5, 0.1, 25), rng.normal(0.5, 0.1, 400)
    mean, low, high = bootstrap_interval(few)
    assert low < mean < high
    narrow = bootstrap_interval(many)
    assert (narrow[2] - narrow[1]) < 0.5 * (high - low)
    assert all(np.isnan(bootstrap_interval(np.array([np.nan]))))


def test_calibration_error_of_known_cases():
    """Probabilities that hold give about 0; always sure and half the time right gives 0.5."""
    rng = np.random.default_rng(2)
    sure = rng.uniform(0, 1, 20_000)
    assert calibration_error(sure, rng.uniform(0, 1, sure.size) < sure) < 0.02
    assert calibration_error(np.ones(40), np.arange(40) % 2) == pytest.approx(0.5)


def test_what_chance_adds_to_a_calibration_error_is_taken_off():
    """Of 50 songs: where all is true about 0 is left on average, where it is not all of it."""
    rng = np.random.default_rng(3)
    sure = np.tile([0.5, 0.6, 0.7, 0.8, 0.9], 10)
    true = [rng.uniform(size=sure.size) < sure for _ in range(400)]
    wrong = [rng.uniform(size=sure.size) < sure - 0.3 for _ in range(400)]

    assert np.mean([calibration_error(sure, right) for right in true]) > 0.08
    assert np.median([unbiased_calibration_error(sure, right) for right in true]) < 0.03
    squares = [unbiased_calibration_error(sure, right) ** 2 for right in wrong]
    assert np.sqrt(np.mean(squares)) == pytest.approx(0.3, abs=0.02)
