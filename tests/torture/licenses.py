"""Print the licenses of all that phrasefit needs to run, as the table in DEVELOPERS.md.

``python tests/torture/licenses.py`` reads the metadata of the installed packages, beginning
with those of ``pyproject.toml``, extras included where they are installed.
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

PROJECT = Path(__file__).parents[2] / "pyproject.toml"
COPYLEFT = re.compile(r"GPL|MPL|EPL|copyleft", re.IGNORECASE)
OUR_EXTRAS = re.compile(r"extra\s*==")


def name_of(requirement: str) -> str:
    """Give the package that a requirement names."""
    return re.split(r"[\s\[<>=!~;(]", requirement, maxsplit=1)[0].lower().replace("_", "-")


def license_of(metadata: object) -> str:
    """Give the license in the words of the package: expression, else classifiers, else text."""
    expression = metadata.get("License-Expression")
    classified = [
        line.rsplit(" :: ", 1)[-1]
        for line in metadata.get_all("Classifier") or ()
        if line.startswith("License ::")
    ]
    text = (metadata.get("License") or "").strip().split("\n")[0][:60]
    return expression or ", ".join(classified) or text or "not stated"


def needed() -> dict[str, str]:
    """Map each package, those needed by others included, to the one that asks for it."""
    project = tomllib.loads(PROJECT.read_text("utf-8"))["project"]
    extras = [r for group in project["optional-dependencies"].values() for r in group]
    waiting = [(name_of(r), "phrasefit") for r in project["dependencies"]]
    waiting += [(name_of(r), "an extra") for r in extras]
    found: dict[str, str] = {}
    while waiting:
        name, asker = waiting.pop(0)
        if name in found:
            continue
        found[name] = asker
        try:
            asked = distribution(name).requires or ()
        except PackageNotFoundError:
            continue
        waiting += [(name_of(r), name) for r in asked if not OUR_EXTRAS.search(r)]
    return found


def main() -> None:
    """Print one row a package."""
    print("| package | needed by | license | copyleft |\n|---|---|---|---|")
    for name, asker in sorted(needed().items()):
        try:
            metadata = distribution(name).metadata
        except PackageNotFoundError:
            continue
        words = license_of(metadata)
        print(f"| {name} | {asker} | {words} | {'yes' if COPYLEFT.search(words) else ''} |")


if __name__ == "__main__":
    main()
