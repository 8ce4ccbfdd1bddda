"""Names in every script: the shapes on paper are those of an independent shaper.

The referee is HarfBuzz through uharfbuzz: its glyphs, in its order, have to be in the
PDF. Fonts of other scripts come from the system; without one a test is skipped.
"""

from __future__ import annotations

import functools
import io
import random
import shutil
import subprocess
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pypdfium2
import pytest
import uharfbuzz
from fontTools.ttLib import TTFont
from matplotlib import font_manager
from matplotlib.ft2font import FT2Font
from matplotlib.image import imread

from phrasefit.cli._pages import save
from phrasefit.fit import PlanRequest
from phrasefit.model import FitPlan, Plan
from phrasefit.reports import fonts, pack, paper, pdf_text
from phrasefit.reports.dj_card import dj_card
from phrasefit.reports.fonts import families, isolated, letters_note, printable
from phrasefit.reports.pack import write_pack
from phrasefit.reports.paper import Document, fitted, text_width_pt, wrapped
from phrasefit.reports.rows import set_words
from phrasefit.reports.sheet import sheet
from phrasefit.reports.song_picture import add_count_pages
from phrasefit.reports.song_view import SongView
from phrasefit.reports.step_sheet import step_sheet

SIZE_PT = 40.0
NAMES = {
    "Arabic": "الريح",
    "Arabic ligature": "سلام",
    "Hebrew": "רוח",
    "Devanagari": "क्षत्रिय",
    "Devanagari reordered": "कि",
    "Thai": "น้ำที่",
    "Chinese": "北風",
    "Latin": "office",
    "Cyrillic": "Ветер",
}
LINES = [
    *NAMES.values(), "الريح الشمالية", "רוח הצפון", "उत्तरी हवा और सूरज", "ศรีราชา", "لا إله 5 counts",
    "song الريح 123 counts", "song 7 שלום (abc)", "Größe ñandú", "می‌خواهم", "مُحَمَّد",
]  # fmt: skip


def drawn(text: str, size: float = SIZE_PT) -> Document:
    """Set one line on a page."""
    document = Document(title=text)
    document.new_page().text(40, 100, text, size)
    return document


def font_of(text: str) -> Path:
    """Find the one font that draws `text`; skip the test where none is installed."""
    if printable(text) != text:
        pytest.skip(f"no font for {text}")
    return Path(font_manager.findfont(families(text)[-1]))


def shaped_by_harfbuzz(text: str, path: Path) -> tuple[list[int], float]:
    """Shape with HarfBuzz: glyph numbers from left to right, width [points]."""
    face = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path)))
    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    uharfbuzz.shape(uharfbuzz.Font(face), buffer)
    advance = sum(place.x_advance for place in buffer.glyph_positions)
    return [info.codepoint for info in buffer.glyph_infos], advance / face.upem * SIZE_PT


def outline(font: TTFont, name: str) -> tuple[int, ...]:
    """Describe a glyph's outline by its corner points: the same shape in a subset."""
    glyph = font["glyf"][name]
    points, _, _ = glyph.getCoordinates(font["glyf"])
    return tuple(int(v) for point in points for v in point)


def outlines_in_pdf(document: Document) -> list[tuple[int, ...]]:
    """Read the outlines that the PDF shows, from left to right on the page."""
    page = pypdf.PdfReader(io.BytesIO(document.pdf())).pages[0]
    font_files, maps, shown = {}, {}, []
    for name, entry in page["/Resources"]["/Font"].items():
        owner = entry.get_object()["/DescendantFonts"][0].get_object()
        data = owner["/FontDescriptor"].get_object()["/FontFile2"].get_data()
        font_files[name], maps[name] = TTFont(io.BytesIO(data)), owner["/CIDToGIDMap"].get_data()
    font, x = "", 0.0
    for operands, operator in page.get_contents().operations:
        if operator == b"Tf":
            font = str(operands[0])
        elif operator == b"Tm":
            x = float(operands[4])
        elif operator in (b"Tj", b"TJ"):
            pieces = operands[0] if operator == b"TJ" else operands
            codes = b"".join(_bytes(p) for p in pieces if not isinstance(p, (int, float)))
            for i in range(0, len(codes), 2):
                code = int.from_bytes(codes[i : i + 2], "big")
                glyph = int.from_bytes(maps[font][2 * code : 2 * code + 2], "big")
                names = font_files[font].getGlyphOrder()
                shown.append((x, len(shown), outline(font_files[font], names[glyph])))
    return [points for *_, points in sorted(shown)]


