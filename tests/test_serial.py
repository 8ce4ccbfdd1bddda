"""Bar maps and other results survive the way through JSON."""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from phrasefit import model, serial
from phrasefit.errors import MapError
from phrasefit.fields import load_json

MAP_SCHEMA = json.loads(files("phrasefit").joinpath("schemas/map.schema.json").read_text("utf-8"))


def bar_map(n_bars: int = 16, meter: int = 4, spacing_s: float = 0.5) -> model.BarMap:
    """Make a steady song with two sections and one bar that is two beats short."""
    positions = np.concatenate(
        [np.arange(1, (meter - 2 if i == 5 else meter) + 1) for i in range(n_bars)]
    )
    n = len(positions)
    times = 0.25 + spacing_s * np.arange(n)
    half = 8 * meter - 2
    return model.BarMap(
        beat_times_s=times,
        positions=positions,
        meter=meter,
        tempo_bpm=60 / spacing_s,
        end_s=float(times[-1] + spacing_s),
        duration_s=float(times[-1] + 2),
        sections=(
            model.Section(start_beat=0, n_beats=half, letter="A", strength=0.9),
            model.Section(start_beat=half, n_beats=n - half, letter="B", strength=0.6),
        ),
        phrases=(
            model.Phrase(start_beat=0, n_beats=half, group=32, strength=0.9),
            model.Phrase(start_beat=half, n_beats=n - half, group=32, strength=0.6),
        ),
        confidence=model.Confidence(beats=0.9, downbeat=0.5, meter=0.99, phrase=0.4),
        alternatives=(
            model.Alternative(
                kind="one", correction=model.Correction(shift_one_beats=2), probability=0.3,
                tempo_bpm=120.0, meter=4,
            ),
        ),
        title="A song",
        notes=("heard with doubts",),
    )  # fmt: skip


def same(left: object, right: object) -> bool:
    """Compare dataclasses field by field, arrays by value."""
    if dataclasses.is_dataclass(left):
        return type(left) is type(right) and all(
            same(getattr(left, f.name), getattr(right, f.name)) for f in dataclasses.fields(left)
        )
    return bool(np.array_equal(left, right)) if isinstance(left, np.ndarray) else left == right


def test_map_document_obeys_its_schema_and_reads_back_unchanged() -> None:
    """A bar map written as a document is valid and loses nothing."""
    document = json.loads(serial.dump_json(serial.map_document(bar_map())))

    jsonschema.validate(document, MAP_SCHEMA)
    assert same(serial.read_map(document), bar_map())


def with_outlook(song: model.BarMap) -> model.BarMap:
    """Expect phrases on three bars."""
    outlook = model.Outlook(
        beats=[0, 16, 30], sections=[1.0, 0.25, 0.6], groups=[16, 32],
        phrases=[[0.0, 0.3, 0.1], [0.0, 0.1, 0.0]],
        likeliest=model.form_starts(song.sections, song.phrases),
    )  # fmt: skip
    return dataclasses.replace(song, outlook=outlook)


def test_what_is_expected_reads_back_unchanged() -> None:
    """The outlook goes with the map; of a form changed since nothing is written."""
    song = with_outlook(bar_map())
    document = json.loads(serial.dump_json(serial.map_document(song)))
    changed = dataclasses.replace(song, sections=song.sections[:1])

    jsonschema.validate(document, MAP_SCHEMA)
    assert same(serial.read_map(document), song)
    assert "outlook" not in serial.map_document(changed)


def test_sections_edited_by_hand_are_not_overruled() -> None:
    """Whoever takes a section out of a map file plans without it."""
    document = serial.map_document(with_outlook(bar_map()))
    document["sections"] = document["sections"][:1]

    assert serial.read_map(document).all_forms is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"phrases": [[0.0, 0.1, 0.2]]}, "one value"),
        ({"phrases": [[0.0, 0.1], [0.0, 0.1]]}, "as long as start_s"),
        ({"phrases": [1, 2]}, "as long as start_s"),
        ({"sections": [0.1, 2.0, 0.1]}, "from 0 to 1"),
        ({"sections": [0.1]}, "one value"),
        ({"groups": [32, 16]}, "in order"),
        ({"groups": [], "phrases": []}, "at least one group"),
        ({"start_s": [3.0, 1.0, 2.0]}, "in order"),
        ({"starts": []}, "start_s"),
        ({"phrases": [[0.0] * 3] * 99}, "at most"),
    ],
)
def test_a_damaged_outlook_is_refused(change: dict, words: str) -> None:
    """What plans are made by is checked like the rest."""
    document = serial.map_document(with_outlook(bar_map()))
    document["outlook"] |= change

    with pytest.raises(MapError, match=words):
        serial.read_map(document)


