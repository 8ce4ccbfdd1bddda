"""The rooms import one way only: the table below is the architecture."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "phrasefit"

# Room -> rooms it imports besides itself and the ground floor: the arrows that exist.
GROUND = {"model", "errors", "files", "meters", "clock", "steps"}
FROM_A_CHECKOUT = {"demo", "training"}  # rooms that are not in the wheel
ALL_THAT_SHIPS = {"*"}
MAY_IMPORT: dict[str, set[str]] = {
    "model": set(),
    "errors": set(),
    "files": set(),
    "meters": set(),
    "clock": set(),
    "steps": set(),
    "phrase_lengths": set(),
    "fields": set(),
    "_dp": set(),
    "sounds": set(),
    "audio": set(),
    "meter": {"_dp", "audio"},
    "form": {"phrase_lengths"},
    "routine": set(),
    "store": set(),
    "fit": {"routine", "phrase_lengths"},
    "ranking": {"fit"},
    "evening": {"fit"},
    "corrections": {"form", "fields"},
    "serial": {"routine", "corrections", "fields"},
    "reports": {"routine", "corrections", "fit", "ranking", "evening", "serial", "sounds"},
    "pipeline": {"audio", "meter", "form", "corrections", "store", "serial", "fields"},
    "parent_watch": set(),
    "batch": {"ranking", "store", "pipeline", "parent_watch"},
    "collection": {"fit", "ranking", "evening", "store", "pipeline", "batch"},
    "hand_out": {"fit", "corrections", "pipeline", "reports", "serial"},
    "demo": {"serial", "sounds"},
    "training": {"audio", "meter", "form", "routine", "reports", "sounds", "demo"},
    "desk": {
        "batch",
        "collection",
        "corrections",
        "evening",
        "fields",
        "fit",
        "hand_out",
        "parent_watch",
        "pipeline",
        "ranking",
        "reports",
        "routine",
        "store",
        "__init__",
    },
    "cli": ALL_THAT_SHIPS,
    "__init__": ALL_THAT_SHIPS,  # names the public things; a test checks that it loads none of them
    "__main__": {"cli"},
}

# Rooms of which only the names are used, in annotations: `model.FitPlan` carries the
# request, whose class lives with the planner.
ONLY_NAMED: dict[str, set[str]] = {"model": {"fit"}}


def room_of(path: Path) -> str:
    """Name the room a module belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path, *, for_types: bool = True) -> set[str]:
    """Collect the phrasefit rooms that a module names in any import statement.

    Without `for_types` imports under ``if TYPE_CHECKING`` are passed over.
    """
    names: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if not for_types:
        tree.body = [node for node in tree.body if not _is_for_types(node)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the full name"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    parts = [name.split(".") for name in names if name.split(".")[0] == "phrasefit"]
    return {p[1] if len(p) > 1 else "__init__" for p in parts} - {"__version__"}


MODULES = sorted(PACKAGE.rglob("*.py"))


def _is_for_types(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.name))
def test_imports_go_one_way(path: Path) -> None:
    """A module imports only its own room, the ground floor and rooms to its left."""
    room, imported = room_of(path), imported_rooms(path)

    if MAY_IMPORT[room] == ALL_THAT_SHIPS:
        assert imported.isdisjoint(FROM_A_CHECKOUT)
        return
    named = ONLY_NAMED.get(room, set())
    assert imported <= MAY_IMPORT[room] | named | GROUND | {room}
    assert not imported_rooms(path, for_types=False) & named


def test_the_table_has_only_arrows_that_exist() -> None:
    """Every import that the table allows is made by some module of the room."""
    used: dict[str, set[str]] = {room: set() for room in MAY_IMPORT}
    for path in MODULES:
        used[room_of(path)] |= imported_rooms(path)

    unused = {room: allowed - used[room] for room, allowed in MAY_IMPORT.items()}

    assert {room: arrows for room, arrows in unused.items() if arrows - ALL_THAT_SHIPS} == {}
