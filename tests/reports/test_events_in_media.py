"""Every medium names the same events of a plan, in the same order, at the same moment.

What is expected is written down here by hand, from the song and the routine alone; each
medium is read back from the file that users get.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import pypdf
import pytest
import webvtt as reader
from test_agreement import markers_of

from fit_songs import make_part, make_routine
from phrasefit import serial
from phrasefit.clock import clock_time
from phrasefit.evening.evening import Dance, Evening, EveningRequest, Pairing
from phrasefit.fit import fit_routine
from phrasefit.fit.changes import changes_of
from phrasefit.fit.costs import Costs
from phrasefit.fit.layout import PlanValue, lay_out
from phrasefit.model import FitPlan, Part, Routine, TagOption
from phrasefit.reports.captions import captions, webvtt
from phrasefit.reports.dj_card import dj_card
from phrasefit.reports.fit_text import render
from phrasefit.reports.floor_list import floor_list
from phrasefit.reports.jams import jams_document
from phrasefit.reports.midi import midi_file
from phrasefit.reports.page import page
from phrasefit.reports.paper import Document, text_width_pt
from phrasefit.reports.practice import PracticeRequest, chapters_of, practice
from phrasefit.reports.sheet import sheet
from phrasefit.reports.walls_csv import walls_csv
from songs import song


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """An event as a person would write it down."""

    name: str  # WALL, TAG, RESTART, END
    count: int  # counts of the song that pass before
    wall: int
    after: int  # counts of the wall danced by then
    clock: str
    length: int = 0
    cut: bool = False  # the wall is not danced to its end

    @property
    def time_s(self) -> float:
        """Counts are half a second each, the first at 1.0 s."""
        return 1.0 + 0.5 * self.count

    @property
    def called(self) -> str:
        """The call, without what changes."""
        cut = f"wall {self.wall} after count {self.after}"
        words = {
            "WALL": f"WALL {self.wall}",
            "TAG": f"TAG {self.length} {f'in {cut}' if self.cut else f'after wall {self.wall}'}",
            "RESTART": f"RESTART {cut}",
            "END": "END",
        }
        return f"{words[self.name]}, facing {self.clock}"


def moments(*rows: tuple) -> tuple[Moment, ...]:
    """Write moments as (name, count, wall, after, clock, length, cut)."""
    keys = ("name", "count", "wall", "after", "clock", "length", "cut")
    return tuple(Moment(**dict(zip(keys, row, strict=False))) for row in rows)


# 32 counts that turn a quarter to the right; after 16 counts half a turn has been made.
# Danced: a tag after wall 1; walls 3 and 4 cut; wall 5 cut for a turning tag, then restart.
ONE_PART = moments(
    ("WALL", 32, 1, 0, "12:00", 32),
    ("TAG", 64, 1, 32, "3:00", 4),
    ("WALL", 68, 2, 0, "3:00", 32),
    ("WALL", 100, 3, 0, "6:00", 16),
    ("RESTART", 116, 3, 16, "12:00"),
    ("WALL", 116, 4, 0, "12:00", 8),
    ("RESTART", 124, 4, 8, "12:00"),
    ("WALL", 124, 5, 0, "12:00", 16),
    ("TAG", 140, 5, 16, "6:00", 8, True),
    ("RESTART", 148, 5, 16, "3:00"),
    ("WALL", 148, 6, 0, "3:00", 32),
    ("TAG", 180, 6, 32, "6:00", 8),
    ("WALL", 188, 7, 0, "3:00", 32),
    ("WALL", 220, 8, 0, "6:00", 32),
    ("END", 255, 8, 32, "9:00"),
)
# Parts A (32, half a turn) and B (16, a quarter to the left), danced A B A B; the second
# A is cut for a tag, then a restart.
TWO_PARTS = moments(
    ("WALL", 16, 1, 0, "12:00", 32),
    ("WALL", 48, 2, 0, "6:00", 16),
    ("WALL", 64, 3, 0, "3:00", 16),
    ("TAG", 80, 3, 16, "12:00", 4, True),
    ("RESTART", 84, 3, 16, "12:00"),
    ("WALL", 84, 4, 0, "12:00", 16),
    ("WALL", 100, 5, 0, "9:00", 32),
    ("END", 132, 5, 32, "3:00"),
)
STEP_CHANGES = {116: "touch on count 16", 148: "touch on count 16", 84: ""}


def part_with(name: str, counts: int, turn: int, cuts: dict[int, tuple[int, str]]) -> Part:
    """Build a part with restart points {after count: (turned so far, changed step)}."""
    part = make_part(name, counts, turn, {count: turned for count, (turned, _) in cuts.items()})
    points = (replace(p, step_change=cuts[p.after_count][1]) for p in part.restart_points)
    return replace(part, restart_points=tuple(points))


def danced(
    lengths: tuple[int, ...], routine: Routine, trail: Iterable[tuple[int, int, tuple | None]]
) -> FitPlan:
    """Lay walls out by hand: (count, part, None or (cut after, counts of the tag))."""
    fit = fit_routine(song(lengths), routine)
    changes = changes_of(routine, Costs())
    kinds = [
        (c.part, c.cut and c.cut.after_count, c.tag and (c.tag.counts, c.tag.name)) for c in changes
    ]
    steps = [(n, p, -1 if how is None else kinds.index((p, *how))) for n, p, how in trail]
    worth = PlanValue(phrase_met=90.0, charges=20.0)
    made = lay_out(steps, changes, fit.grid, routine, worth)
    return replace(fit, plans=(fit.plans[0], made), best=1, chosen=1)


def one_part() -> FitPlan:
    """Dance `ONE_PART`."""
    cuts = {8: (0, ""), 16: (180, "touch on count 16")}
    tags = (
        TagOption(counts=4),
        TagOption(counts=8, turn_deg=-90, name="sways"),
        TagOption(counts=8, turn_deg=-90),
    )
    routine = make_routine(part_with("A", 32, 90, cuts), tags=tags)
    trail = (
        (32, 0, (None, (4, ""))), (68, 0, None), (100, 0, (16, None)), (116, 0, (8, None)),
        (124, 0, (16, (8, "sways"))), (148, 0, (None, (8, ""))), (188, 0, None), (220, 0, None),
        (252, 0, None),
    )  # fmt: skip
    return danced((32, 36, 32, 16, 8, 24, 40, 32, 32, 3), routine, trail)


def two_parts() -> FitPlan:
    """Dance `TWO_PARTS`."""
    parts = part_with("A", 32, 180, {16: (270, "")}), make_part("B", 16, -90, {})
    routine = make_routine(*parts, sequence=("A", "B"), tags=(TagOption(counts=4),))
    trail = (
        (16, 0, None), (48, 1, None), (64, 0, (16, (4, ""))), (84, 1, None), (100, 0, None),
    )  # fmt: skip
    return danced((16, 32, 32, 20, 32), routine, trail)


CASES = [pytest.param(one_part(), ONE_PART, id="one part"),
         pytest.param(two_parts(), TWO_PARTS, id="two parts")]  # fmt: skip
every_case = pytest.mark.parametrize(("fit", "expected"), CASES)


def changes_in(expected: tuple[Moment, ...]) -> list[Moment]:
    """Keep tags and restarts."""
    return [moment for moment in expected if moment.name in ("TAG", "RESTART")]


Piece = tuple[float, str, float]  # left edge [points], words, size of type


def pieces_of(document: Document) -> list[list[Piece]]:
    """Read a PDF line by line, in the order of its pages, each from left to right."""
    lines = []
    for read in pypdf.PdfReader(io.BytesIO(document.pdf())).pages:
        by_height: dict[float, list[Piece]] = {}

        def collect(text, cm, tm, _font, size, by_height=by_height) -> None:
            if text.strip():
                at = (cm[4] + tm[4], text.strip(), size)
                by_height.setdefault(round(cm[5] + tm[5], 1), []).append(at)

        read.extract_text(visitor_text=collect)
        lines += [sorted(by_height[height]) for height in sorted(by_height, reverse=True)]
    return lines


def lines_of(document: Document) -> list[str]:
    """Read a PDF line by line."""
    return [" ".join(words for _, words, _ in line) for line in pieces_of(document)]


@every_case
def test_the_plan(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """The JSON document, by one list of events and by the lists of each kind."""
    document = json.loads(
        serial.dump_json(
            serial.fit_document(fit, verdict="", doubts=(), reasons=lambda fit, plan: ())
        )
    )

    found = document["events"]
    keys = ("time_s", "count", "wall", "after_count", "facing")
    assert [tuple(event[key] for key in keys) for event in found] == [
        (m.time_s, m.count, m.wall, m.after, m.clock) for m in expected
    ]
    assert [event["kind"].upper() for event in found] == [m.name for m in expected]
    changed = {m.count: m for m in expected if m.name == "RESTART"}
    for restart in document["restarts"]:
        moment = changed.pop(round(2 * (restart["time_s"] - 1.0)))
        assert (restart["wall"], restart["facing"]) == (moment.wall, moment.clock)
        assert restart["step_change"] == STEP_CHANGES.get(moment.count, "")
    assert not changed
    assert serial.decode(type(fit.plan), json.loads(json.dumps(serial.encode(fit.plan)))) == (
        fit.plan
    )


@every_case
def test_terminal(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """The table of the report has a line for each event."""
    wall = r"^ +(?P<wall>\d+) +(?P<time>\d+:\d\d\.\d) +(?P<counts>\d+) +(?P<clock>\d+:\d\d) "
    change = (
        r"^ +(?P<at>\d+:\d\d\.\d)  (?P<name>TAG|RESTART)(?: (?P<length>\d+) counts(?: \(.*\))?)?"
        r" (?:after |in )?wall (?P<of>\d+)(?: after count (?P<after>\d+))?, facing (?P<to>[\d:]+)"
    )
    found = []
    for line in render(fit).splitlines():
        if match := re.match(wall, line):
            found.append(("WALL", match["wall"], match["time"], match["counts"], match["clock"]))
        elif match := re.match(change, line):
            found.append((match["name"], match["of"], match["at"], match["after"], match["to"]))

    def row(m: Moment) -> tuple:
        after = str(m.after) if m.cut or m.name == "RESTART" else None
        third = str(m.length) if m.name == "WALL" else after
        return (m.name, str(m.wall), clock_time(m.time_s), third, m.clock)

    assert found == [row(m) for m in expected[:-1]]


@every_case
def test_dj_card(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """Each change has its time and its wall, in order; a DJ needs no facings."""
    text = " ".join(lines_of(dj_card(fit, per_page=1)))
    text = text[text.index("changes") : text.index("ends")]

    found = re.findall(r"(\d+:\d\d\.\d) (.*?): (TAG \d+|RESTART)", text)

    assert found == [
        (
            clock_time(m.time_s),
            f"wall {m.wall}, after {m.after}"
            if m.cut or m.name == "RESTART"
            else f"after wall {m.wall}",
            f"{m.name} {m.length or ''}".strip(),
        )
        for m in changes_in(expected)
    ]


@pytest.mark.parametrize("size", ["page", "stand"])
@every_case
def test_sheets(fit: FitPlan, expected: tuple[Moment, ...], size: str) -> None:
    """Each row has the wall or the event, the time and the facing then."""
    decimals = 1 if size == "page" else 0
    time = r"\d+:\d\d\.\d" if decimals else r"\d+:\d\d"
    row = re.compile(rf"^(?:(\d+) )?({time}) (\d+:\d\d)\b(.*)$")
    rows: list[list[str | None]] = []
    for line in lines_of(sheet(fit, size=size)):
        if match := row.match(line):
            rows.append(list(match.groups()))
        elif rows:
            rows[-1][3] = f"{rows[-1][3]} {line}"

    assert [(time, clock) for _, time, clock, _ in rows] == [
        (clock_time(m.time_s, decimals=decimals), m.clock) for m in expected
    ]
    for (wall, _, _, rest), m in zip(rows, expected, strict=True):
        assert wall == (str(m.wall) if m.name == "WALL" else None)
        if m.name == "RESTART":
            assert f"RESTART after {m.after}" in rest
            assert STEP_CHANGES.get(m.count, "") in rest
        elif m.name != "WALL":
            assert f"{m.name} {m.length}".removesuffix(" 0") in rest
            assert not m.cut or f"after {m.after}" in rest
        elif len(fit.routine.parts) > 1:
            assert re.search(r"\bpart [AB]\b", rest)


@every_case
def test_floor_sheet(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """The facing at the moment of each change, the wall it belongs to, and its count."""
    text = "\n".join(lines_of(sheet(fit, size="floor")))

    changes = re.findall(
        r"^(after wall \d+|wall \d+, after \d+):\n(\d+:\d\d) (TAG, \d+|RESTART)", text, re.M
    )
    assert changes == [
        (
            f"wall {m.wall}, after {m.after}"
            if m.cut or m.name == "RESTART"
            else f"after wall {m.wall}",
            m.clock,
            f"TAG, {m.length}" if m.name == "TAG" else m.name,
        )
        for m in changes_in(expected)
    ]
    assert f"END\n{expected[-1].clock} " in text
    for change in STEP_CHANGES.values():
        assert change in text or len(fit.routine.parts) > 1


@every_case
def test_floor_list(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """Each change is called, with its time."""
    pairing = Pairing(key="song", fit=fit)
    dance = Dance(place=1, pairing=pairing, start_s=0.0, taught=False, reasons=())
    evening = Evening(
        dances=(dance,),
        length_s=pairing.length_s,
        value=1.0,
        bound=1.0,
        n_pairings=1,
        repeatable=True,
        request=EveningRequest(minutes=5),
    )
    text = " ".join(lines_of(floor_list(evening)))

    found = re.findall(
        r"((?:TAG|RESTART) .*?, facing [\d:]+)(?:, [a-z ]+ \d+)? +\(([\d:.]+)\)", text
    )

    assert found == [(m.called, clock_time(m.time_s)) for m in changes_in(expected)]


@every_case
def test_spreadsheet(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """One row an event."""
    rows = csv.DictReader(io.StringIO(walls_csv(fit).removeprefix("\ufeff")))

    found = [(r["seconds"], r["wall"], r["facing"], r["counts"], r["event"]) for r in rows]

    def event(m: Moment) -> str:
        after = f" after {m.after}" if m.cut or m.name == "RESTART" else ""
        return "" if m.name == "WALL" else f"{m.name}{after}"

    assert found == [
        (f"{m.time_s:.3f}", str(m.wall), m.clock, str(m.length or ""), event(m)) for m in expected
    ]


@every_case
def test_markers(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """MIDI and JAMS have every event, those at one moment in their order."""
    midi = [(t, w) for t, w in markers_of(midi_file(fit.bar_map, fit)) if "Section" not in w]
    document = json.loads(serial.dump_json(jams_document(fit.bar_map, fit)))
    (tags,) = [a for a in document["annotations"] if a["namespace"] == "tag_open"]
    jams = [(row["time"], row["value"]) for row in tags["data"]]

    for found in (midi, jams):
        assert [time for time, _ in found] == pytest.approx([m.time_s for m in expected], abs=1e-3)
        for (_, words), m in zip(found, expected, strict=True):
            assert words.startswith(m.called)
            assert STEP_CHANGES.get(m.count, "") in words or m.name != "RESTART"


@every_case
def test_captions(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """Each moment is called two counts ahead; the restart stands for the wall it leads to."""
    read = reader.from_string(webvtt(captions(fit))).captions
    shown = [(c.start_in_seconds, " ".join(c.text.split())) for c in read]
    called = [(s, text) for s, text in shown if re.match("WALL|TAG|RESTART", text)]
    moments = [next(same) for _, same in itertools.groupby(expected[:-1], lambda m: m.count)]

    assert [int(s) for s, _ in called] == [int(m.time_s - 1.0) for m in moments]
    for (_, text), m in zip(called, moments, strict=True):
        assert text.startswith(m.called)
    announced = [text.removeprefix("next: ") for _, text in shown if text.startswith("next: ")]
    for text in announced:
        assert any(text.startswith(m.called) for m in changes_in(expected))


@every_case
def test_page_document(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """The page carries label, place, facing and changed step apart."""
    text = page(fit)
    (block,) = re.findall(r'<script type="application/json" id="plan">(.*?)</script>', text, re.S)
    document = json.loads(block)
    events = document["score"]["events"]

    assert [(e["kind"].upper(), e["at"], e["wall"]) for e in events] == [
        (m.name, m.count, m.wall) for m in expected
    ]
    assert [document["score"]["times"][e["at"]] for e in events] == [m.time_s for m in expected]
    for event, m in zip(events, expected, strict=True):
        what = " ".join(filter(None, (event["label"], event["place"])))
        assert f"{what}, facing {m.clock}" == m.called
        assert event["facing"] == int(m.clock.split(":")[0]) * 30 % 360
        if m.name == "RESTART":
            assert event["remark"] == STEP_CHANGES.get(m.count, "")


@every_case
def test_practice_audio(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """Each moment has its click; walls and tags are chapters."""
    made = practice(fit, wishes=PracticeRequest(intro=True, saying="nothing"))
    clicks = [(c.time_s, c.kind.upper()) for c in made.clicks if c.kind not in ("count", "eight")]
    moments = [next(same) for _, same in itertools.groupby(expected[:-1], lambda m: m.count)]

    assert clicks == [(m.time_s, m.name) for m in moments]
    chapters = [m for m in expected if m.name in ("WALL", "TAG")]
    _, *named = chapters_of(made)
    assert [time for time, _ in named] == [m.time_s for m in chapters]
    for (_, words), m in zip(named, chapters, strict=True):
        told = m.called.replace(" facing ", " ").replace(f"TAG {m.length}", "tag").lower()
        assert words == told


@every_case
def test_picture(fit: FitPlan, expected: tuple[Moment, ...]) -> None:
    """The names under the walls are in order, and none lies on another."""
    rows = [
        [(left, words) for left, words, size in line if size == 8 and words[:1] in "TR"]
        for line in pieces_of(sheet(fit))
    ]

    assert [name for row in rows for _, name in row] == [
        f"{m.name} {m.length or m.after}" for m in changes_in(expected)
    ]
    for row in rows:
        for (left, name), (right, _) in itertools.pairwise(row):
            assert left + text_width_pt(name, 8.0, True) < right