def _bytes(piece: object) -> bytes:
    return getattr(piece, "original_bytes", piece)  # pypdf decodes what it can


@pytest.mark.parametrize("text", NAMES.values(), ids=NAMES)
def test_pdf_shows_the_glyphs_of_harfbuzz(text: str) -> None:
    """The same outlines as HarfBuzz's glyphs: joined, reordered, from right to left."""
    path = font_of(text)
    if fonts._is_cff(str(path)) or path.suffix == ".ttc":
        pytest.skip("the referee reads TrueType outlines of single fonts")
    wanted, _ = shaped_by_harfbuzz(text, path)
    font = TTFont(path)

    shown = outlines_in_pdf(drawn(text))

    assert sorted(shown) == sorted(outline(font, font.getGlyphName(g)) for g in wanted)
    if not any(unicodedata.category(c) == "Mn" for c in text):  # marks share their letter's place
        assert shown == [outline(font, font.getGlyphName(g)) for g in wanted]


@pytest.mark.parametrize("text", NAMES.values(), ids=NAMES)
def test_width_is_that_of_harfbuzz(text: str) -> None:
    """A name takes the room that HarfBuzz's advances give it."""
    path = font_of(text)

    _, width = shaped_by_harfbuzz(text, path)

    assert text_width_pt(text, SIZE_PT) == pytest.approx(width, abs=0.08 * SIZE_PT)


@pytest.mark.parametrize("text", LINES)
def test_png_and_pdf_show_the_same(text: str) -> None:
    """The PNG's ink lies where PDFium draws the PDF's, to a pixel or so."""
    if printable(text) != text:
        pytest.skip(f"no font for {text}")
    document = drawn(text, 24)
    picture = imread(io.BytesIO(document.png()))[:, :, 0]
    page = pypdfium2.PdfDocument(document.pdf())[0].render(scale=150 / 72).to_numpy()[:, :, 0]

    columns = [np.flatnonzero((ink < 0.5).any(axis=0)) for ink in (picture, page / 255)]
    mass = [float((ink < 0.5).sum()) for ink in (picture, page / 255)]

    assert np.abs(columns[0][[0, -1]] - columns[1][[0, -1]]).max() <= 2
    assert mass[0] == pytest.approx(mass[1], rel=0.15)


@pytest.mark.parametrize("text", LINES)
def test_text_is_read_back_as_it_was_written(text: str) -> None:
    """pypdf gives the letters in the order in which they are read, each once."""
    if printable(text) != text:
        pytest.skip(f"no font for {text}")
    read = pypdf.PdfReader(io.BytesIO(drawn(text).pdf())).pages[0].extract_text()

    assert "".join(read.split()).replace(pdf_text.NO_LETTER, "") == "".join(text.split())


@pytest.mark.parametrize(
    "text",
    [
        "उत्तरी हवा और सूरज abc", "ศรีราชา", "น้ำที่", "a क्षत्रिय 5", "Größe", "רוח הצפון",
        "الريح الشمالية", f"{isolated('רוח')}, continued",
        f"after wall 4: TAG {isolated('الريح')}, 4 counts",
    ],
)  # fmt: skip
def test_other_readers_find_the_same_words(text: str) -> None:
    """PDFium, which Chrome's reader is made of, and Poppler, of Linux desktops, copy them so."""
    if printable(text) != text:
        pytest.skip(f"no font for {text}")
    data = drawn(text, 24).pdf()
    read = [pypdfium2.PdfDocument(data)[0].get_textpage().get_text_range()]
    if poppler := shutil.which("pdftotext"):
        made = subprocess.run([poppler, "-", "-"], input=data, capture_output=True, check=True)
        read.append(made.stdout.decode())

    # Marks of direction may be added where text is copied.
    added = dict.fromkeys(map(ord, "\u2066\u2067\u2068\u2069\u200e\u200f\u202a\u202b\u202c\f"))
    assert {words.translate(added).strip() for words in read} == {text.translate(added)}


