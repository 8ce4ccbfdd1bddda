"""The rooms import one way only: the table below is the architecture."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "phrasefit"

# Room -> rooms it may import besides itself and the ground floor.
GROUND = {"model", "errors", "files"}
MAY_IMPORT: dict[str, set[str]] = {
    "model": set(),
    "errors": set(),
    "files": set(),
    "fields": set(),
    "_dp": set(),
    "audio": set(),
    "meter": {"_dp", "audio"},
    "form": {"_dp", "audio", "meter"},
    "routine": set(),
    "store": set(),
    "fit": {"_dp", "routine"},
    "ranking": {"routine", "fit"},
    "evening": {"fit"},
    "corrections": {"meter", "form", "fields"},
    "serial": {"routine", "fields", "corrections"},
    "reports": {"routine", "corrections", "fit", "ranking", "evening", "serial", "demo"},
    "pipeline": {
        "audio",
        "meter",
        "form",
        "routine",
        "fit",
        "store",
        "serial",
        "corrections",
        "fields",
    },
    "batch": {"audio", "meter", "form", "fit", "ranking", "store", "serial", "pipeline"},
    "collection": {"fit", "ranking", "store", "pipeline", "batch"},
    "demo": {"_dp", "audio", "meter", "form", "routine", "fit", "serial"},
    "training": {"_dp", "audio", "meter", "form", "routine", "fit", "serial", "demo", "reports"},
    "cli": {"*"},
    "__init__": {"*"},  # names the public things; a test checks that it loads none of them
    "__main__": {"cli"},
}


def room_of(path: Path) -> str:
    """Name the room a module belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    """Collect the phrasefit rooms that a module names in any import statement."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the full name"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    parts = [name.split(".") for name in names if name.split(".")[0] == "phrasefit"]
    return {p[1] if len(p) > 1 else "__init__" for p in parts} - {"__version__"}


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.name))
def test_imports_go_one_way(path: Path) -> None:
    """A module imports only its own room, the ground floor and rooms to its left."""
    room = room_of(path)

    allowed = MAY_IMPORT[room]

    assert allowed == {"*"} or imported_rooms(path) <= allowed | GROUND | {room}
