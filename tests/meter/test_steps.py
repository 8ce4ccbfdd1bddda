"""The steps of tracking one by one: states, bars, timing, readings, fits."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from phrasefit._dp import track_events, viterbi
from phrasefit.audio.features import extract_features
from phrasefit.errors import ParameterError
from phrasefit.meter import barmap, bars, beat_descriptors, confidence, statespace, tempo_readings
from phrasefit.meter.handmade import HandmadeModel, frame_evidence, load_weights, shift_rows
from phrasefit.meter.observe import Activations, beat_gain, downbeat_log_odds
from phrasefit.meter.refine import Timing, find_onsets, refine_beats
from phrasefit.model import Audio, Confidence, Features, SongInfo
from phrasefit.training.judgments import beat_f_measure, fit_choice, fit_logistic
from synth import RATE_HZ, make_song

STORED = Path(__file__).parent.parent / "data" / "meter"


def features_of(samples: np.ndarray) -> Features:
    """Features of samples at our rate."""
    return extract_features(Audio(samples=samples, sample_rate_hz=RATE_HZ, info=SongInfo()))


def heard_in(features: Features) -> beat_descriptors.FrameEvidence:
    """What the hand-made model hears."""
    return beat_descriptors.prepare_evidence(features, HandmadeModel().observe(features))


# ------------------------------------------------------------------- states


def test_gaps_cover_the_tempos() -> None:
    """From 55 to 215 beats a minute, each rate near its tempo, usual ones cheapest."""
    model, gap = statespace.beat_gaps(50.0)

    assert 3000 / gap[[0, -1]] == pytest.approx([55, 215])
    assert np.abs(model.gaps.mean(axis=1) - gap).max() <= 0.5
    assert 3000 / gap[model.start_cost.argmin()] == pytest.approx(118, rel=0.02)


def decode_ones(one_at: list[int], n_beats: int, meter: int = 4) -> list[int]:
    """Positions if beats at `one_at` look like ones in `meter` and no others do."""
    states = statespace.bar_states()
    odds = np.full(n_beats, -3.0)
    odds[one_at] = 3.0
    favored = {m: odds if m == meter else np.zeros(n_beats) for m in statespace.METERS}
    scores = bars.place_scores(states, favored, 0.0)
    path, _ = viterbi(states.log_start, states.log_transition, scores)
    return states.position[path].tolist()


def test_bar_pointer_by_hand() -> None:
    """Clear ones every four beats give bars of four; a pickup is counted back from the one."""
    assert decode_ones([2, 6, 10], 12) == [3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2]


def test_bar_pointer_pays_for_a_half_bar_only_if_it_must() -> None:
    """Five bars that agree on a shift by two are worth its price; one doubtful bar is not.

    A misplaced one costs 2 * 3 * `EVIDENCE_SHARE` = 3, a half bar 11: four bars decide.
    """
    shifted = [0, 4, 8, 12, 16, 18, 22, 26, 30, 34]
    doubtful = [0, 4, 10, 12, 16, 20]

    heard = [decode_ones(ones, ones[-1] + 4) for ones in (shifted, doubtful)]

    assert [i for i, p in enumerate(heard[0]) if p == 1] == shifted
    assert [i for i, p in enumerate(heard[1]) if p == 1] == [0, 4, 8, 12, 16, 20]


def test_transitions_of_the_bar_pointer() -> None:
    """A bar may go on, end early after two beats, or run over; nothing else."""
    states = statespace.bar_states()

    def cost(a: tuple[int, int], b: tuple[int, int]) -> float:
        at = [np.flatnonzero((states.meter == m) & (states.position == p))[0] for m, p in (a, b)]
        return -states.log_transition[at[0], at[1]]

    assert cost((4, 2), (4, 3)) == cost((4, 4), (4, 1)) == 0
    assert cost((4, 2), (4, 1)) == cost((4, 4), (4, 5)) == statespace.CUT_COST
    assert cost((4, 4), (3, 1)) == statespace.METER_CHANGE_COST
    assert cost((4, 1), (4, 1)) > 1e6 and cost((4, 2), (4, 4)) > 1e6


# ------------------------------------------------------------------- timing


def clicks(times_s: np.ndarray, length_s: float) -> np.ndarray:
    """Short bursts of noise."""
    rng = np.random.default_rng(1)
    samples = 1e-4 * rng.standard_normal(int(length_s * RATE_HZ))
    for at_s in times_s:
        first = round(at_s * RATE_HZ)
        samples[first : first + 800] += rng.standard_normal(800) * np.exp(-np.arange(800) / 200)
    return (0.2 * samples).astype(np.float32)


def test_onsets_are_found_to_the_millisecond() -> None:
    """From beats up to 20 ms off, each click is found within 3 ms."""
    times_s = 0.5 + 0.5 * np.arange(30) + 0.0037
    coarse_s = times_s + np.random.default_rng(0).uniform(-0.02, 0.02, size=30)

    found_s, clearness = find_onsets(clicks(times_s, 16), coarse_s)

    assert np.abs(found_s - times_s).max() < 0.003
    assert np.all((clearness > 0) & (clearness < 1))


def test_a_tempo_change_gives_two_straight_pieces() -> None:
    """Two tempos, both from a click: each is steady, each beat within 3 ms."""
    times_s = 0.5 + np.cumsum([0.5] * 32 + [0.45] * 32)

    timing = refine_beats(clicks(times_s, 34), np.round(times_s * 50) / 50)

    assert timing.steady
    assert np.abs(timing.beat_times_s - times_s).max() < 0.004


def test_uneven_players_are_no_click() -> None:
    """Beats that wander by 20 ms are followed, not straightened."""
    rng = np.random.default_rng(2)
    times_s = 0.5 + 0.5 * np.arange(60) + 0.02 * np.sin(np.arange(60)) + rng.normal(0, 0.01, 60)

    timing = refine_beats(clicks(times_s, 32), 0.5 + 0.5 * np.arange(60))

    assert not timing.steady
    assert np.median(np.abs(timing.beat_times_s - times_s)) < 0.012


def test_two_beats_can_be_refined() -> None:
    """So few beats are neither smoothed nor straightened."""
    timing = refine_beats(clicks(np.array([0.5, 1.0]), 2), np.array([0.51, 0.99]))

    assert timing.beat_times_s == pytest.approx([0.5, 1.0], abs=0.003)


# ----------------------------------------------------------------- readings


def test_readings_are_probabilities_in_order() -> None:
    """The ways to count add up to 1, the likeliest first; half and off-beat are among them."""
    song = make_song("4*14", bpm=120)

    readings = tempo_readings.find_readings(heard_in(features_of(song.samples)), load_weights())

    shares = [reading.probability for reading in readings]
    assert sum(shares) == pytest.approx(1.0)
    assert shares == sorted(shares, reverse=True)
    tempos = [(round(r.tempo_bpm), r.off_beat) for r in readings]
    assert tempos[0] == (120, False)
    assert (60, False) in tempos and (120, True) in tempos


def test_chains_are_not_counted_across() -> None:
    """The step from one chain to the next is no beat."""
    reading = tempo_readings.Reading(
        chains=(np.array([0.0, 10, 20]), np.array([75.0, 85])),
        level=1.0,
        off_beat=False,
        tempo_bpm=300,
    )

    assert reading.unbroken.tolist() == [True, True, False, True]


@pytest.mark.parametrize("n_rows", [0, 3, 8, 21])
def test_sums_of_frames_are_those_of_all_before(n_rows: int) -> None:
    """Kept or not, every sum from none to all rows is that of the rows before it."""
    rows = np.random.default_rng(n_rows).random((n_rows, 3)).astype(np.float32)

    sums = beat_descriptors.FrameSums(rows).before(np.arange(n_rows + 1))

    expected = [rows[:end].sum(axis=0, dtype=np.float64) for end in range(n_rows + 1)]
    assert np.allclose(sums, expected, atol=1e-12)


def test_smoothing_keeps_an_even_beat() -> None:
    """Beats rounded to frames come nearer to the truth; a straight line stays."""
    exact = 21.3 * np.arange(40)

    smooth = tempo_readings.smooth_beats(np.rint(exact))

    assert np.abs(smooth - exact).std() < np.abs(np.rint(exact) - exact).std()
    assert tempo_readings.smooth_beats(5.0 * np.arange(9)) == pytest.approx(5.0 * np.arange(9))


def bars_in_four(odds: np.ndarray) -> bars.Bars:
    """Bars of four from the first beat on, with `odds` of a one at each beat."""
    states = statespace.bar_states()
    return bars.Bars(
        positions=np.arange(len(odds)) % 4 + 1,
        meters=np.full(len(odds), 4),
        posterior=np.full((len(odds), len(states.meter)), 1 / len(states.meter)),
        states=states,
        meter_odds=-1.0,
        one_odds={4: odds, 3: odds},
    )


def test_shift_scores_point_at_the_ones() -> None:
    """Evidence for ones two beats later is highest there."""
    found = bars_in_four(np.where(np.arange(32) % 4 == 2, 2.0, -2.0))

    assert confidence.shift_scores(found, 4).argmax() == 2


def called(beats: float, downbeat: float) -> Confidence:
    """How sure a song's own reading is called; its pulse and meter are beyond doubt."""
    return Confidence(pulse=1.0, beats=beats, downbeat=downbeat, meter=1.0)