def test_name_alone_does_not_turn_its_sentence() -> None:
    """Isolated (Unicode Standard Annex 9), a right-to-left name leaves the number after it."""
    plain = outlines_in_pdf(drawn("a الريح 1 b"))
    apart = outlines_in_pdf(drawn(f"a {isolated('الريح')} 1 b"))
    one = outlines_in_pdf(drawn("1"))[0]

    assert plain.index(one) == 2  # a, space, 1: the number went over to the name
    assert apart.index(one) == len(apart) - 3  # 1, space, b


def test_emoji_are_named_and_flags_spelled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Signs that no font has stand in words (names of the Unicode Character Database)."""
    without_fonts(monkeypatch)

    assert printable("Go \U0001f483\U0001f3fd now") == "Go [dancer] now"
    assert printable("\U0001f1eb\U0001f1f7 x") == "[flag FR] x"
    assert printable("\U0001f469\u200d\U0001f4bb") == "[woman][personal computer]"
    assert letters_note(["Go \U0001f483\U0001f3fd", "\U0001f1eb\U0001f1f7 x"]) == ""


def test_script_without_a_font_is_spelled_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """No box, no empty place: Latin letters, and one note that names what to install."""
    without_fonts(monkeypatch)

    words = printable("ที่นี่ 北風 Row")

    assert words.isascii()
    assert words.endswith(" Row")
    assert len(words.split()) == 3
    note = letters_note(["ที่นี่ 北風 Row"])
    assert "Noto Sans Thai" in note
    assert "Noto Sans CJK" in note
    assert letters_note(["Row", "Größe"]) == ""


THAI = "ที่นี่ ฝนดาวตก"


def named(fit: FitPlan, name: str, *, title: str = "Row") -> FitPlan:
    """Give routine and song other names."""
    routine = replace(fit.routine, name=name, by="")
    return replace(
        fit,
        request=PlanRequest(routine=routine),
        bar_map=replace(fit.bar_map, title=title, artist=""),
    )


def picture_of(fit: FitPlan) -> Document:
    """Draw a song in lines of counts, with its plan."""
    document = Document()
    add_count_pages(document, SongView(bar_map=fit.bar_map, grid=fit.grid, fit=fit, plan=fit.plan))
    return document


MAKERS = {
    "picture": picture_of,
    "page": sheet,
    "stand": functools.partial(sheet, size="stand"),
    "floor": functools.partial(sheet, size="floor"),
    "steps": lambda fit: step_sheet(fit.routine),
    "dj": dj_card,
}


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)
def test_note_belongs_to_its_document(
    make: Callable[[FitPlan], Document], tagged: FitPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What one document lacks is said of no other, and again of the next with the same words."""
    without_fonts(monkeypatch)

    first, second, third = (make(named(tagged, name)) for name in (THAI, "Lantern", THAI))

    assert "install Noto Sans Thai" in first.letters_note()
    assert second.letters_note() == ""
    assert third.letters_note() == first.letters_note() != ""


def test_note_is_of_what_is_drawn(tagged: FitPlan, monkeypatch: pytest.MonkeyPatch) -> None:
    """A song's name in letters without a font is not on the step sheet."""
    without_fonts(monkeypatch)
    fit = named(tagged, "Lantern", title=THAI)

    assert step_sheet(fit.routine).letters_note() == ""
    assert "Thai" in sheet(fit, size="floor").letters_note()


