"""Section boundaries a person heard: snapped, kept, removed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from form_songs import MadeSong, made_song, plain_map
from phrasefit.corrections.sections import apply_section_marks
from phrasefit.errors import MapError
from phrasefit.form import add_form
from phrasefit.model import BarMap, Correction

PLAN = [(letter, [4] * 8) for letter in "ABACB"]  # boundaries every 16 s from 1.0 s


@pytest.fixture
def song(rng: np.random.Generator) -> MadeSong:
    return made_song(PLAN, rng, noise=0.3)


@pytest.fixture
def formed(song: MadeSong) -> BarMap:
    return add_form(song.bar_map, song.evidence)


def marked(bar_map: BarMap, *, at: tuple = (), no: tuple = (), **more: object) -> BarMap:
    return apply_section_marks(bar_map, Correction(sections_at_s=at, no_section_at_s=no), **more)


def starts(bar_map: BarMap) -> list[int]:
    return [section.start_beat for section in bar_map.sections]


def letters(bar_map: BarMap) -> str:
    return "".join(section.letter for section in bar_map.sections)


def test_found_as_made(formed: BarMap) -> None:
    """The tests below rest on this form."""
    assert starts(formed) == [0, 32, 64, 96, 128]
    assert letters(formed) == "ABACB"


def test_no_mark_no_change(formed: BarMap) -> None:
    """A correction without section marks gives the same map."""
    assert apply_section_marks(formed, Correction(shift_one_beats=1)) is formed


def test_a_mark_divides_a_section_at_the_nearest_one(formed: BarMap) -> None:
    """9.3 s lies nearest to the downbeat at 9.0 s; both parts keep the letter."""
    changed = marked(formed, at=(9.3,))
    section = changed.sections[1]

    assert starts(changed) == [0, 16, 32, 64, 96, 128]
    assert letters(changed) == "AABACB"
    assert (section.strength, section.n_beats) == (1.0, 16)
    assert sum(s.n_beats for s in changed.sections) == 160


def test_phrases_follow_the_mark(formed: BarMap) -> None:
    """A marked boundary is a phrase start of the highest level, of full strength."""
    changed = marked(formed, at=(7.1,))
    phrase = next(p for p in changed.phrases if p.start_beat == 12)

    assert (phrase.group, phrase.strength, phrase.n_beats) == (32, 1.0, 20)


def test_a_mark_a_bar_away_moves_the_boundary(formed: BarMap) -> None:
    """A boundary found one bar beside the one heard was the same one, misplaced."""
    changed = marked(formed, at=(19.0,))

    assert starts(changed) == [0, 36, 64, 96, 128]
    assert letters(changed) == "ABACB"


def test_with_evidence_letters_are_found_anew(song: MadeSong) -> None:
    """Two sections taken for one are told apart once a person divides them."""
    formed = add_form(song.bar_map, song.evidence)
    merged = marked(formed, no=(17.0,))
    divided = marked(merged, at=(17.0,), evidence=song.evidence)

    assert letters(merged)[:2] == "AA"
    assert letters(divided) == "ABACB"


def test_a_denied_boundary_goes(formed: BarMap) -> None:
    """The section before grows over it and phrases run through."""
    changed = marked(formed, no=(17.4,))

    assert starts(changed) == [0, 64, 96, 128]
    assert changed.sections[0].n_beats == 64
    assert next(p for p in changed.phrases if p.start_beat == 32).strength < 0.9


def test_a_denied_mark_goes_too(formed: BarMap) -> None:
    """A mark taken back leaves what was found."""
    assert starts(marked(formed, at=(9.0,), no=(9.0,))) == starts(formed)
    assert starts(marked(formed, at=(19.0,), no=(19.0,))) == starts(formed)


def test_denied_and_marked_beside_it(formed: BarMap) -> None:
    """Denying the boundary found and marking another moves it, far or near."""
    assert starts(marked(formed, no=(17.0,), at=(21.0,)))[:2] == [0, 40]
    assert starts(marked(formed, no=(17.0,), at=(19.0,)))[:2] == [0, 36]


def test_denied_where_nothing_is(formed: BarMap) -> None:
    """Nothing is removed from afar, and a note says so; the first section stays."""
    changed = marked(formed, no=(9.0,))

    assert starts(changed) == starts(formed)
    assert any("no section begins near 0:09.0" in note for note in changed.notes)
    assert starts(marked(formed, no=(1.0,))) == starts(formed)


def test_marks_without_any_form() -> None:
    """On a map of bars alone marks make the sections, each with its own letter."""
    changed = marked(plain_map(np.arange(64) % 4 == 0, 4), at=(17.0,))

    assert starts(changed) == [0, 32]
    assert letters(changed) == "AB"
    assert changed.confidence.phrase == 1.0


@pytest.mark.parametrize("change", [{"at": (999.0,)}, {"no": (-1.0,)}, {"at": (float("nan"),)}])
def test_a_time_outside_the_song_is_refused(formed: BarMap, change: dict) -> None:
    """The error names the time and the song's length."""
    with pytest.raises(MapError, match=r"a section at .* outside the song \(it ends at 1:23\.0\)"):
        marked(formed, **change)


def test_a_map_without_a_one_takes_no_marks() -> None:
    """Sections begin on ones: the error says to give one first."""
    bar_map = plain_map(np.zeros(8, dtype=bool), 16)
    bar_map = type(bar_map)(
        **{name: getattr(bar_map, name) for name in bar_map.__slots__}
        | {"positions": np.full(8, 2)}
    )

    with pytest.raises(MapError, match="give a one first"):
        marked(bar_map, at=(2.0,))


def expected(bar_map: BarMap) -> dict[int, float]:
    outlook = bar_map.all_forms
    return dict(zip(outlook.beats.tolist(), outlook.sections.tolist(), strict=True))


def test_what_a_person_said_is_no_longer_weighed(song: MadeSong, formed: BarMap) -> None:
    """A mark is expected for sure and nothing beside it; what was denied not at all."""
    changed = marked(formed, at=(9.0,), no=(33.0,), evidence=song.evidence)

    assert expected(formed)[16] < 0.5 < expected(formed)[64]
    assert [expected(changed)[beat] for beat in (12, 16, 20)] == [0, 1, 0]
    assert [expected(changed)[beat] for beat in (60, 64, 68)] == [0, 0, 0]
    assert expected(changed)[128] > 0.9


def test_to_deny_what_was_likely_needs_no_note(song: MadeSong, formed: BarMap) -> None:
    """Who says that no section begins where one was likely has changed something."""
    sections = np.where(formed.outlook.beats == 16, 0.4, formed.outlook.sections)
    likely = replace(formed, outlook=replace(formed.outlook, sections=sections))
    changed = marked(likely, no=(9.0,), evidence=song.evidence)

    assert changed.notes == ()
    assert expected(changed)[16] == 0
    assert "no section begins near 0:25.0" in marked(likely, no=(25.0,)).notes[0]


def test_without_evidence_only_what_is_marked_is_known(formed: BarMap) -> None:
    """What to expect elsewhere cannot be worked out: the sections stand for themselves."""
    assert marked(formed, at=(9.0,)).outlook is None
