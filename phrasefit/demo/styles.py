"""The list of all styles by name."""

from __future__ import annotations

from phrasefit.demo import styles_country, styles_floor
from phrasefit.demo.style import Style

STYLES: dict[str, Style] = {
    style.name: style
    for style in (
        styles_country.COUNTRY_ROCK,
        styles_country.SHUFFLE,
        styles_country.WALTZ,
        styles_country.TRAIN,
        styles_country.POLKA,
        styles_country.BALLAD,
        styles_floor.DISCO,
        styles_floor.LATIN,
        styles_floor.SLOW_TWELVE,
        styles_floor.FUNK,
        styles_floor.POP,
    )
}