def test_pack_tells_of_letters_once(
    tagged: FitPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All its sheets lack the same letters: one note of the whole; of another pack, none."""
    without_fonts(monkeypatch)

    def papers(fit: FitPlan, plan: Plan | None, *, paper: str, **_: object) -> Iterator[pack.Item]:
        return pack._papers(fit, plan or fit.plan, paper)

    monkeypatch.setattr(pack, "items", papers)
    notes: list[str] = []

    write_pack(tmp_path / "thai", named(tagged, THAI), tell=notes.append)
    write_pack(tmp_path / "plain", named(tagged, "Lantern"), tell=notes.append)

    assert len(notes) == 1
    assert "install Noto Sans Thai" in notes[0]


@pytest.fixture(autouse=True)
def forgotten_fonts() -> Iterator[None]:
    """Let no test see what another one found, with other fonts."""
    yield
    for cached in (fonts._spelled, fonts._faces_for, set_words, paper._width_of_large_pt):
        cached.cache_clear()


def without_fonts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave only the font that comes with matplotlib; the caches stay in use."""
    monkeypatch.setattr(fonts, "_faces", tuple)
    for cached in (fonts._spelled, fonts._faces_for, set_words):
        cached.cache_clear()


def test_damaged_font_stops_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A font file that is no font is passed over."""
    broken = tmp_path / "broken.ttf"
    broken.write_bytes(b"\0\1\0\0 no font")

    assert fonts._opened(str(broken), 0) is None
    assert isinstance(fonts._opened(font_manager.findfont("DejaVu Sans"), 0), FT2Font)


def test_nothing_is_lost_however_narrow_the_column() -> None:
    """Two hundred random names of many scripts, wrapped and fitted: every letter is there."""
    draw = random.Random(20)
    alphabet = fonts.clusters("abcWM éß Ωж שלום الريح कि क्षत्रिय 北風 น้ำ 123 ()-")
    for _ in range(200):
        text = " ".join("".join(draw.choices(alphabet, k=draw.randint(1, 60))).split())
        width = draw.uniform(20, 300)
        size, lines = fitted(text, width, 14, smallest=8)

        assert 8 <= size <= 14
        assert "".join("".join(lines).split()) == "".join(printable(text).split())
        assert all(
            text_width_pt(line, size) <= width + 1e-6 or len(fonts.clusters(line)) == 1
            for line in lines
        )
        assert not any(line and unicodedata.category(line[0])[0] == "M" for line in lines[1:])


def test_fitted_shrinks_before_it_wraps() -> None:
    """A name a little too long stays on one line in smaller type; a longer one is broken."""
    size, lines = fitted("Wintergreen Boardwalk", 130, 14, smallest=10)
    assert len(lines) == 1
    assert 10 < size < 14

    size, lines = fitted("Wintergreen Boardwalk " * 4, 130, 14, smallest=10)
    assert size == 10
    assert wrapped("Wintergreen Boardwalk " * 4, 130, 10) == lines


def test_every_glyph_and_letter_is_kept_when_syllables_repeat() -> None:
    """Letters are shared out once each, for repeated and decomposed syllables too."""
    for syllables, text in (
        (["कि", "कि", "कि", "कि"], "किकि"),  # two glyphs each
        (["น้ำ"] * 4, "น้ำ"),  # more glyphs than letters
        (["a", "fi", "b"], "afib"),
        (["ح", "ي", "ر"], "ريح"),
    ):
        glyphs = pdf_text.in_reading_order(syllables, text)

        assert sorted(glyph.number for glyph in glyphs) == list(range(len(syllables)))
        assert "".join(g.letters for g in glyphs).replace(pdf_text.NO_LETTER, "") == text


def test_command_says_which_font_is_wanted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever saves a page with spelled-out names reads why, on standard error."""
    without_fonts(monkeypatch)
    document = drawn("ที่นี่")

    save(document, tmp_path / "a.pdf", force=False)

    assert "install Noto Sans Thai" in capsys.readouterr().err


def test_what_only_the_light_main_face_has_is_no_warning() -> None:
    """DejaVu Sans has the phases of the moon, its bold has not; tests turn warnings into errors."""
    document = Document(title="moon")
    document.new_page().text(40, 100, printable("Moon \N{NEW MOON SYMBOL}"), SIZE_PT, bold=True)

    assert document.pdf().startswith(b"%PDF")