def readings_of(shares: dict[float, float]) -> list[tempo_readings.Reading]:
    """Readings at tempos beside 120 a minute, as probable as told."""
    return [
        tempo_readings.Reading(
            chains=(25.0 / ratio * np.arange(80),), level=ratio, off_beat=False,
            tempo_bpm=120.0 * ratio, probability=share,
        )
        for ratio, share in shares.items()
    ]  # fmt: skip


@pytest.mark.parametrize("lead", [-0.4, 0.0, 0.02, 0.1, 1.0])
def test_no_other_one_is_called_likelier_than_the_one_chosen(lead: float) -> None:
    """Where bars look much the same a beat or two later, all of them are about as likely."""
    found = bars_in_four(np.tile([lead, -1.0, 0.0, 0.0], 20))

    sure, _ = confidence.judge_bars(found, 4, 1.0, load_weights())
    others = confidence.list_alternatives(
        readings_of({1.0: 1.0}), found, 4, 120.0, called(1.0, sure)
    )

    rivals = [other.probability for other in others if other.kind == "one"]
    assert rivals and max(rivals) <= sure + 1e-3


@pytest.mark.parametrize("beats", [0.3, 0.55, 0.8, 0.9])
@pytest.mark.parametrize("half", [0.05, 0.4, 0.6])
def test_readings_share_one_probability(beats: float, half: float) -> None:
    """Other ones, half and double, and what was chosen are no more than certain together."""
    odds = np.tile([1.0, -1.0, 0.5, -1.0], 20)
    sure = called(beats, 0.7 * beats)
    readings = readings_of({1.0: 0.95 - half, 0.5: half, 2.0: 0.03, 1.5: 0.02})

    others = confidence.list_alternatives(readings, bars_in_four(odds), 4, 120.0, sure)

    levels = {other.kind: other.probability for other in others if other.kind != "one"}
    ones = [other.probability for other in others if other.kind == "one"]
    rounding, rare = 2e-3, 2 * confidence.SHOWN_FROM  # two places are hardly likely
    assert beats - rare <= sure.downbeat + sum(ones) <= beats + rounding
    assert beats + sum(levels.values()) <= 1 + rounding
    assert 0 < levels["half"] <= beats + rounding


