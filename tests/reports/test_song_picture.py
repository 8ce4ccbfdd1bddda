"""The picture of a song: everything that was heard and planned is on it, and fits."""

from __future__ import annotations

import dataclasses
import io
import itertools
from xml.etree import ElementTree

import numpy as np
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from fit_songs import make_part, make_routine
from phrasefit.fit import fit_routine
from phrasefit.fit.grid import count_grid
from phrasefit.model import Alternative, BarMap, Confidence, Correction, FitPlan
from phrasefit.reports.event_words import place
from phrasefit.reports.fonts import isolated
from phrasefit.reports.line_notes import NOTE_WORDS_PT, SHAPE_PT, Note, PlacedNote, placed
from phrasefit.reports.paper import (
    MARGIN_PT,
    PAPERS_PT,
    PNG_DPI,
    Document,
    printable,
    text_width_pt,
)
from phrasefit.reports.song_picture import GUTTER_PT, add_count_pages, number_pages
from phrasefit.reports.song_view import SongView, doubtful_ones, gaps, odd_bars
from phrasefit.reports.words import music_name, routine_size
from phrasefit.routine.spec import routine_from_numbers
from phrasefit.routine.turns import clock
from songs import song

SVG = "{http://www.w3.org/2000/svg}"


def view_of(fit: FitPlan, *, loudness: bool = True) -> SongView:
    """Make a view of a plan, with loudness that rises over the song."""
    loudness_db = np.linspace(-40.0, -10.0, len(fit.grid.times_s) - 1)
    return SongView(
        bar_map=fit.bar_map,
        grid=fit.grid,
        loudness_db=loudness_db if loudness else None,
        fit=fit,
        plan=fit.plan,
    )


def heard(bar_map: BarMap) -> SongView:
    """Make a view of a song without a routine."""
    return SongView(bar_map=bar_map, grid=count_grid(bar_map))


def drawn(view: SongView, paper: str = "a4") -> Document:
    """Draw the pages."""
    document = Document(paper=paper, title=view.bar_map.title)
    add_count_pages(document, view)
    number_pages(document)
    return document


def pdf_words(document: Document) -> str:
    """Extract all text of the PDF as another program would, white space folded."""
    pages = pypdf.PdfReader(io.BytesIO(document.pdf())).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


def svg_words(document: Document, number: int = 0) -> str:
    """Join the text of an SVG in the order drawn, white space folded."""
    root = ElementTree.fromstring(document.svg(number))
    texts = ("".join(node.itertext()) for node in root.iter(f"{SVG}text"))
    return " ".join(" ".join(texts).split())


def words_of(document: Document) -> str:
    """Join the text of all pages, from their SVG: a PDF embeds fonts, which takes a second."""
    return " ".join(svg_words(document, number) for number in range(len(document.pages)))


def ink_of(document: Document, number: int = 0) -> np.ndarray:
    """Draw a page as pixels [shape=(height, width, 3), 0 = black]."""
    return imread(io.BytesIO(document.png(number)))[:, :, :3]


def assert_plan_is_there(view: SongView, text: str) -> None:
    """Every wall with its facing, every section, every event of the plan is in `text`."""
    for wall in view.plan.walls:
        named = (f"{wall.number} {clock(wall.facing)}", f"wall {wall.number}, {clock(wall.facing)}")
        assert any(name in text for name in named), named
    for section in view.bar_map.sections:
        assert music_name(section) in text
    for tag in view.plan.tags:
        assert f"TAG {tag.counts} {place(tag)}" in text
    for restart in view.plan.restarts:
        assert f"RESTART wall {restart.wall} after count {restart.after_count}" in text
    assert "END" in text


# ------------------------------------------------------------ what is on it


@pytest.mark.parametrize("kind", ["tagged", "restarted", "waltz"])
@pytest.mark.parametrize("paper", PAPERS_PT)
def test_every_fact_of_the_plan_is_on_the_picture(
    kind: str, paper: str, request: pytest.FixtureRequest
) -> None:
    """Walls, facings, sections, tags, restarts and the end, read back by pypdf."""
    view = view_of(request.getfixturevalue(kind))
    document = drawn(view, paper)

    assert len(document.pages) == 1 or paper != "a4"
    assert_plan_is_there(view, pdf_words(document))


def test_a_line_holds_a_phrase(tagged: FitPlan, waltz: FitPlan) -> None:
    """Lines are 32 counts long, in threes 24: numbered over the first one."""
    fours, threes = words_of(drawn(view_of(tagged))), words_of(drawn(view_of(waltz)))

    assert "count 1 5 9 13 17 21 25 29" in fours
    assert "count 1 4 7 10 13 16 19 22" in threes
    times = tagged.grid.times_s[:-1:32]
    assert all(f"{int(t // 60)}:{round(t % 60):02d} " in fours for t in times)


