"""What a person calls the sections, and where they hear the singing begin."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fit_songs import make_song
from form_songs import made_song
from kept_songs import analysis_of
from phrasefit.cli._corrections import CorrectionOptions, option_words
from phrasefit.corrections import UNTOUCHED
from phrasefit.corrections.document import correction_document, read_correction
from phrasefit.corrections.names import apply_names
from phrasefit.errors import MapError, ParameterError
from phrasefit.fields import Fields
from phrasefit.form import add_form
from phrasefit.model import MOST_NAME_LETTERS, BarMap, Correction, SectionName
from phrasefit.pipeline import Analysis, added, corrected
from phrasefit.reports.correction_words import correction_words

SONG = make_song(("A", 8), ("B", 8), ("A", 8), ("C", 8))  # 16 s each, from 1.0 s on


def named(*said: tuple[float, str], bar_map: BarMap = SONG) -> list[str]:
    """Give the names of the sections after these were said."""
    names = tuple(SectionName(at_s=at_s, name=name) for at_s, name in said)
    return [s.name for s in apply_names(bar_map, Correction(section_names=names)).sections]


def test_a_name_is_for_the_section_that_is_heard_there() -> None:
    """In its middle, and up to a bar before it begins: people point early or late."""
    assert named((25.0, "chorus")) == ["", "chorus", "", ""]
    assert named((31.4, "chorus")) == ["", "", "chorus", ""]
    assert named((28.8, "chorus")) == ["", "chorus", "", ""]
    assert named((0.0, "intro")) == ["intro", "", "", ""]
    assert named((1.0, "intro"), (64.0, "end")) == ["intro", "", "", "end"]


def test_the_last_word_about_a_section_holds() -> None:
    """A name and an empty one take the place of an earlier one."""
    assert named((20.0, "verse"), (27.0, "chorus")) == ["", "chorus", "", ""]
    assert named((20.0, "verse"), (27.0, "")) == ["", "", "", ""]


def test_letters_stay(rng: np.random.Generator) -> None:
    """A name says nothing of what is the same music, nor of where it begins."""
    song = made_song([(letter, [4] * 8) for letter in "ABACB"], rng, noise=0.3)
    formed = add_form(song.bar_map, song.evidence)
    heard = replace(analysis_of(formed, Path("song.wav")), evidence=song.evidence)
    plain = added(heard, UNTOUCHED, Correction(sections_at_s=(9.0,)))
    change = Correction(section_names=(SectionName(at_s=10.0, name="solo"),))
    changed = added(heard, plain.correction, change)

    assert [replace(s, name="") for s in changed.bar_map.sections] == [*plain.bar_map.sections]
    assert [s.name for s in changed.bar_map.sections][:3] == ["", "solo", ""]


def heard_song() -> Analysis:
    """A song as heard, whose form is found from its bars."""
    return analysis_of(SONG, Path("song.wav"))


def test_void_names_are_no_longer_said() -> None:
    """Of two names for one section, said one after the other, the later one is kept."""
    heard = heard_song()
    first = added(heard, UNTOUCHED, Correction(section_names=(SectionName(at_s=4.0, name="a b"),)))
    change = Correction(section_names=(SectionName(at_s=9.0, name="verse"),))
    second = added(heard, first.correction, change)
    back = Correction(section_names=(SectionName(at_s=2.0, name=""),))

    assert second.correction == change
    assert added(heard, second.correction, back).correction == UNTOUCHED


def test_names_and_singing_move_with_the_beats() -> None:
    """Times are those of the map that results."""
    heard = heard_song()
    change = Correction(section_names=(SectionName(at_s=4.0, name="verse"),), singing_at_s=9.0)
    once = added(heard, UNTOUCHED, change)
    moved = added(heard, once.correction, Correction(nudge_s=0.02))

    assert [n.at_s for n in moved.correction.section_names] == pytest.approx([4.02])
    assert moved.bar_map.singing_at_s == pytest.approx(9.02)
    assert moved.bar_map.sections[0].name == "verse"


def test_singing_is_taken_back() -> None:
    """Then nothing of it is kept."""
    heard = heard_song()
    once = added(heard, UNTOUCHED, Correction(singing_at_s=9.0))

    assert once.bar_map.singing_at_s == 9.0
    back = added(heard, once.correction, Correction(no_singing=True))
    assert (back.correction, back.bar_map.singing_at_s) == (UNTOUCHED, None)


def test_a_name_without_a_section_is_noted() -> None:
    """A map without sections has none to call by a name."""
    plain = replace(SONG, sections=())
    change = Correction(section_names=(SectionName(at_s=4.0, name="verse"),))

    assert any("to be called verse" in note for note in apply_names(plain, change).notes)


@pytest.mark.parametrize(
    "change",
    [
        Correction(section_names=(SectionName(at_s=999.0, name="verse"),)),
        Correction(singing_at_s=999.0),
    ],
)
def test_a_time_outside_the_song_is_refused(change: Correction) -> None:
    """The error names the time and the song's length."""
    with pytest.raises(MapError, match=r"at 16:39\.0 lies outside the song"):
        corrected(heard_song(), change)


def test_a_long_name_is_refused_and_a_strange_one_made_fit() -> None:
    """Sheets have room for so many letters, on one line."""
    with pytest.raises(ParameterError, match="20 are the most"):
        SectionName(at_s=1.0, name="x" * (MOST_NAME_LETTERS + 1))
    assert SectionName(at_s=1.0, name=" the\n last\x07\tchorus ").name == "the last chorus"


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60_000), st.text(max_size=MOST_NAME_LETTERS)), max_size=4),
    st.none() | st.integers(0, 60_000),
)
def test_every_way_to_write_it_is_read_back(
    said: list[tuple[int, str]], singing: int | None
) -> None:
    """As JSON it comes back unchanged, as options to the hundredth of a second; words say all."""
    names = tuple(SectionName(at_s=at / 100, name=name) for at, name in said)
    correction = Correction(
        section_names=names, singing_at_s=None if singing is None else singing / 100
    )
    words = correction_words(correction)

    assert read_correction(Fields("kept", correction_document(correction))) == correction
    assert all(name.name in words for name in names)
    assert ("singing from" in words) == (singing is not None)
    typed = CorrectionOptions(
        name_section=[f"{name.at_s:.2f} {name.name}" for name in names],
        singing_at=None if singing is None else f"{singing / 100:.2f}",
    )
    assert typed.correction() == correction
    assert ("--singing-at" in option_words(correction)) == (singing is not None)
