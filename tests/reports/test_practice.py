"""Practice audio: clicks on their sample, words before their counts, quiet peaks."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from phrasefit.errors import MissingExtraError, ParameterError
from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan
from phrasefit.reports.cues import COUNT_IN
from phrasefit.reports.practice import (
    CLICKS,
    FORMATS,
    PEAK,
    SAMPLE_RATE_HZ,
    PracticeRequest,
    chapters_of,
    click_sound,
    encoded,
    practice,
    unsaid_note,
)
from phrasefit.reports.voice import say, sayable
from phrasefit.routine.from_numbers import routine_from_numbers
from phrasefit.routine.spec import load_routine, parse_routine
from phrasefit.routine.vocabulary import cue_words
from songs import song

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
SILENT = PracticeRequest(saying="nothing")


def onsets_s(samples: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Find where sound begins after at least 50 ms of near silence [seconds].

    The threshold is half the quietest click: lossy coding smears a little before it.
    """
    loud = np.flatnonzero(np.abs(samples) > 0.1)
    gaps = np.diff(loud, prepend=-sample_rate_hz)
    return loud[gaps > 0.05 * sample_rate_hz] / sample_rate_hz


@pytest.fixture(scope="module")
def stepped() -> FitPlan:
    """Lay a routine with steps over a short song."""
    return fit_routine(song((32, 64, 36, 64)), load_routine(ROUTINES / "borrowed-teaspoons.toml"))


@pytest.fixture(scope="module")
def short() -> FitPlan:
    """Three walls and a tag: encoding takes longer than all else, and as long as the song."""
    return fit_routine(song((32, 36, 64)), routine_from_numbers(counts=32, walls=4))


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize("wishes", [SILENT, PracticeRequest(saying="nothing", percent=75)])
def test_detected_onsets_are_the_plan_within_1_ms(
    short: FitPlan, suffix: str, wishes: PracticeRequest
) -> None:
    """In every format, what is heard after decoding begins where the plan says."""
    made = practice(short, None, wishes)

    samples, rate = soundfile.read(io.BytesIO(encoded(made, suffix)), dtype="float32")
    heard = onsets_s(samples, rate)

    planned = np.array([click.time_s for click in made.clicks])
    assert len(heard) == len(planned)
    assert np.max(np.abs(heard - planned)) < 0.001


def test_clicks_follow_the_plan(tagged: FitPlan) -> None:
    """After the count-in, clicks keep the song's distances and name walls and tag."""
    made = practice(tagged, None, SILENT)
    danced = [click for click in made.clicks if click.row.kind != "intro"]

    assert len(made.clicks) - len(danced) == COUNT_IN[4]
    first = danced[0]
    for click in danced:
        assert click.time_s - first.time_s == pytest.approx(click.row.time_s - first.row.time_s)
    kinds = [click.kind for click in danced if click.kind in ("wall", "restart", "tag")]
    assert kinds.count("tag") == 1
    assert kinds.count("wall") == len(tagged.plan.walls)


def test_intro_keeps_the_times_of_the_song(tagged: FitPlan) -> None:
    """With the intro kept, the file runs beside the song without any shift."""
    made = practice(tagged, None, PracticeRequest(saying="nothing", intro=True))

    assert [click.time_s for click in made.clicks] == [click.row.time_s for click in made.clicks]


def test_steady_tempo_and_percent(tagged: FitPlan) -> None:
    """90 a minute is two thirds of a second a count; 75 % of 120 is the same."""
    steady = practice(tagged, None, PracticeRequest(saying="nothing", tempo=90))
    slower = practice(tagged, None, PracticeRequest(saying="nothing", percent=75))

    for made in (steady, slower):
        assert np.allclose(np.diff([click.time_s for click in made.clicks]), 2 / 3)


@pytest.mark.parametrize("suffix", FORMATS)
def test_peaks_stay_below_minus_six_decibels(stepped: FitPlan, suffix: str) -> None:
    """With clicks, groove and speech together, the decoded file peaks at -6 dBFS or less."""
    made = practice(stepped, None, PracticeRequest(saying="both", with_groove=True))

    samples, _ = soundfile.read(io.BytesIO(encoded(made, suffix)))

    assert np.max(np.abs(samples)) <= 10 ** (-6 / 20)
    assert np.max(np.abs(samples)) > 0.25
    assert PEAK <= 10 ** (-6 / 20)


def test_every_kind_of_click_sounds_different() -> None:
    """No two click sounds correlate strongly."""
    sounds = {kind: click_sound(kind) for kind in CLICKS}
    for one in CLICKS:
        for other in CLICKS:
            if one < other:
                a, b = sounds[one], sounds[other]
                assert abs(a @ b) / np.sqrt((a @ a) * (b @ b)) < 0.9, (one, other)


def test_cues_end_before_the_count_they_call(stepped: FitPlan) -> None:
    """Each cue ends on the gap before a step's first moment; words never overlap."""
    made = practice(stepped, None, PracticeRequest(saying="cues"))
    counts = np.array([click.time_s for click in made.clicks])
    halves = (counts[:-1] + counts[1:]) / 2
    moments = np.concatenate([counts, halves])
    n_in = COUNT_IN[4]

    cues = [word for word in made.words if word[2] not in ("tag", "restart")][n_in:]

    assert len(cues) > 40
    for _, end, _ in cues:
        ahead = moments - end
        assert np.min(ahead[ahead > 0]) == pytest.approx(0.04, abs=0.001)
    for (_, end, _), (start, _, _) in zip(made.words, made.words[1:], strict=False):
        assert start >= end