def test_long_songs_take_more_pages_and_lose_nothing() -> None:
    """A dozen minutes of music: each page is filled, numbered, and inside its margins."""
    bar_map = song((32, *[64] * 16, 36, *[64] * 6))
    view = view_of(fit_routine(bar_map, routine_from_numbers(counts=32, walls=4)))
    document = drawn(view)

    assert len(document.pages) > 2
    text = pdf_words(document)
    assert_plan_is_there(view, text)
    assert f"{len(document.pages)}/{len(document.pages)}" in text
    for number in range(len(document.pages)):
        ink = ink_of(document, number).min(axis=2) < 0.5
        margin = int(30 / 72 * PNG_DPI)
        assert not ink[:margin].any() and not ink[-margin:].any()
        assert not ink[:, :margin].any() and not ink[:, -margin:].any()


@pytest.mark.parametrize("counts", [4, 6, 12, 20, 68, 96])
def test_routines_of_any_length_are_told_in_full(counts: int) -> None:
    """Walls that are too short for their names, and walls over several lines."""
    bar_map = song((17, 64, 3, 64, 36, 60))
    view = view_of(fit_routine(bar_map, routine_from_numbers(counts=counts, walls=4)))

    text = words_of(drawn(view))

    assert_plan_is_there(view, text)


def test_a_phrased_routine_is_as_long_as_on_its_sheets() -> None:
    """Its parts and their order are named; the sum of the parts is the length of nothing."""
    routine = make_routine(make_part("A"), make_part("B", counts=16), sequence=("A", "A", "B"))

    text = words_of(drawn(view_of(fit_routine(song((64, 64, 64)), routine))))

    assert routine_size(routine) in text
    assert "48 counts" not in text


def test_a_song_without_routine_shows_no_walls() -> None:
    """What was heard is shown; nothing of a plan is claimed."""
    text = words_of(drawn(heard(song((32, 64, 64)))))

    assert all(words in text for words in ("music A, 32", "music B, 64", "music A, 64"))
    assert not any(word in text for word in ("START", "END", "TAG", "12:00", "intro", "gray"))


# ------------------------------------------------------------ odd and doubtful


def test_odd_bars_are_marked_where_they_are() -> None:
    """A bar of two in a song of fours: its counts, its words, its hatching."""
    bar_map = song((32, 30, 64))
    view = heard(bar_map)

    assert odd_bars(view) == [(60, 62, "odd bar: 2 beats")]
    assert "odd bar: 2 beats" in words_of(drawn(view))
    assert "not a whole bar" in words_of(drawn(view))
    assert "not a whole bar" not in words_of(drawn(heard(song((32, 64)))))


def test_a_stop_of_the_beat_is_marked() -> None:
    """Four seconds without a beat lie in one count."""
    plain = song((32, 64))
    times = plain.beat_times_s + np.where(np.arange(96) > 40, 4.0, 0.0)
    bar_map = dataclasses.replace(plain, beat_times_s=times, end_s=plain.end_s + 4)

    assert gaps(count_grid(bar_map)) == [40]
    assert "no beat for 4.5 s" in words_of(drawn(heard(bar_map)))


def test_a_doubtful_one_is_marked_at_both_places() -> None:
    """The one is 55 % sure and may be two beats later: both counts are named."""
    plain = song((32, 64))
    rival = Alternative(
        kind="one", correction=Correction(shift_one_beats=2), probability=0.3, tempo_bpm=120.0,
        meter=4,
    )  # fmt: skip
    doubtful = dataclasses.replace(
        plain, confidence=Confidence(downbeat=0.55), alternatives=(rival,)
    )
    sure = dataclasses.replace(plain, confidence=Confidence(downbeat=0.9), alternatives=(rival,))

    assert doubtful_ones(heard(doubtful)) == [(0, 0.55), (2, 0.3)]
    text = words_of(drawn(heard(doubtful)))
    assert "check the one: on count 1 (55% sure) or on count 3 (30% sure)" in text
    assert "2 beats later" in text and "in doubt" in text
    assert doubtful_ones(heard(sure)) == []
    assert "check the one" not in words_of(drawn(heard(sure)))


def test_weak_phrases_get_a_question_mark() -> None:
    """A section edge of strength 0.2 is drawn with a question mark, one of 1.0 is not."""
    plain = song((32, 32, 32))
    weak = dataclasses.replace(
        plain,
        sections=tuple(dataclasses.replace(s, strength=0.2) for s in plain.sections),
        phrases=tuple(dataclasses.replace(p, strength=0.2) for p in plain.phrases),
    )

    # One a phrase, and one that explains them below.
    assert words_of(drawn(heard(weak))).count("?") == 4
    assert "?" not in words_of(drawn(heard(plain)))


