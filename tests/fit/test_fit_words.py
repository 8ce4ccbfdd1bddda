"""What the fit says: plain words, all facts, times as m:ss."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from fit_songs import make_part, make_routine, make_song
from phrasefit.clock import clock_time
from phrasefit.fit import fit_routine
from phrasefit.model import Alternative, Confidence, Correction, RestartPoint, Step, TagOption
from phrasefit.reports.dj_card import card_rows
from phrasefit.reports.event_words import change_sentences
from phrasefit.reports.fit_text import WIDTH, render
from phrasefit.reports.start_words import why_not
from phrasefit.reports.words import cautions, reasons, tempo_words, verdict, verdict_in_a_line

SQUARE = (("I", 8), ("A", 16), ("B", 16), ("A", 16), ("B", 16), ("C", 8), ("B", 16))
EXAMPLE = (("I", 8), ("A", 16), ("B", 16), ("A", 17), ("B", 16), ("B", 16))
HALF = (("I", 8), ("A", 20), *[("B", 16), ("A", 16)] * 3)


def test_verdict_of_a_song_that_fits() -> None:
    """One sentence is enough."""
    fit = fit_routine(make_song(*SQUARE), make_routine())

    assert verdict(fit) == "It fits as it is (100 of 100): every phrase of the song starts a wall."


def test_verdict_of_the_example_of_the_design() -> None:
    """How far it goes, what the song does, what fixes it."""
    fit = fit_routine(make_song(*EXAMPLE), make_routine())

    assert verdict(fit) == (
        "It fits with one change (87 of 100)."
        " Straight through, it keeps to the phrases up to wall 6."
        " The song adds 4 counts before section B at 1:55.0."
        " A 4-count tag after wall 6 (1:53.0, facing 6:00) fixes it."
    )


def test_verdict_names_the_last_section_of_its_letter() -> None:
    """What an instructor calls the last chorus is the last section of its letter."""
    song = make_song(("I", 8), ("A", 16), ("B", 16), ("A", 17), ("B", 24), ("C", 16))

    assert "before the last section B at 1:55.0" in verdict(fit_routine(song, make_routine()))


def test_verdict_with_a_restart() -> None:
    """A restart is given with wall, last count, facing and change of step."""
    point = RestartPoint(after_count=16, turn_deg=90, step_change="on count 16 touch the left foot")
    part = dataclasses.replace(make_part(), restart_points=(point,))

    text = verdict(fit_routine(make_song(*HALF), make_routine(part, tags=())))

    assert "adds half a phrase (16 counts) before section B at 0:57.0" in text
    assert text.endswith(
        "A restart in wall 3 after count 16 (0:57.0, facing 9:00, on count 16 touch the left foot)"
        " fixes it."
    )


def test_verdict_of_half_phrases_lived_with() -> None:
    """A late half phrase stays on an eight."""
    song = make_song(("I", 8), *[("B", 16), ("A", 16)] * 3, ("C", 20), ("B", 8))

    text = verdict(fit_routine(song, make_routine()))

    assert text.endswith(
        "The phrases stay on an eight, which dancers live with: no change is advised."
    )


@pytest.mark.parametrize(
    ("tags", "end"),
    [
        ((), "No restart or tag that the routine allows brings it back."),
        ((TagOption(counts=4),), "No restart or tag is worth learning for it."),
    ],
)
def test_verdict_where_nothing_is_advised(tags, end: str) -> None:
    """It says why."""
    song = make_song(("I", 8), *[("B", 16), ("A", 16)] * 3, ("C", 17), ("B", 4))

    fit = fit_routine(song, make_routine(make_part(cuts={}), tags=tags))

    assert verdict(fit).endswith(end)


def test_verdict_of_a_song_that_does_not_fit() -> None:
    """A low score is said first; no change is advised that leaves it at nothing."""
    song = make_song(*[("ABC"[i % 3], [4] * (5 + i % 4) + [3]) for i in range(12)])

    fit = fit_routine(song, make_routine())

    assert fit.plan.score < 40
    assert verdict(fit).startswith(
        f"It hardly fits ({fit.plan.score:.0f} of 100); another song would be easier to dance to."
    )


def test_verdict_of_many_breaks() -> None:
    """The first two places are named, the others counted; what stays off is said."""
    song = make_song(
        ("I", 8), ("A", 17), ("B", [4] * 15 + [2]), ("A", 18), ("B", 20), ("A", 17), ("B", 17)
    )

    text = verdict(fit_routine(song, make_routine(), max_changes=1))

    assert "adds 4 counts before section B at 0:51.0, is 2 counts short before" in text
    assert "and breaks three more times." in text
    assert text.endswith(
        "; nine walls still start off the phrases and nine phrase starts still fall inside a wall."
    )


def test_verdict_with_a_routine_that_never_meets() -> None:
    """40 counts leave phrases of 32 in the first wall."""
    fit = fit_routine(make_song(*SQUARE), make_routine(make_part(counts=40)))

    assert " Straight through, it keeps to the phrases up to wall 1." in verdict(fit)


def test_verdict_begins_with_the_doubt_and_ends_with_the_tempo() -> None:
    """What to check comes before any praise; then too fast, with the change that fixes it."""
    song = make_song(*SQUARE, bpm=130, confidence=Confidence(downbeat=0.4))

    text = verdict(fit_routine(song, make_routine(tempo_bpm=(90, 120))))

    assert text == (
        "Check the one (40% sure): hear whether a new line of the song begins on count 1 of a wall."
        " If that is right, it fits as it is (100 of 100): every phrase of the song starts a wall."
        " 130 counts a minute is too fast (90 to 120 is wanted):"
        " play it 7.7 % slower, with the pitch kept."
    )


def test_no_praise_before_the_doubt_that_matters() -> None:
    """The one comes before the phrases, with the likeliest correction; the rest stands below."""
    rivals = tuple(
        Alternative(
            kind="one", correction=Correction(shift_one_beats=n), probability=share,
            tempo_bpm=120.0, meter=4,
        )
        for n, share in ((2, 0.3), (1, 0.2))
    )  # fmt: skip
    song = make_song(*SQUARE, confidence=Confidence(downbeat=0.5, phrase=0.4), alternatives=rivals)

    def name(correction: Correction) -> str:
        return (
            f"--shift-one {correction.shift_one_beats:+d}" if correction.shift_one_beats else "-x"
        )

    text = render(fit_routine(song, make_routine()), name_correction=name)
    first = " ".join(text.split("\n\n")[1].split())

    assert first.startswith("Check the one (50% sure): hear whether a new line of the song begins")
    assert (
        "if it is wrong, try --shift-one +2 (30%; then count 1 comes at 0:18.0). If that is right,"
        " it fits as it is"
    ) in first
    assert "--shift-one +1" not in text
    assert "\ncheck also\n  check the phrases (40% sure)" in text


def test_a_map_without_sections_says_what_is_assumed() -> None:
    """It is planned by phrases of 32 also for 64 counts: an intro of 32 is as good as any."""
    song = make_song(("A", 8 * 12))
    song = dataclasses.replace(song, sections=())

    fit = fit_routine(song, make_routine(make_part(counts=64), intro_counts=32))

    assert fit.plan.intro_counts == 32
    text = verdict(fit)
    assert text.startswith("Check the phrases: the map has no sections, so that one is assumed")
    assert text.endswith("every wall starts on a phrase (a wall is two phrases of 32 counts).")


def test_a_tempo_off_by_a_hair_is_no_fault() -> None:
    """Nobody feels 0.1 %: neither verdict nor cautions speak of it."""
    fit = fit_routine(make_song(*SQUARE, bpm=116.1), make_routine(tempo_bpm=(88, 116)))

    assert fit.tempo.verdict == "too fast"
    assert verdict(fit) == "It fits as it is (100 of 100): every phrase of the song starts a wall."
    assert tempo_words(fit) == "116 counts a minute, in the range of 88 to 116"
    assert cautions(fit) == ()


@pytest.mark.parametrize(
    ("bpm", "end"), [(126, ", or slow the music down"), (140, "")], ids=["in reach", "out of reach"]
)
def test_the_cautions_ask_for_no_pace_that_would_sound_wrong(bpm: int, end: str) -> None:
    """Where the verdict says that no slower pace sounds right, they do not advise one."""
    fit = fit_routine(make_song(*SQUARE, bpm=bpm), make_routine(tempo_bpm=(88, 116)))

    assert ("it would sound wrong at that pace" in verdict(fit)) == (not end)
    assert cautions(fit) == (f"fast for this routine: keep the steps small{end}",)


def test_verdict_of_a_plan_that_was_asked_for() -> None:
    """It speaks of the plan that is printed, and names the advised one beside it."""
    fit = fit_routine(make_song(*EXAMPLE), make_routine())
    plain = fit.plans[0]

    assert fit.plan.n_changes == 1
    text = verdict(fit, plain)
    assert text.startswith(f"With no changes, as chosen, it scores {plain.score:.0f} of 100 (with")
    assert f"(with one change, as advised, {fit.plan.score:.0f})" in text
    assert "advised:" not in text.lower() and "fixes" not in text


def test_restart_with_tag_is_one_line() -> None:
    """Dance 16, tag, restart: in this order."""
    song = make_song(("I", 8), ("A", 21), *[("B", 16), ("A", 16)] * 3)
    tag = TagOption(counts=4, name="sways")
    routine = make_routine(make_part(cuts={16: 0}), tags=(tag,))

    assert change_sentences(fit_routine(song, routine).plan) == (
        'after count 16 of wall 3 a 4-count tag "sways" (0:57.0, facing 6:00), then a restart'
        " (0:59.0, facing 6:00, no change of step)",
    )


def test_a_turning_tag_says_where_to() -> None:
    """The new facing stands behind the tag."""
    tag = TagOption(counts=8, turn_deg=180)
    song = make_song(("I", 8), ("A", 18), *[("B", 16), ("A", 16)] * 3)

    plan = fit_routine(song, make_routine(make_part(cuts={}), tags=(tag,))).plan

    assert change_sentences(plan) == (
        "an 8-count tag after wall 2 (0:49.0, facing 6:00) turning to 12:00",
    )


def test_reasons() -> None:
    """Start, walls off the phrase, ending, score: a line each."""
    song = make_song(("x", 1), ("I", 8), ("A", 17), ("B", 16), ("A", 4))
    song = dataclasses.replace(song, sections=song.sections[1:])
    fit = fit_routine(song, make_routine(), intro=36)

    plain, fixed = (reasons(fit, plan) for plan in fit.plans[:2])

    assert plain == (
        "count 1 at 0:19.0, after an intro of 36 counts from the first one"
        " (32 counts from count 1 of the first phrase)",
        "walls 3 to 5 start 4 counts before a phrase start (from 0:51.0)",
        "the music ends at 1:33.0 after count 20 of wall 5, facing 12:00: already to the front",
        "38 of 100: phrases met 37.5",
    )
    assert "a 4-count tag after wall 2 (0:51.0, facing 6:00)" in fixed
    assert not any("before a phrase start" in line for line in fixed)


def test_reasons_without_intro() -> None:
    """A dance from the first one has nothing to count in on; before it, that is said too."""
    on_one = fit_routine(make_song(*SQUARE), make_routine(), intro=0)
    early = fit_routine(make_song(*SQUARE, pickup=2), make_routine(), start_s=1.0)

    assert "no intro to count in on" in reasons(on_one, on_one.plan)[0]
    assert "2 counts before the first one" in reasons(early, early.plan)[0]


def test_short_routines_start_walls_inside_phrases_by_nature() -> None:
    """A 16-count routine is not off the phrase on every second wall."""
    fit = fit_routine(make_song(*SQUARE), make_routine(make_part(counts=16, cuts={})))

    assert fit.plan.phrase_met == pytest.approx(100)
    assert not any("phrase start (from" in line for line in reasons(fit, fit.plan))


def test_tempo_in_range() -> None:
    """In range is said with the range."""
    fit = fit_routine(make_song(*SQUARE), make_routine(tempo_bpm=(100, 125)))

    assert tempo_words(fit) == "120 counts a minute, in the range of 100 to 125"


def test_cautions() -> None:
    """Too fast, much turning, and changes for absolute beginners are said; else nothing."""
    steps = tuple(
        Step(line=i, counts="", moments=(4 * i,), name="", feet=("R",), turn_deg=360)
        for i in range(6)
    )
    spinning = make_routine(
        dataclasses.replace(make_part(turn=0), steps=steps, restart_points=()),
        level="absolute beginner",
    )

    calm = cautions(fit_routine(make_song(*SQUARE), make_routine()))
    lines = cautions(fit_routine(make_song(*EXAMPLE), spinning))

    assert calm == ()
    assert [line.split(":")[0] for line in lines] == [
        "fast for this routine",
        "about 22 full turns a minute",
        "absolute beginners are usually spared restarts and tags",
    ]


@pytest.mark.parametrize(("later_step_s", "is_said"), [(0.5, False), (0.47, False), (0.6, True)])
def test_a_song_that_changes_tempo_brings_a_caution(later_step_s: float, is_said: bool) -> None:
    """Half of it at 120 counts a minute; from 8 % on a change is heard (from memory, no source)."""
    song = make_song(*SQUARE)
    half = song.beat_times_s.size // 2
    steps_s = np.where(np.arange(song.beat_times_s.size) < half, 0.5, later_step_s)
    beats_s = 1.0 + np.cumsum(steps_s) - 0.5
    ends_s = float(beats_s[-1]) + later_step_s
    changing = dataclasses.replace(song, beat_times_s=beats_s, end_s=ends_s, duration_s=ends_s)

    lines = cautions(fit_routine(changing, make_routine()))

    said = f"the tempo changes at {clock_time(beats_s[half - 1])} from 120 to 100 counts a minute"
    assert any(line.startswith(said) for line in lines) == is_said


@pytest.mark.parametrize("tempo", [(90.0, 140.0), (90.0, 118.0)], ids=["in range", "too fast"])
def test_where_the_tempo_changes_stands_where_the_tempo_does(tempo: tuple[float, float]) -> None:
    """A change too small for a caution is told by the report and the card for the DJ as well."""
    song = make_song(*SQUARE)
    half = song.beat_times_s.size // 2
    steps_s = np.where(np.arange(song.beat_times_s.size) < half, 0.5, 0.47)
    beats_s = 1.0 + np.cumsum(steps_s) - 0.5
    changing = dataclasses.replace(
        song, beat_times_s=beats_s, end_s=float(beats_s[-1]) + 0.47, tempo_bpm=120.0
    )

    fit = fit_routine(changing, make_routine(tempo_bpm=tempo))

    when = clock_time(beats_s[half - 1])
    report = " ".join(render(fit).split())
    assert f"; the tempo changes at {when} from 120 to 128 counts a minute count" in report
    card = dict(card_rows(fit, fit.plan))
    assert when in card["tempo"] and "128" in card["tempo"]


@pytest.mark.parametrize(
    ("tempo", "said"),
    [
        ((100.0, 125.0), "It fits as it is (100 of 100)."),
        ((80.0, 100.0), "It fits as it is (100 of 100); the tempo is too fast."),
        ((124.0, 130.0), "It fits as it is (100 of 100); the tempo is too slow."),
    ],
)
def test_a_line_of_praise_does_not_hide_the_tempo(tempo: tuple[float, float], said: str) -> None:
    """The line on a sheet says of the tempo what the verdict says at length."""
    fit = fit_routine(make_song(*SQUARE), make_routine(tempo_bpm=tempo))

    assert verdict_in_a_line(fit, fit.plan) == said


# ---------------------------------------------------------------- the report


def test_report() -> None:
    """Walls, events, ending and plans of the example, each once, with time and facing."""
    song = make_song(*EXAMPLE, title="Lantern Road", artist="The Spare Buttons")

    text = render(fit_routine(song, make_routine()))

    assert text.startswith("Test Floor   to   Lantern Road - The Spare Buttons (3:00)\n")
    assert text.endswith("\n") and not text.endswith("\n\n")
    assert "start     count 1 at 0:17.0, after an intro of 32 counts" in text
    assert "count     one count a beat\n" in text
    assert "     6    1:37.0      32    3:00      on" in text
    assert "          1:53.0  TAG 4 counts after wall 6, facing 6:00" in text
    assert "     7    1:55.0      32    6:00      on" in text
    assert "ending    the music ends at 2:59.0 after count 32 of wall 10, facing 6:00" in text
    assert len(re.findall(r"^\* ", text, re.M)) == 1
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_report_of_restarts_parts_and_doubts() -> None:
    """Restarts carry their four facts; parts, doubts, assumptions and cautions are listed."""
    part = make_part("A", 32, 180, {16: 0})
    point = dataclasses.replace(part.restart_points[0], step_change="touch on 16")
    parts = dataclasses.replace(part, restart_points=(point,)), make_part("B", 16, 0, {})
    routine = make_routine(
        *parts, sequence=("A", "A", "B"), tags=(), assumed=("no feet are written",)
    )
    song = make_song(
        ("I", 8), *[("A", 16), ("B", 4)] * 2, ("A", 12), *[("B", 4), ("A", 16)] * 4,
        bpm=170, beats_per_count=1.0, confidence=Confidence(phrase=0.3),
    )  # fmt: skip

    text = render(fit_routine(song, routine))

    assert re.search(r"RESTART wall \d+ after count 16, facing \d+:00, touch on 16", text)
    assert "phrase  part\n" in text
    assert re.search(r"^ +3 .*  B$", text, re.M)
    assert text.split("\n\n")[1].startswith("Check the phrases (30% sure): hear whether")
    assert "\ntaken for granted\n  no feet are written\n" in text
    assert "\ncare\n  fast for this routine" in text


def test_report_of_a_six_eight_song() -> None:
    """Counting to the dotted beat is said."""
    text = render(fit_routine(make_song(("A", 60), meter=6, bpm=186), make_routine()))

    assert "one count for three beats (the beat is 186.0 a minute)" in text


def test_music_left_over_is_said() -> None:
    """Four counts after the last wall are named, with the wall they follow."""
    fit = fit_routine(make_song(("I", 8), ("A", 16), ("B", 17)), make_routine())
    whole = fit_routine(make_song(("A", 16)), make_routine(), intro=0)

    assert ", 4 counts after count 32 of wall 4" in " ".join(reasons(fit, fit.plans[0]))
    assert "counts after count" not in " ".join(reasons(whole, whole.plans[0]))


def test_an_intro_by_the_trade() -> None:
    """Another intro is taken where the music asks for it; 16 and 32 counts say why not."""
    song = make_song(("I", 6), *[("A", 8)] * 9)
    fit = fit_routine(song, make_routine())

    assert fit.plan.intro_counts == 24  # nothing begins on 16 or 32
    lines = render(fit).split("other places for count 1, and why not")[1].split("\n\n")[0]
    assert re.search(r"intro  16 counts  score +\d+  no phrase begins there", lines)
    assert re.search(r"intro  32 counts  score +\d+  no phrase begins there", lines)
    assert re.search(r"intro  56 counts  score +\d+  a long wait", lines)


def test_a_usual_intro_is_preferred() -> None:
    """Phrases of 8 counts begin on 16, 24 and 32: nobody expects 24."""
    song = make_song(*[("AB"[i % 2], 2) for i in range(40)])

    fit = fit_routine(song, make_routine(make_part(counts=8, cuts={})))

    assert fit.plan.intro_counts == 16
    unusual = next(option for option in fit.start_options if option.intro_counts == 24)
    assert "an unusual intro (16 or 32 is expected)" in why_not(fit, unusual)
    asked = fit_routine(song, make_routine(make_part(counts=8, cuts={}), intro_counts=24))
    assert asked.plan.intro_counts == 24


def test_a_tag_of_one_count() -> None:
    """One count is no counts."""
    song = make_song(("I", 8), ("A", [4] * 15 + [5]), *[("B", 16), ("A", 16)] * 3)

    text = render(fit_routine(song, make_routine()), width=200)

    assert "TAG 1 count after wall 2" in text
    assert "A 1-count tag after wall 2" in text
    assert "1 counts" not in text