def test_numbers_end_before_their_counts_or_stand_on_them(stepped: FitPlan) -> None:
    """Spoken numbers end before the count; asked for on it, they begin on it."""
    ahead = practice(stepped, None, PracticeRequest(saying="numbers"))
    on = practice(stepped, None, PracticeRequest(saying="numbers", numbers_on_count=True))
    counts = np.array([click.time_s for click in on.clicks])

    assert all(np.min(np.abs(counts - start)) < 1e-9 for start, _, _ in on.words[:40])
    assert all(np.min(np.abs(counts - end - 0.04)) < 1e-6 for _, end, _ in ahead.words[:40])
    assert [text for _, _, text in on.words[:8]] == [
        "one", "two", "three", "four", "five", "six", "seven", "eight",
    ]  # fmt: skip


def test_waltz_is_counted_in_with_six(waltz: FitPlan) -> None:
    """Two bars of three before count 1."""
    made = practice(waltz, None, PracticeRequest(saying="numbers"))

    assert sum(click.row.kind == "intro" for click in made.clicks) == 6


def test_count_in_is_made_up_where_the_song_has_none() -> None:
    """A dance that begins with the song still gets its eight counts."""
    fit = fit_routine(song((64, 64)), load_routine(ROUTINES / "first-gate.toml"), start_s=1.0)

    made = practice(fit, None, SILENT)

    assert [click.row.spoken for click in made.clicks[:9]] == [1, 2, 3, 4, 5, 6, 7, 8, 1]
    assert np.allclose(np.diff([click.time_s for click in made.clicks[:10]]), 0.5)


def test_all_cues_of_shipped_routines_are_in_the_bank(monkeypatch: pytest.MonkeyPatch) -> None:
    """The example routines speak without any voice installed."""
    monkeypatch.setitem(sys.modules, "pyttsx3", None)
    for path in ROUTINES.glob("*.toml"):
        for part in load_routine(path).parts:
            for step in part.steps:
                words = cue_words(step.name)
                assert len(say(words, SAMPLE_RATE_HZ)) > 0, (path.name, words)


def test_numbers_are_short_enough_for_fast_dances() -> None:
    """Each number is over within a count at 180 a minute."""
    for word in ("one", "two", "three", "four", "five", "six", "seven", "eight"):
        assert len(say(word, SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ < 60 / 180


def test_missing_voice_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """A word outside the bank, without the extra, names the extra."""
    monkeypatch.setitem(sys.modules, "pyttsx3", None)

    with pytest.raises(MissingExtraError, match=r"phrasefit\[speech\]"):
        say("gallimaufry wobble", SAMPLE_RATE_HZ)


@pytest.mark.parametrize(
    ("call", "said"),
    [("Step R gently", "step right"), ("Stomp L, touch", "Stomp L, touch"), ("Fandango!", "")],
)
def test_a_call_leaves_out_words_that_nobody_can_say(
    call: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sheets are typed with capitals, R and L, and words of their own."""
    monkeypatch.setitem(sys.modules, "pyttsx3", None)
    sayable.cache_clear()

    assert sayable(call) == said


def test_a_routine_in_its_own_words_gets_practice_audio(monkeypatch: pytest.MonkeyPatch) -> None:
    """What can be called is called, the rest is left out, and that is told."""
    monkeypatch.setitem(sys.modules, "pyttsx3", None)
    sayable.cache_clear()
    text = (ROUTINES / "first-gate.toml").read_text(encoding="utf-8")
    text = text.replace("vine right, touch", "Step R gently").replace(
        "vine left, touch", "Fandango!"
    )
    routine = parse_routine(text)

    made = practice(fit_routine(song((64, 64)), routine))

    spoken = {words for _, _, words in made.words}
    assert "step right" in spoken and not any("andango" in words for words in spoken)
    assert 'some are left out: "Step R gently", "Fandango!"' in unsaid_note(routine)


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"percent": 10}, "percent=10"),
        ({"tempo": 900}, "tempo=900"),
        ({"saying": "loudly"}, "cues, numbers, both, nothing"),
        ({"intro": True, "percent": 80}, "own tempo"),
    ],
)
def test_wishes_out_of_range_are_refused(wishes: dict, words: str) -> None:
    """The message names the value and what is possible."""
    with pytest.raises(ParameterError, match=words):
        PracticeRequest(**wishes)


@pytest.mark.parametrize("suffix", [".mp3", ".ogg", ".flac"])
def test_chapters_mark_walls_and_tags(short: FitPlan, suffix: str) -> None:
    """Another reader finds each wall and the tag within a millisecond; the sound is untouched."""
    mutagen = pytest.importorskip("mutagen")
    made = practice(short, None, SILENT)
    expected = chapters_of(made)

    coded = encoded(made, suffix)

    tags = mutagen.File(io.BytesIO(coded)).tags
    if suffix == ".mp3":
        frames = sorted(tags.getall("CHAP"), key=lambda frame: frame.start_time)
        found = [(f.start_time / 1000, f.sub_frames["TIT2"].text[0]) for f in frames]
    else:
        found = []
        for number in range(1, len(expected) + 1):
            hours, minutes, seconds = tags[f"CHAPTER{number:03d}"][0].split(":")
            time_s = 3600 * int(hours) + 60 * int(minutes) + float(seconds)
            found.append((time_s, tags[f"CHAPTER{number:03d}NAME"][0]))
    assert [name for _, name in found] == [name for _, name in expected]
    assert np.allclose([t for t, _ in found], [t for t, _ in expected], atol=0.001)
    assert sum("tag" in name for _, name in found) == 1