# ------------------------------------------------------------ how it is drawn


@given(
    st.lists(
        st.builds(
            Note,
            count=st.integers(0, 32),
            words=st.text("ab c:%12", min_size=1, max_size=150).filter(str.strip),
            mark=st.sampled_from(["", "tag", "restart", "end"]),
        ),
        max_size=12,
    )
)
def test_notes_never_lie_on_each_other_and_lose_no_word(notes: list[Note]) -> None:
    """Whatever stands under a line: all of it, inside the line, each in its own place."""
    width = 489.0
    shown = placed(notes, 0, 32, width, width / 32)

    kept = [n for n in notes if (n.count > 0 if n.closes else n.count < 32)]
    said = "".join("".join(note.words.split()) for note in shown)
    assert sorted(said) == sorted("".join("".join(note.words.split()) for note in kept))

    def span(note: PlacedNote) -> tuple[float, float]:
        shape = SHAPE_PT if note.mark else 0.0
        return note.x - shape, note.x + text_width_pt(note.words, NOTE_WORDS_PT, note.bold)

    for note in shown:
        assert span(note)[0] >= 0 and span(note)[1] <= width + 1e-6
    for a, b in itertools.combinations(shown, 2):
        assert a.row != b.row or span(a)[1] <= span(b)[0] or span(b)[1] <= span(a)[0]


def test_it_is_black_on_white_without_a_color(restarted: FitPlan) -> None:
    """Every pixel is a shade of gray: it can be copied, and no one has to tell colors apart."""
    ink = ink_of(drawn(view_of(restarted)))

    assert np.ptp(ink, axis=2).max() == 0


def test_loudness_is_drawn_as_high_as_it_is(tagged: FitPlan) -> None:
    """Below the loudest count, 6 dB are half of the height that is drawn, 12 dB all of it."""
    plain = view_of(tagged)
    x = int((MARGIN_PT + GUTTER_PT + 9.5 * (595.28 - 2 * MARGIN_PT - GUTTER_PT) / 32) / 72 * 150)

    def height_at(level_db: float) -> int:
        """Count the gray pixels above the tenth count of all lines."""
        loudness_db = np.full(plain.n_counts, level_db)
        loudness_db[0] = -10.0
        view = dataclasses.replace(plain, loudness_db=loudness_db)
        return int(np.isclose(ink_of(drawn(view))[:, x, 0], 0.85, atol=0.005).sum())

    words = height_at(-60.0)  # their smoothed edges are gray too
    whole = height_at(-10.0) - words
    assert whole > 12 * 11  # lines, and more than 11 pixels in each
    # The top edge of each line is smoothed: up to a pixel is lost, and half a one of the whole.
    assert height_at(-16.0) - words == pytest.approx(whole / 2, abs=12 * 1.5)
    assert height_at(-22.0) == words


@pytest.mark.parametrize(
    "title",
    [
        'The "Long" Way <Home> & Back',
        "شارع الفوانيس",
        "רחוב העששיות",
        "Lantern 🎶 Row",
        "北風と太陽" * 20,
        "Wintergreen Boardwalk Promenade " * 8,
    ],
)
def test_titles_of_any_kind_stay_whole(title: str) -> None:
    """All letters of a title are on the page, in as many lines as it takes; the SVG parses."""
    document = drawn(heard(dataclasses.replace(song((32, 32)), title=title)))

    shown = svg_words(document).replace(" ", "")

    assert printable(title).replace(" ", "") in shown
    ink = ink_of(document).min(axis=2) < 0.5
    assert not ink[:, -40:].any()
    assert document.pdf().startswith(b"%PDF")


def test_an_artist_written_from_right_to_left_turns_no_words_around() -> None:
    """The name begins the line of the tempo, whose number stays before its words."""
    named = dataclasses.replace(song((32, 32)), title="Row", artist="רוח")

    assert f"{isolated('רוח')} | 120 counts a minute" in svg_words(drawn(heard(named)))


def test_pages_are_the_same_on_every_run(waltz: FitPlan) -> None:
    """PDF, SVG and PNG hold no date and no chance."""
    first, again = drawn(view_of(waltz)), drawn(view_of(waltz))

    assert first.pdf() == again.pdf()
    assert first.svg() == again.svg()
    assert first.png() == again.png()


def test_the_png_has_the_size_of_the_paper(waltz: FitPlan) -> None:
    """A4 at 150 dots an inch: 210 x 297 mm (ISO 216)."""
    height, width, _ = ink_of(drawn(view_of(waltz))).shape

    assert width == pytest.approx(210 / 25.4 * PNG_DPI, abs=1)
    assert height == pytest.approx(297 / 25.4 * PNG_DPI, abs=1)
