"""What a user may set once and for all: own costs and tempo ranges, in one TOML file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phrasefit.errors import ParameterError
from phrasefit.files import protect
from phrasefit.fit.costs import COMMON_PRACTICE, Costs
from phrasefit.fit.tempo import TEMPO_ROWS, TempoRow, with_own_rows
from phrasefit.routine.toml_lines import MAX_FILE_BYTES, parse_toml


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Costs and tempo ranges; those of common practice where a user sets none."""

    costs: Costs = COMMON_PRACTICE
    tempo_rows: tuple[TempoRow, ...] = TEMPO_ROWS

    @classmethod
    def load(cls, path: Path | str) -> Settings:
        """Read a TOML file with a ``[costs]`` table, ``[[tempo]]`` rows, or both.

        Parameters
        ----------
        path : Path or str
            Names in ``[costs]`` are those of `Costs`; a row of ``[[tempo]]`` has ``meter``
            (4 or 3), ``low`` and ``high`` [counts a minute], ``source`` and perhaps
            ``level``, and takes the place of the rows for that meter and level.

        Returns
        -------
        Settings

        Raises
        ------
        ParameterError
            If the file cannot be read, or a name or value in it is not legal; names the
            file and the value.
        """
        document = _read(path)
        try:
            return cls(
                costs=Costs.of(document.get("costs", {})),
                tempo_rows=with_own_rows(document.get("tempo", [])),
            )
        except ParameterError as exc:
            raise ParameterError(f"{path}: {exc}") from exc


def _read(path: Path | str) -> dict[str, Any]:
    try:
        protect(path, "the settings file")
        with Path(path).open("rb") as handle:
            content = handle.read(MAX_FILE_BYTES + 1)
    except OSError as exc:
        raise ParameterError(f"{path}: cannot be read ({exc.strerror}); check the name") from exc
    if len(content) > MAX_FILE_BYTES:
        raise ParameterError(f"{path}: is too large for settings; is it the right file?")
    try:
        document = parse_toml(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as exc:
        raise ParameterError(f"{path}: is no TOML file ({exc})") from exc
    except (RecursionError, ValueError) as exc:
        raise ParameterError(f"{path}: holds brackets, dots or a number without end") from exc
    wanted = {"costs": dict, "tempo": list}
    for key, value in document.items():
        if not isinstance(value, wanted.get(key, ())):
            raise ParameterError(
                f"{path}: {key} is not known here; write a [costs] table or [[tempo]] rows"
            )
    return document