def test_schemas_are_schemas() -> None:
    """The shipped schemas obey the JSON Schema 2020-12 meta-schema."""
    for entry in files("phrasefit").joinpath("schemas").iterdir():
        jsonschema.Draft202012Validator.check_schema(json.loads(entry.read_text("utf-8")))


def test_a_bar_in_which_the_beat_breaks_off_is_not_odd() -> None:
    """Where the music stops within a bar, nobody could count it: no odd bar is claimed."""
    whole = bar_map()
    odd = serial.map_document(whole)["irregular_bars"][0]
    first = int(np.searchsorted(whole.beat_times_s, odd["start_s"] - 1e-6))
    late = whole.beat_times_s + np.where(np.arange(len(whole.beat_times_s)) > first, 3.0, 0.0)
    broken = dataclasses.replace(
        whole, beat_times_s=late, end_s=whole.end_s + 3, duration_s=whole.duration_s + 3
    )

    assert serial.map_document(broken)["irregular_bars"] == []


def test_irregular_bar_is_listed() -> None:
    """The short bar is named with its time, number and length."""
    assert serial.map_document(bar_map())["irregular_bars"] == [
        {"bar": 6, "start_s": pytest.approx(10.25), "beats": 2}
    ]


def test_counts_follow_the_level() -> None:
    """Counted on every other beat, lengths in counts are halved."""
    document = serial.map_document(bar_map(), beats_per_count=2.0)

    assert [s["counts"] for s in document["sections"]] == [15, 16]


def test_map_made_by_hand_needs_beats_and_positions_only() -> None:
    """Everything else is derived: meter, tempo, end."""
    read = serial.read_map({"beats_s": [1.0, 1.5, 2.0, 2.5, 3.0], "positions": [1, 2, 3, 1, 2]})

    assert (read.meter, read.tempo_bpm, read.end_s) == (3, 120.0, 3.5)


@pytest.mark.parametrize("name", ["steady", "gridded"])
def test_a_map_from_before_says_that_it_is_steady(name: str) -> None:
    """The older name of the field is read; a map is written with the plain one."""
    read = serial.read_map({**HAND_MADE, name: True})

    assert read.steady
    written = serial.map_document(read)
    assert written["steady"] is True and "gridded" not in written


