"""The name that a person gave a section stands wherever its letter would."""

from __future__ import annotations

import io
from dataclasses import replace

import mido
import pypdf
import pytest
from laid_out import squeezed

from phrasefit.fit import fit_routine
from phrasefit.model import MOST_NAME_LETTERS, FitPlan
from phrasefit.reports.captions import captions
from phrasefit.reports.jams import jams_document
from phrasefit.reports.map_text import render as map_text
from phrasefit.reports.midi import midi_file
from phrasefit.reports.page import page
from phrasefit.reports.paper import Document
from phrasefit.reports.sheet import SIZES, sheet
from phrasefit.reports.song_picture import add_count_pages
from phrasefit.reports.song_view import SongView
from phrasefit.reports.words import breaks_words, music_name

LONG = "second half of verse"


def read(document: Document) -> str:
    """Extract all text as another program would, without white space."""
    pages = pypdf.PdfReader(io.BytesIO(document.pdf())).pages
    return squeezed(" ".join(leaf.extract_text() for leaf in pages))


@pytest.fixture(scope="module")
def named(tagged: FitPlan) -> FitPlan:
    """The song with a tag, each section called by a name of its own."""
    sections = tagged.bar_map.sections
    names = ["intro", LONG, "refrain 1", "solo", "refrain 2", "bridge", "refrain 3"]
    return fit_routine(
        replace(
            tagged.bar_map,
            sections=tuple(replace(s, name=n) for s, n in zip(sections, names, strict=True)),
        ),
        tagged.routine,
    )


def names_of_walls(fit: FitPlan) -> list[str]:
    """The names of the sections in which walls begin."""
    return [
        fit.bar_map.sections[fit.grid.section[wall.start_count]].name for wall in fit.plan.walls
    ]


@pytest.mark.parametrize("size", SIZES)
def test_every_sheet_says_that_it_begins_on_the_vocals(tagged: FitPlan, size: str) -> None:
    """A start that was marked is told by what is heard; unmarked, nothing is said."""
    sung = replace(tagged.bar_map, singing_at_s=tagged.plan.start_s)
    words = squeezed("on the vocals")

    assert words in read(sheet(fit_routine(sung, tagged.routine), size=size))
    assert words not in read(sheet(tagged, size=size))


def test_the_longest_name_is_tried() -> None:
    """What is tested below has as many letters as a name may have."""
    assert len(LONG) == MOST_NAME_LETTERS


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheet(named: FitPlan, paper: str) -> None:
    """Each wall's row says what is sung then; nothing is cut."""
    text = read(sheet(named, paper=paper))

    for name in names_of_walls(named):
        assert squeezed(name) in text
    assert squeezed("music A") not in text


def test_picture(named: FitPlan) -> None:
    """Every section is named, in its box or in the margin of its line."""
    document = Document(title="named")
    view = SongView(bar_map=named.bar_map, grid=named.grid, fit=named, plan=named.plan)
    add_count_pages(document, view)
    text = read(document)

    for section in named.bar_map.sections:
        assert squeezed(section.name) in text


def test_page_map_and_words(named: FitPlan) -> None:
    """The page's table, the map's list, and the sentence about the song's break."""
    shown = page(named)
    listed = map_text(named.bar_map)

    for section in named.bar_map.sections:
        assert section.name in shown and section.name in listed
    assert "before refrain 2 at" in breaks_words(named)


def test_captions(named: FitPlan, tagged: FitPlan) -> None:
    """A wall's first caption says the name; without names captions are as they were."""
    first = [c.lines[0] for c in captions(named) if c.lines[0].startswith("WALL")]
    plain = [c.lines[0] for c in captions(tagged) if c.lines[0].startswith("WALL")]

    assert len(first) == len(plain) > 5
    for with_name, without in zip(first, plain, strict=True):
        assert with_name.startswith(f"{without}, ")
    assert any(line.endswith(", solo") for line in first)


def test_exchange(named: FitPlan) -> None:
    """JAMS and MIDI carry it."""
    document = jams_document(named.bar_map, named)
    segments = next(a for a in document["annotations"] if a["namespace"] == "segment_open")
    file = mido.MidiFile(file=io.BytesIO(midi_file(named.bar_map, named)))
    markers = [m.text for track in file.tracks for m in track if m.type == "marker"]

    for section in named.bar_map.sections:
        assert section.name in [row["value"] for row in segments["data"]]
        assert section.name in markers


def test_a_single_letter_is_no_part_of_the_routine(named: FitPlan) -> None:
    """A person may call a section B; a part of a routine may be called so too."""
    section = replace(named.bar_map.sections[0], name="B")

    assert music_name(section) == "music B"
    assert music_name(replace(section, name="")) == f"music {section.letter}"
