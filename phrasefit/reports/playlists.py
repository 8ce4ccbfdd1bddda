"""An evening as playlist files: XSPF, M3U8, CSV and JSON.

XSPF is the XML Shareable Playlist Format, version 1 (xspf.org, namespace
``http://xspf.org/ns/0/``), M3U8 the plain list of files in UTF-8 with ``#EXTINF`` lines
of seconds and title.  Both name the files from where the playlist lies, so that a
folder may be moved as a whole.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote
from xml.etree import ElementTree

from phrasefit.clock import clock_time
from phrasefit.evening.evening import Dance, Evening
from phrasefit.model import one_line
from phrasefit.reports.event_words import change_sentences
from phrasefit.reports.spreadsheet import csv_text
from phrasefit.reports.table import fit_row
from phrasefit.reports.words import plural_s, recording_faults

PLAYLIST_FORMAT = "phrasefit-playlist"
FORMAT_VERSION = 1
XSPF_NAMESPACE = "http://xspf.org/ns/0/"
# What XML 1.0 (production 2, Char) does not allow; it cannot be written in any way.
_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
CSV_COLUMNS = (
    "place", "at", "title", "artist", "routine", "tempo", "change_percent", "count_1", "events",
    "length", "taught", "why", "path",
)  # fmt: skip


def tempo_words(dance: Dance) -> str:
    """Say how fast it is played, and how far that is from the recording."""
    change = dance.pairing.fit.tempo.change_percent
    words = f"{dance.pairing.counts_per_minute:.0f} counts a minute"
    if not change:
        return words
    return f"{words}, played {abs(change):.1f} % {'faster' if change > 0 else 'slower'}"


def _relative(path: str, folder: Path | None) -> Path:
    """Name a song from the folder of the playlist; in full on another drive or without one."""
    if folder is None:
        return Path(path).absolute()
    try:
        return Path(os.path.relpath(path, folder))
    except ValueError:
        return Path(path).absolute()


def _uri(path: str, folder: Path | None) -> str:
    relative = _relative(path, folder)
    return relative.as_uri() if relative.is_absolute() else quote(os.fsencode(relative.as_posix()))


def xspf(evening: Evening, paths: Mapping[str, str], *, folder: Path | None, title: str) -> str:
    """Write an evening as XSPF.

    Parameters
    ----------
    paths : mapping
        Key of a song to its file; a song without one has no location.
    folder : Path or None
        Where the playlist will lie; if it may lie anywhere, songs are named in full.
    """
    ElementTree.register_namespace("", XSPF_NAMESPACE)
    root = ElementTree.Element(f"{{{XSPF_NAMESPACE}}}playlist", version="1")
    _child(root, "title", title)
    tracks = _child(root, "trackList", "")
    for dance in evening.dances:
        song = dance.pairing.fit.bar_map
        track = _child(tracks, "track", "")
        if path := paths.get(dance.pairing.key):
            _child(track, "location", _uri(path, folder))
        _child(track, "title", _danced(song.title, dance))
        if song.artist:
            _child(track, "creator", song.artist)
        _child(track, "annotation", _annotation(dance))
        _child(track, "trackNum", str(dance.place))
        _child(track, "duration", str(round(1000 * song.duration_s)))
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def _child(parent: ElementTree.Element, name: str, text: str) -> ElementTree.Element:
    element = ElementTree.SubElement(parent, f"{{{XSPF_NAMESPACE}}}{name}")
    element.text = _NOT_IN_XML.sub("", text) or None
    return element


def _danced(name: str, dance: Dance) -> str:
    """Name a song with the dance to it, for players that show no more than one line."""
    return f"{name} ({dance.pairing.fit.routine.name})"


def _annotation(dance: Dance) -> str:
    return f"{dance.pairing.fit.routine.name}; {tempo_words(dance)}; {', '.join(dance.reasons)}"


def m3u8(evening: Evening, paths: Mapping[str, str], *, folder: Path | None) -> str:
    """Write an evening as M3U8; songs without a file are left out.  For `folder` see `xspf`."""
    lines = ["#EXTM3U"]
    for dance in evening.dances:
        song = dance.pairing.fit.bar_map
        if path := paths.get(dance.pairing.key):
            name = _danced(" - ".join(filter(None, (song.artist, song.title))), dance)
            lines.append(f"#EXTINF:{round(song.duration_s)},{one_line(name)}")
            lines.append(_line(path, folder))
    return "\n".join(lines) + "\n"


def _line(path: str, folder: Path | None) -> str:
    """Name a song on one line; as a URI where signs in its name would break the line."""
    place = str(_relative(path, folder))
    if not place.isprintable():
        return _uri(path, folder)
    return f"./{place}" if place.startswith("#") else place  # no comment line


def evening_csv(evening: Evening, paths: Mapping[str, str]) -> str:
    """Write an evening as CSV text."""
    return csv_text(
        CSV_COLUMNS, (_cells(dance, paths.get(dance.pairing.key, "")) for dance in evening.dances)
    )


def _cells(dance: Dance, path: str) -> list[object]:
    fit = dance.pairing.fit
    return [
        dance.place,
        clock_time(dance.start_s, decimals=0),
        fit.bar_map.title,
        fit.bar_map.artist,
        fit.routine.name,
        f"{dance.pairing.counts_per_minute:.1f}",
        f"{fit.tempo.change_percent:.1f}",
        clock_time(fit.plan.start_s),
        "; ".join(change_sentences(fit.plan)),
        clock_time(dance.pairing.length_s, decimals=0),
        "yes" if dance.taught else "",
        ", ".join(dance.reasons),
        path,
    ]


def evening_document(evening: Evening, paths: Mapping[str, str]) -> dict[str, Any]:
    """Lay out an evening as the JSON document that ``phrasefit playlist --json`` writes."""
    return {
        "format": PLAYLIST_FORMAT,
        "version": FORMAT_VERSION,
        "minutes_wished": evening.request.minutes,
        "length_s": round(evening.length_s, 3),
        "seed": evening.request.seed,
        "value": round(evening.value, 3),
        "bound": round(evening.bound, 3),
        "n_offers": evening.n_pairings,
        "repeatable": evening.repeatable,
        "notes": list(evening.notes),
        "dances": [
            {
                "place": dance.place,
                "at_s": round(dance.start_s, 3),
                "routine": dance.pairing.fit.routine.name,
                "level": dance.pairing.fit.routine.level,
                "played_counts_per_minute": round(dance.pairing.counts_per_minute, 2),
                "played_length_s": round(dance.pairing.length_s, 3),
                "taught": dance.taught,
                "reasons": list(dance.reasons),
                **fit_row(dance.pairing.fit, path=paths.get(dance.pairing.key, "")),
            }
            for dance in evening.dances
        ],
    }


def render_evening(evening: Evening) -> str:
    """Write an evening for the terminal."""
    n = len(evening.dances)
    length = clock_time(evening.length_s, decimals=0)
    lines = [f"{n} dance{plural_s(n)}, {length} of {evening.request.minutes:g} minutes"]
    for dance in evening.dances:
        fit = dance.pairing.fit
        song = " - ".join(filter(None, (fit.bar_map.title, fit.bar_map.artist)))
        lines.append(
            f"{dance.place:>3}. {clock_time(dance.start_s, decimals=0):>8}  {fit.routine.name}"
            f"  to  {song}"
        )
        lines.append(f"{'':>15}{tempo_words(dance)}; {', '.join(dance.reasons)}")
    for bar_map in (dance.pairing.fit.bar_map for dance in evening.dances):
        lines += [f"{bar_map.title}: {fault}" for fault in recording_faults(bar_map)]
    lines += [f"note: {note}" for note in evening.notes]
    better = "no better one can be made of them"
    if evening.gap_percent >= 1:
        better = f"a better one is possible, by {evening.gap_percent:.0f} % at most"
    pairs = f"{evening.n_pairings} pair{plural_s(evening.n_pairings)}"
    lines.append(f"chosen from {pairs} of song and routine; {better}")
    if not evening.repeatable:
        lines.append("the search was cut short on this slow machine: another run may differ")
    return "\n".join(lines) + "\n"