# ------------------------------------------------------------- observations


def test_evidence_lies_at_its_frame() -> None:
    """Rows move as told, zeros coming in."""
    rows = np.arange(6).reshape(3, 2)

    assert shift_rows(rows, 1).tolist() == [[0, 0], [0, 1], [2, 3]]
    assert shift_rows(rows, -2).tolist() == [[4, 5], [0, 0], [0, 0]]


def test_hits_look_like_beats() -> None:
    """Frames with a drum hit are likelier beats than those between; ones are beats."""
    song = make_song("4*10", bpm=120)
    features = features_of(song.samples)

    seen = HandmadeModel().observe(features)

    frames = np.rint(song.beats_s / features.hop_s).astype(int)
    assert np.median(seen.beat[frames]) > 10 * np.median(seen.beat)
    assert np.all(seen.downbeat <= seen.beat)
    assert frame_evidence(features).shape == (len(seen.beat), len(load_weights()["beat"]) - 1)


def test_activations_check_their_shapes() -> None:
    """Beat and downbeat have one value a frame each."""
    with pytest.raises(ParameterError, match="one probability a frame"):
        Activations(hop_s=0.02, beat=np.zeros(5), downbeat=np.zeros(4))


def test_gains_of_certain_frames_stay_finite() -> None:
    """Probabilities of 0 and 1 are not believed to the last."""
    seen = Activations(hop_s=0.02, beat=np.array([0.0, 1.0, 0.5]), downbeat=np.array([0.0, 1, 0]))

    assert np.all(np.isfinite(beat_gain(seen))) and np.all(np.isfinite(downbeat_log_odds(seen)))
    assert beat_gain(seen)[2] == pytest.approx(2.5)


