"""Small pictures of each kind of sheet, kept so that a change of looks is seen.

``python tests/reports/golden_pictures.py`` draws them anew, on purpose: look at each
before it is committed.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path

from PIL import Image

HERE = Path(__file__).parent
FOLDER = HERE / "golden"

if __name__ == "__main__":
    sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]

from evenings import evening  # noqa: E402
from test_events_in_media import one_part, two_parts  # noqa: E402

from phrasefit.reports.dj_card import dj_card  # noqa: E402
from phrasefit.reports.floor_list import floor_list  # noqa: E402
from phrasefit.reports.paper import Document  # noqa: E402
from phrasefit.reports.sheet import sheet  # noqa: E402
from phrasefit.reports.step_sheet import step_sheet  # noqa: E402
from phrasefit.routine.spec import load_routine  # noqa: E402
from pictures import small  # noqa: E402

ROUTINES = HERE.parents[1] / "phrasefit" / "routines"
KINDS: dict[str, Callable[[], Document]] = {
    "page": lambda: sheet(one_part()),
    "page-phrased": lambda: sheet(two_parts(), paper="letter"),
    "stand": lambda: sheet(one_part(), size="stand"),
    "floor": lambda: sheet(one_part(), size="floor"),
    "steps": lambda: step_sheet(load_routine(ROUTINES / "borrowed-teaspoons.toml")),
    "dj": lambda: dj_card(one_part()),
    "floor-list": lambda: floor_list(evening(), title="Tuesday", starts_at_s=19.5 * 3600),
}


def picture(kind: str) -> Image.Image:
    """Draw the first page of a kind, small and gray."""
    return small(Image.open(io.BytesIO(KINDS[kind]().png())))


def main() -> None:
    """Draw all of them anew."""
    FOLDER.mkdir(exist_ok=True)
    for kind in KINDS:
        path = FOLDER / f"{kind}.png"
        picture(kind).quantize(8).save(path, optimize=True)
        print(path.name, path.stat().st_size)


if __name__ == "__main__":
    main()
