"""One song, one routine, one plan: whichever way it is asked for.

A song as corrected is the same song for the library, for the command line, for a ranking
of many and for a map that was written to a file and read again; and what is asked of the
planner reaches it from every command.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import phrasefit
from in_process import Program
from kept_songs import keep
from phrasefit.collection import Collection
from phrasefit.fit import PlanRequest, Settings
from phrasefit.fit.grid import level_of
from phrasefit.hand_out import Planned, origin_of
from phrasefit.model import BarMap, Correction, FitPlan, Routine, SectionName
from phrasefit.pipeline import Analysis, analyse, correct
from phrasefit.ranking.rank import rank_table
from phrasefit.routine.spec import load_routine
from phrasefit.serial import dump_json, map_document, read_map
from phrasefit.store import Store

ROOT = Path(__file__).parents[1]
TRUTHS = sorted((ROOT / "sample_audio").glob("*.json"))
FEW = ("--max-changes", 1)  # a plan with one change is quick to find, and tells as much
ROUTINES = ROOT / "phrasefit" / "routines"
KETTLE, WALTZ = ROUTINES / "borrowed-teaspoons.toml", ROUTINES / "mill-pond-waltz.toml"
SETTINGS = """
[costs]
tag = 0.2
restart = 0.4
[[tempo]]
meter = 4
low = 60
high = 70
source = "my hall"
[[tempo]]
meter = 3
low = 60
high = 70
source = "my hall"
"""

CORRECTIONS = {
    "untouched": Correction(),
    "every beat": Correction(level=1.0),
    "half": Correction(level=0.5),
    "double": Correction(level=2.0),
    "threes": Correction(meter=3),
    "fours": Correction(meter=4),
    "sixes": Correction(meter=6),
    "one": Correction(ones_at_s=(12.0,)),
    "shifted": Correction(shift_one_beats=1),
    "nudged": Correction(nudge_s=0.02),
    "sections": Correction(sections_at_s=(20.0,), no_section_at_s=(40.0,)),
    "double, in sixes, shifted": Correction(level=2.0, meter=6, shift_one_beats=1),
    "named": Correction(section_names=(SectionName(at_s=30.0, name="chorus"),)),
    "sung": Correction(singing_at_s=11.0),
    "sung, half, shifted, named": Correction(
        level=0.5,
        shift_one_beats=1,
        singing_at_s=24.0,
        section_names=(SectionName(at_s=1.0, name="intro"), SectionName(at_s=50.0, name="2")),
    ),
    "every beat, in threes": Correction(level=1.0, meter=3, sections_at_s=(30.0,)),
}


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


def kept_song(truth: Path, folder: Path, correction: Correction) -> tuple[Path, Analysis]:
    """Keep a sample song as if it had been heard, and correct it; give its file and analysis."""
    bar_map = read_map(json.loads(truth.read_text(encoding="utf-8")))
    song = folder / f"{bar_map.title}.wav"
    with Store() as store:
        keep(store, folder, bar_map)
        heard = analyse(song, store=store)
        return song, correct(
            heard, correction, store=store
        ) if correction != Correction() else heard


def routine_for(bar_map: BarMap) -> Path:
    """A routine that goes with the bars of the song."""
    return WALTZ if bar_map.meter % 2 else KETTLE


def facts(fit: FitPlan) -> dict[str, Any]:
    """What must be the same on every route."""
    return {
        "score": round(fit.plan.score, 2),
        "counts_per_minute": round(fit.tempo.counts_per_minute, 2),
        "start_s": round(fit.plan.start_s, 6),
        "walls": len(fit.plan.walls),
    }


def facts_of_document(document: dict[str, Any]) -> dict[str, Any]:
    """Read the same from ``fit --json``."""
    return {
        "score": round(document["score"], 2),
        "counts_per_minute": round(document["tempo"]["counts_per_minute"], 2),
        "start_s": round(document["start_s"], 6),
        "walls": len(document["walls"]),
    }


def facts_of_row(row: dict[str, Any]) -> dict[str, Any]:
    """Read the same from a row of ``rank`` or ``suits``."""
    return {"score": row["score"], "counts_per_minute": row["counts_per_minute"]}


def library_routes(analysis: Analysis, routine: Routine) -> dict[str, FitPlan]:
    """Ask in every way that the library has."""
    bar_map = analysis.bar_map
    request = PlanRequest(routine=routine, max_changes=1)
    (ranked,) = phrasefit.rank([bar_map], request).songs
    found = phrasefit.fit(bar_map, request)
    with Store() as store:
        library = Collection.of(store)
        (of_store,) = rank_table(library.table, request, library.planner(request)).songs
    copies = {
        "map --json": map_document(bar_map, beats_per_count=level_of(bar_map)),
        "pack": map_document(bar_map, beats_per_count=found.grid.beats_per_count),
    }
    return {
        "fit a map": found,
        "rank": ranked.fit,
        "rank a store": of_store.fit,
        **{
            name: phrasefit.fit(read_map(json.loads(dump_json(document))), request)
            for name, document in copies.items()
        },
    }


@pytest.mark.parametrize("correction", CORRECTIONS.values(), ids=CORRECTIONS.keys())
@pytest.mark.parametrize("truth", TRUTHS, ids=lambda path: path.stem)
def test_all_routes_agree(
    program: Program, tmp_path: Path, truth: Path, correction: Correction
) -> None:
    """Library, ranking, store, exported map and commands give one plan after any correction."""
    song, analysis = kept_song(truth, tmp_path, correction)
    routine = routine_for(analysis.bar_map)
    wanted = facts(phrasefit.fit(analysis, load_routine(routine), max_changes=1))
    exported = tmp_path / "map.json"

    for name, fit in library_routes(analysis, load_routine(routine)).items():
        assert facts(fit) == wanted, name
    program("map", song, "--json", exported)
    copy = read_map(json.loads(exported.read_text("utf-8")))
    assert copy.singing_at_s == analysis.bar_map.singing_at_s == correction.singing_at_s
    assert copy.sections == analysis.bar_map.sections
    said = {name.name for name in analysis.correction.section_names}  # one name a section holds
    assert {section.name for section in copy.sections} - {""} == said
    assert bool(said) == bool(correction.section_names)
    for words in ((song,), ("--map", exported)):
        document = json.loads(program("fit", *words, routine, *FEW, "--json", "-").out)
        assert facts_of_document(document) == wanted, words
        (row,) = json.loads(program("suits", *words, routine, *FEW, "--json", "-").out)["routines"]
        assert facts_of_row(row) == {key: wanted[key] for key in facts_of_row(row)}, words
    (ranking,) = json.loads(program("rank", song, routine, *FEW, "--json", "-").out)["rankings"]
    (row,) = ranking["songs"]
    assert facts_of_row(row) == {key: wanted[key] for key in facts_of_row(row)}


def test_a_person_s_level_is_another_plan(tmp_path: Path) -> None:
    """The song with half a bar is counted on every other beat until a person says otherwise."""
    truth = ROOT / "sample_audio" / "half-a-bar-of-dust.json"
    routine = load_routine(KETTLE)
    _, found = kept_song(truth, tmp_path, Correction())
    _, corrected = kept_song(truth, tmp_path, Correction(level=1.0))

    assert phrasefit.fit(found, routine).grid.beats_per_count == 2.0
    assert phrasefit.fit(corrected, routine).grid.beats_per_count == 1.0
    assert map_document(found.bar_map, beats_per_count=2.0)["level_by"] == "tempo"
    written = map_document(corrected.bar_map, beats_per_count=2.0)
    assert (written["beats_per_count"], written["level_by"]) == (1.0, "person")


@pytest.mark.parametrize(
    ("keys", "level"),
    [
        ({"beats_per_count": 2, "level_by": "person"}, 2.0),
        ({"beats_per_count": 2}, 2.0),
        ({"beats_per_count": 2, "level_by": "tempo"}, None),
        ({"level_by": "person"}, None),
        ({}, None),
    ],
)
def test_a_map_s_level_is_taken_as_it_says(keys: dict[str, Any], level: float | None) -> None:
    """A level in a map by hand is a person's; one that the tempo chose may be chosen again."""
    document = {"beats_s": [0.0, 0.5, 1.0, 1.5], "positions": [1, 2, 3, 4], **keys}

    assert read_map(document).beats_per_count == level