def test_stored_activations_give_the_stored_map() -> None:
    """The decoder behind the model: same activations, same beats and readings as recorded."""
    stored = json.loads((STORED / "stop.in.json").read_text("utf-8"))
    expected = json.loads((STORED / "stop.out.json").read_text("utf-8"))
    gain = np.array(stored["gain"], dtype=np.float32)
    model, _ = statespace.beat_gaps(50.0)

    chains, score = track_events(gain, model)

    assert [chain.steps.tolist() for chain in chains] == expected["chains"]
    assert score == pytest.approx(expected["score"], rel=1e-4)


# --------------------------------------------------------------------- fits


def test_logistic_fit_finds_known_weights() -> None:
    """Labels drawn from known weights give them back."""
    rng = np.random.default_rng(0)
    rows = rng.normal(size=(20_000, 2)) * [1.0, 5.0] + [0.0, 3.0]
    odds = rows @ [1.5, -0.2] + 0.4
    labels = (rng.random(len(rows)) < 1 / (1 + np.exp(-odds))).astype(float)

    assert fit_logistic(rows, labels, ridge=1e-3) == pytest.approx([1.5, -0.2, 0.4], abs=0.08)


def test_choice_fit_finds_what_decides() -> None:
    """Among three, the one with the largest first column is right."""
    rng = np.random.default_rng(0)
    groups = []
    for _ in range(300):
        rows = rng.normal(size=(3, 2))
        groups.append((rows, np.eye(3)[rows[:, 0].argmax()]))

    weights = fit_choice(groups, ridge=0.1)

    assert weights[0] > 5 * abs(weights[1])


def test_f_measure_is_that_of_mir_eval() -> None:
    """On beats without near doubles it equals the field's referee."""
    import mir_eval

    rng = np.random.default_rng(0)
    truth = np.arange(0, 60, 0.5)
    kept = truth[rng.random(len(truth)) < 0.8]
    found = np.sort(kept + rng.normal(0, 0.05, size=len(kept)))

    assert beat_f_measure(truth, found) == pytest.approx(mir_eval.beat.f_measure(truth, found))


def test_a_network_s_own_odds_count_for_a_share() -> None:
    """What is fitted beside them stays; a share of none leaves chords and accents alone."""
    rng = np.random.default_rng(0)
    fitted = load_weights()
    n_places = beat_descriptors.with_neighbors(np.zeros((24, 1))).shape[1]
    n_columns = (fitted["one_in_4"].size - 1) // n_places
    rows = rng.normal(size=(24, n_columns))
    own = rng.normal(size=24)
    weights = {name: 0.01 * values for name, values in fitted.items()}

    full = bars.one_log_odds(own, rows, weights)[4]
    quarter = bars.one_log_odds(own, rows, weights | {"own_share": np.array(0.25)})[4]
    none = bars.one_log_odds(own, rows, weights | {"own_share": np.array(0.0)})[4]

    assert np.allclose(full - none, own)
    assert np.allclose(quarter - none, own / 4)


def test_beats_are_counted_back_to_the_first_clear_onset() -> None:
    """Clear onsets a step before the chain are beats; an unclear one ends the counting."""
    beat = np.full(400, 0.05)
    beat[[11, 30, 51, 70]] = [0.3, 0.9, 0.8, 0.9]
    chain = np.arange(90.0, 400.0, 20.0)

    found = barmap._from_the_first_sound(chain, beat)

    assert found[:4].tolist() == [30.0, 51.0, 70.0, 90.0]
    assert np.array_equal(found[3:], chain)
    assert np.array_equal(barmap._from_the_first_sound(found, beat), found)
    assert barmap._from_the_first_sound(chain[:1], beat).size == 1


@pytest.mark.parametrize(
    ("begins_s", "n_counted"),
    [(0.02, 16), (7.0, 2), (6.75, 0), (8.02, 0), (-12.0, 0)],
)
def test_a_soft_intro_is_counted_from_where_music_begins(begins_s: float, n_counted: int) -> None:
    """Music that begins on a beat of the chain does so in its tempo, if it is not too long."""
    beats_s = np.arange(8.02, 16.0, 0.5)
    timing = Timing(beat_times_s=beats_s, steady=True)

    found = barmap._from_where_music_begins(timing, begins_s).beat_times_s

    assert len(found) == len(beats_s) + n_counted
    assert np.allclose(np.diff(found), 0.5)
