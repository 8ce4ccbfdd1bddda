"""Lines of keys and blocks in TOML text."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from phrasefit.routine.toml_lines import parse_source

TEXT = '''\
# a remark with name = "no key"
name = "x"
note = """text with
counts = 7
[heading] inside"""
parts.C.counts = 4

[parts.A]
counts = 32
steps = """
first
second"""

[parts."B b"]
steps = """one
two
"""
quick = """only one line"""

[[tags]]
counts = 4
[[tags]]
steps = \'\'\'
three
\'\'\'
escaped = """
a \\
b
"""
'''


def test_every_key_has_its_line() -> None:
    """Keys, dotted keys, tables and repeated tables are found where they stand."""
    source, findings = parse_source(TEXT)

    assert source is not None and not findings
    assert source.line("name") == 2
    assert source.line("parts", "C", "counts") == 6
    assert source.line("parts", "A") == 8
    assert source.line("parts", "A", "counts") == 9
    assert source.line("parts", "B b", "steps") == 15
    assert source.line("tags", 0, "counts") == 21
    assert source.line("tags", 1) == 22


def test_missing_keys_have_the_line_of_their_table() -> None:
    """What is not written is reported where it should be."""
    source, _ = parse_source(TEXT)

    assert source is not None
    assert source.line("parts", "A", "turn") == 8
    assert source.line("tags", 1, "counts") == 22
    assert source.line("nothing") == 1


def test_lines_of_blocks_are_numbered_as_in_the_file() -> None:
    """Each line of a multi-line text keeps its number, however the text begins."""
    source, _ = parse_source(TEXT)
    assert source is not None
    tables = tomllib.loads(TEXT)

    def numbered(value: str, *keys: str | int) -> list[tuple[int, str]]:
        return source.numbered_lines(value, *keys)

    assert numbered(tables["parts"]["A"]["steps"], "parts", "A", "steps") == [
        (11, "first"),
        (12, "second"),
    ]
    assert numbered(tables["parts"]["B b"]["steps"], "parts", "B b", "steps")[:2] == [
        (15, "one"),
        (16, "two"),
    ]
    assert numbered(tables["tags"][1]["steps"], "tags", 1, "steps")[0] == (24, "three")


def test_blocks_joined_by_escapes_keep_the_line_of_their_key() -> None:
    """Where TOML's escapes join lines, the line of the key is the honest answer."""
    source, _ = parse_source(TEXT)
    value = tomllib.loads(TEXT)["tags"][1]["escaped"]

    assert source is not None
    assert {line for line, _ in source.numbered_lines(value, "tags", 1, "escaped")} == {26}
    assert source.numbered_lines("only one line", "parts", "B b", "quick") == [
        (18, "only one line")
    ]


@given(st.text(max_size=200))
def test_any_text_gives_a_source_or_a_finding(text: str) -> None:
    """No text, however broken, escapes as an exception; findings lie inside it."""
    source, findings = parse_source(text)

    assert (source is None) == bool(findings)
    assert all(1 <= finding.line <= text.count("\n") + 1 for finding in findings)


def test_a_number_without_end_is_a_finding() -> None:
    """Thousands of digits do not break the reader."""
    source, findings = parse_source("counts = " + "9" * 5000)

    assert source is None
    assert "number without end" in findings[0].message


def test_deep_nesting_is_a_finding() -> None:
    """Brackets without end do not break the reader."""
    source, findings = parse_source("a = " + "[" * 100_000)

    assert source is None
    assert "brackets" in findings[0].message or "cannot be read" in findings[0].message


def test_dots_without_end_are_a_finding() -> None:
    """Python's reader takes a minute for a key of 50,000 names."""
    source, findings = parse_source("name" + ".a" * 50_000 + " = 1")

    assert source is None
    assert "dots" in findings[0].message