HAND_MADE = {"beats_s": [1.0, 2.0], "positions": [1, 2]}


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ([], "JSON object"),
        ({"beats_s": [1.0, 2.0]}, "positions is missing"),
        ({"beats_s": [2.0, 1.0], "positions": [1, 2]}, "strictly increasing"),
        ({"beats_s": [1.0, 2.0, 3.0], "positions": [1, 2]}, "one position for each beat"),
        ({"beats_s": [1.0, 2.0], "positions": [0, 1]}, "count from 1"),
        ({"beats_s": [1.0, float("nan")], "positions": [1, 2]}, "finite"),
        ({"beats_s": ["x", 2.0], "positions": [1, 2]}, r"beats_s\[0\]"),
        ({"beats_s": [1.0, 2.0], "positions": [1, 2], "sections": [{}]}, "start_s"),
        ({**HAND_MADE, "confidence": {"beats": "x"}}, 'confidence: beats = "x" must be'),
        ({**HAND_MADE, "sections": [{"start_s": 1}, 7]}, r"sections\[1\] must be a JSON object"),
        ({**HAND_MADE, "sections": {}}, "sections = {} must be a list"),
        ({**HAND_MADE, "sections": [{"start_s": 1, "strength": 9}]}, "from 0 to 1"),
        ({**HAND_MADE, "phrases": [{"start_s": 1, "group": 0}]}, "group = 0"),
        ({**HAND_MADE, "alternatives": [{}]}, r"alternatives\[0\]: probability = None"),
        ({**HAND_MADE, "meter": 3.5}, "meter = 3.5 must be a whole number"),
        ({**HAND_MADE, "tempo_bpm": -5}, "tempo_bpm = -5"),
        ({**HAND_MADE, "end_s": 0.5}, "end_s = 0.5 must be a number from 2"),
        ({**HAND_MADE, "title": 5}, "title = 5 must be a text"),
        ({**HAND_MADE, "format": "phrasefit-fit"}, "is no bar map"),
        ({"beats_s": [1, 2], "positions": [1, 10**30]}, r"positions\[1\]"),
        ({"beats_s": [1, 10**400], "positions": [1, 2]}, r"beats_s\[1\]"),
        ({"beats_s": [True, 2], "positions": [1, 2]}, r"beats_s\[0\]"),
        ({"beats_s": [1000, 1500], "positions": [1, 2]}, "are the times in seconds"),
        ({"beats_s": [1] * 99_999, "positions": [1] * 99_999}, "lists 99999 beats"),
    ],
)  # fmt: skip
def test_bad_map_says_what_is_wrong(document: object, words: str) -> None:
    """A map that cannot be used names the file and the fault."""
    with pytest.raises(MapError, match=rf"song\.json.*{words}"):
        serial.read_map(document, name="song.json")


@given(
    counts=st.integers(1, 128),
    moments=st.lists(st.fractions(0, 128, max_denominator=4), max_size=4),
    tempo=st.none() | st.tuples(st.floats(60, 100), st.floats(100, 200)),
)
def test_encode_and_decode_are_inverse(
    counts: int, moments: list[Fraction], tempo: tuple[float, float] | None
) -> None:
    """Any routine survives JSON text, with fractions, optional fields and nesting."""
    step = model.Step(line=3, counts="1&2", moments=tuple(moments), name="shuffle", feet=("R",))
    part = model.Part(name="A", counts=counts, turn_deg=90, steps=(step,))
    routine = model.Routine(name="Ø", parts=(part,), walls=4, tempo_bpm=tempo)

    text = json.dumps(serial.encode(routine))

    assert serial.decode(model.Routine, json.loads(text)) == routine


def test_decode_names_what_is_missing() -> None:
    """A stored value that lost a field is an error with a name, not a traceback."""
    with pytest.raises(MapError, match="Section"):
        serial.decode(model.Section, {"start_beat": 1})


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xfe{}", b"[" * 100_000, b"9" * 5000, b"RIFF\x00\x80"],
    ids=["empty", "cut off", "not UTF-8", "endless brackets", "endless digits", "a song"],
)
def test_files_that_are_no_json_are_named(tmp_path: Path, content: bytes) -> None:
    """Whatever is in the file, the message names it and what was expected."""
    path = tmp_path / "m.json"
    path.write_bytes(content)

    with pytest.raises(MapError, match=r"m\.json: is no JSON.*give the path of a bar map"):
        load_json(path, what="a bar map")


def test_json_may_begin_with_a_byte_order_mark(tmp_path: Path) -> None:
    """Some editors write one."""
    path = tmp_path / "m.json"
    path.write_bytes(b"\xef\xbb\xbf{}")

    assert load_json(path, what="a bar map") == {}


def test_names_are_kept_to_one_line() -> None:
    """Line breaks, terminal codes and half letters in a title do no harm."""
    read = serial.read_map({**HAND_MADE, "title": " A\nB\x1b[31m \ud800C "})

    assert read.title == "A B[31m C"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"section": []}, '"section" is no key of it; write sections, or remove it'),
        ({"sections": [{"start_s": 1.0, "leter": "A"}]}, r'sections\[0\]: "leter" .* write letter'),
        ({"phrases": [{"start_s": 1.0, "wxyz": 3}]}, r'phrases\[0\]: "wxyz" is no key of it'),
    ],
)
def test_a_slip_in_a_key_is_told(change: dict, message: str) -> None:
    """What is written under another name would silently be left out."""
    with pytest.raises(MapError, match=message):
        serial.read_map({**HAND_MADE, **change})