@pytest.mark.parametrize("level", [0.5, 1.0, 2.0, 3.0])
def test_any_level_of_a_map_is_ranked(level: float) -> None:
    """Ranking counts a map at the level that it names, whichever it is."""
    truth = json.loads((ROOT / "sample_audio" / "tangerine-ferry.json").read_text("utf-8"))
    bar_map = replace(read_map(truth), meter=6 if level == 3 else 4, beats_per_count=level)
    routine = load_routine(KETTLE)

    (row,) = phrasefit.rank([bar_map], routine).songs

    assert row.fit.grid.beats_per_count == level
    assert facts(row.fit) == facts(phrasefit.fit(bar_map, routine))


# ------------------------------------------------------------- what is asked for


class _Shown(Exception):
    """Carries the plan that a command was about to show."""


def plan_shown(program: Program, monkeypatch: pytest.MonkeyPatch, command: str, *words: object):
    """Run a command up to the point where it lays out its plan; give fit and plan."""
    homes = {
        "sheet": "phrasefit.reports.sheet.sheet",
        "page": "phrasefit.reports.page.page",
        "practice": "phrasefit.reports.practice.practice",
        "captions": "phrasefit.reports.captions.captions",
        "export": "phrasefit.reports.walls_csv.walls_csv",
        "pack": "phrasefit.reports.pack.write_pack",
    }

    def show(*given: object, **_: object) -> None:
        raise _Shown(*[item for item in given if not isinstance(item, Path)][:2])

    with monkeypatch.context() as patched:
        patched.setattr(homes[command], show)
        with pytest.raises(_Shown) as caught:
            program(command, *words)
    return caught.value.args


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("--intro", 32),
        ("--start-at", "20"),
        ("--max-changes", 1),
        ("--changes", 0),
        ("--settings", "own.toml", "--changes", 1, "--max-changes", 2),
    ],
    ids=lambda options: " ".join(map(str, options)) or "none",
)
def test_every_command_shows_the_plan_of_fit(
    program: Program, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, options: tuple[object, ...]
) -> None:
    """The same options give the same plan in each medium, and in `suits` the same score."""
    (tmp_path / "own.toml").write_text(SETTINGS, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    song, _ = kept_song(ROOT / "sample_audio" / "one-bar-for-breath.json", tmp_path, Correction())

    document = json.loads(program("fit", song, KETTLE, *options, "--json", "-").out)

    for command in ("sheet", "page", "practice", "captions", "export", "pack"):
        fit, plan = plan_shown(program, monkeypatch, command, song, KETTLE, *options)
        assert plan is fit.plan
        assert facts(fit) == facts_of_document(document), command
        assert [wall.start_s for wall in plan.walls] == [w["start_s"] for w in document["walls"]]
        assert plan.n_changes == document["n_changes"]
        assert fit.tempo.verdict == document["tempo"]["verdict"]
    (row,) = json.loads(program("suits", song, KETTLE, *options, "--json", "-").out)["routines"]
    assert row["score"] == round(document["score"], 2)
    assert row["change_percent"] == round(document["tempo"]["change_percent"], 2)


def test_rank_and_playlist_honor_the_settings(program: Program, tmp_path: Path) -> None:
    """A ranking's row has the score and the tempo change that `fit` has with the same settings."""
    own = tmp_path / "own.toml"
    own.write_text(SETTINGS, encoding="utf-8")
    song, _ = kept_song(ROOT / "sample_audio" / "one-bar-for-breath.json", tmp_path, Correction())
    words = (song, "--counts", 32, "--walls", 4, "--settings", own, "--max-changes", 2)

    document = json.loads(program("fit", *words, "--json", "-").out)
    (ranking,) = json.loads(program("rank", *words, "--json", "-").out)["rankings"]
    (row,) = ranking["songs"]

    assert row["score"] == round(document["score"], 2)
    assert document["tempo"]["source"] == "my hall"
    assert row["change_percent"] == round(document["tempo"]["change_percent"], 2) < 0
    plain = json.loads(program("fit", *words[:5], "--max-changes", 2, "--json", "-").out)
    assert plain["tempo"]["verdict"] == "in range"
    assert plain["score"] != document["score"]


def test_settings_are_read_once() -> None:
    """A request made of settings holds all of them."""
    settings = Settings()
    request = PlanRequest(
        routine=load_routine(KETTLE), costs=settings.costs, tempo_rows=settings.tempo_rows
    )

    assert request == PlanRequest(routine=load_routine(KETTLE))


@pytest.mark.parametrize(
    "command", ["fit", "suits", "sheet", "page", "practice", "captions", "export", "pack"]
)
def test_contradicting_starts_are_refused(program: Program, tmp_path: Path, command: str) -> None:
    """A start time and an intro together are refused with a sentence."""
    song, _ = kept_song(TRUTHS[0], tmp_path, Correction())

    done = program(command, song, KETTLE, "--start-at", "9", "--intro", 16, expect=2)

    assert "--start-at and --intro both say where the dance begins" in done.err


def test_the_page_s_levels_are_those_of_the_program(tmp_path: Path) -> None:
    """Half and double in the page count as `fit` will once they are applied."""
    truth = ROOT / "sample_audio" / "half-a-bar-of-dust.json"
    _, analysis = kept_song(truth, tmp_path, Correction())
    fit = phrasefit.fit(analysis, load_routine(KETTLE))

    origin = origin_of(Planned(fit, fit.plan, analysis))

    assert origin.double is not None
    assert origin.double.bar_map.beats_per_count == origin.double.beats_per_count == 1.0
