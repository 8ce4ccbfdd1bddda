"""Reading JSON that a person may have written: each value checked, each fault named.

A key that is missing or null has its default, because a number that is not finite
is written as null.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

from phrasefit.errors import MapError, shown
from phrasefit.files import protect

MOST_BYTES = 20_000_000  # an hour of beats with its sections takes two
MOST_LETTERS = 1000  # of a text that somebody reads: a title, a note


def load_json(path: Path, *, what: str) -> Any:
    """Read a JSON file that a user named.

    Raises
    ------
    MapError
        If it is missing, unreadable or not JSON; names the file and what was expected.
    """
    try:
        protect(path, what.replace("a ", "the ", 1))
        with path.open("rb") as handle:
            content = handle.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise MapError(f"{path}: is too large for {what}; is it the right file?")
        return json.loads(content.decode("utf-8-sig"))
    except FileNotFoundError as exc:
        raise MapError(f"{path}: no such file; give the path of {what}") from exc
    except OSError as exc:
        raise MapError(f"{path}: cannot be read ({exc.strerror}); give the path of {what}") from exc
    except json.JSONDecodeError as exc:
        raise MapError(
            f"{path}: is no JSON from line {exc.lineno}, column {exc.colno} on;"
            f" give the path of {what}"
        ) from exc
    except (ValueError, RecursionError) as exc:  # not UTF-8, endless digits or brackets
        raise MapError(f"{path}: is no JSON text in UTF-8; give the path of {what}") from exc


class Fields:
    """The values of one JSON object; every reader below raises `MapError` with the place.

    Parameters
    ----------
    name : str
        How messages call the object, such as ``map.json: sections[2]``.
    values : object
        What stood there; anything but an object is refused.
    """

    def __init__(self, name: str, values: Any) -> None:
        if not isinstance(values, dict):
            raise MapError(f"{name} must be a JSON object, with keys in braces")
        self.name = name
        self.values = values

    def refuse(self, key: str, rule: str) -> MapError:
        """Make the error that names `key`, its value and the rule it breaks."""
        return MapError(f"{self.name}: {key} = {shown(self.values.get(key))} {rule}")

    def number(
        self, key: str, default: float | None = None, *, low: float = -math.inf,
        high: float = math.inf,
    ) -> float:  # fmt: skip
        """Read a finite number in `low`..`high`."""
        value = self._value(key, default)
        if not is_number(value) or not low <= value <= high:
            raise self.refuse(key, f"must be a number{_range(low, high)}")
        return float(value)

    def whole(self, key: str, default: int | None = None, *, low: int, high: int) -> int:
        """Read a whole number in `low`..`high`."""
        value = self._value(key, default)
        if type(value) is not int or not low <= value <= high:
            raise self.refuse(key, f"must be a whole number{_range(low, high)}")
        return value

    def text(self, key: str, default: str = "", *, most: int = MOST_LETTERS) -> str:
        """Read a text of at most so many letters."""
        value = self._value(key, default)
        if not isinstance(value, str) or len(value) > most:
            raise self.refuse(key, f"must be a text in quotes, of at most {most} letters")
        return value

    def flag(self, key: str) -> bool:
        """Read true or false; false if missing."""
        value = self._value(key, False)
        if not isinstance(value, bool):
            raise self.refuse(key, "must be true or false")
        return value

    def texts(self, key: str, *, most: int) -> tuple[str, ...]:
        """Read a list of at most `most` texts, each at most `MOST_LETTERS` long."""
        texts = self.items(key, most=most)
        if not all(isinstance(text, str) and len(text) <= MOST_LETTERS for text in texts):
            raise self.refuse(key, f"must be a list of texts of at most {MOST_LETTERS} letters")
        return tuple(texts)

    def choice(self, key: str, known: Sequence[float], default: Any = None) -> Any:
        """Read one of the numbers `known`; `default` if missing."""
        value = self._value(key, default)
        if value is default:
            return default
        if isinstance(value, bool) or value not in known:
            *first, last = (f"{number:g}" for number in known)
            raise self.refuse(key, f"must be {', '.join(first)} or {last}")
        return value

    def hexadecimal(self, key: str, n_signs: int) -> str:
        """Read a fingerprint: so many signs 0-9 and a-f."""
        value = self._value(key, None)
        if not isinstance(value, str) or not re.fullmatch(rf"[0-9a-f]{{{n_signs}}}", value):
            raise self.refuse(key, f"must be {n_signs} hexadecimal signs")
        return value

    def numbers(self, key: str, *, low: float, high: float, most: int) -> tuple[float, ...]:
        """Read a list of at most `most` finite numbers in `low`..`high`; empty if missing."""
        values = self.items(key, most=most)
        if not all(is_number(v) and low <= v <= high for v in values):
            raise self.refuse(key, f"must be a list of numbers{_range(low, high)}")
        return tuple(map(float, values))

    def only(self, known: Collection[str]) -> None:
        """Refuse keys that are not `known`, and name the first and what was meant perhaps."""
        unknown = sorted(set(self.values) - set(known))
        if unknown:
            close = difflib.get_close_matches(unknown[0], known, n=1)
            remedy = f"write {close[0]}, or remove it" if close else "remove it"
            raise MapError(f"{self.name}: {shown(unknown[0])} is no key of it; {remedy}")

    def items(self, key: str, *, most: int | None = None) -> list[Any]:
        """Read a list of at most `most`; empty if missing."""
        value = self._value(key, [])
        if not isinstance(value, list):
            raise self.refuse(key, "must be a list in square brackets")
        if most is not None and len(value) > most:
            raise MapError(f"{self.name}: {key} lists {len(value)} things; at most {most} are read")
        return value

    def tables(self, key: str, *, most: int) -> list[Fields]:
        """Read a list of at most `most` objects."""
        items = self.items(key, most=most)
        return [Fields(f"{self.name}: {key}[{i}]", value) for i, value in enumerate(items)]

    def required(self, key: str) -> None:
        """Refuse an object without `key`."""
        if self.values.get(key) is None:
            raise MapError(f"{self.name}: {key} is missing")

    def table(self, key: str) -> Fields:
        """Read an object; empty if missing."""
        return Fields(f"{self.name}: {key}", self._value(key, {}))

    def _value(self, key: str, default: Any) -> Any:
        value = self.values.get(key)
        return default if value is None else value


def is_number(value: Any) -> bool:
    """Tell finite numbers from everything else, true and false included."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number with hundreds of digits
        return False


def _range(low: float, high: float) -> str:
    if math.isinf(low) and math.isinf(high):
        return ""
    return f" of at least {low:g}" if math.isinf(high) else f" from {low:g} to {high:g}"
