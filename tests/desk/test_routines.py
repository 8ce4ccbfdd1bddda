"""The view "Routines": the list, the form, pasted sheets."""

from __future__ import annotations

import pytest

from phrasefit.desk import routines
from phrasefit.desk.endpoints import NotThere
from phrasefit.errors import RoutineError
from phrasefit.store import Store
from phrasefit.store.database import FILE_NAME

OWN = 'name = "Copper Kettle"\ncounts = 32\nwalls = 2\n'
BENT = "counts = 32\nwalls = 9\n"


def test_a_key_leads_to_its_routine() -> None:
    """Own and supplied routines are found by key; those with mistakes are not offered."""
    with Store() as store:
        store.put_routine("Copper Kettle", OWN)
        store.put_routine("Bent Nail", BENT)

        keys = routines.routine_keys(store)

        assert keys[0] == "Copper Kettle" and "Bent Nail" not in keys
        assert "supplied:borrowed-teaspoons" in keys
        assert routines.routine_called(store, "Copper Kettle").walls == 2
        assert routines.routine_called(store, "supplied:mill-pond-waltz").meter == 3
        with pytest.raises(RoutineError, match="walls"):
            routines.routine_called(store, "Bent Nail")
        for gone in ("No Such Dance", "supplied:../first-gate", "supplied:nothing"):
            with pytest.raises(NotThere):
                routines.routine_called(store, gone)


def test_the_list_says_what_people_choose_by(desk) -> None:
    """Name, size, tempo and level, and how many mistakes are left."""
    with Store(desk.folder / FILE_NAME) as store:
        store.put_routine("Bent Nail", BENT)

    rows = {row["key"]: row for row in desk.get("/api/routines")["routines"]}

    assert rows["Bent Nail"]["errors"] == 1 and not rows["Bent Nail"]["supplied"]
    waltz = rows["supplied:mill-pond-waltz"]
    assert (waltz["name"], waltz["size"]) == ("Mill Pond Waltz", "48 counts, 4 walls")
    assert (waltz["tempo_bpm"], waltz["level"]) == ([84, 108], "beginner")
