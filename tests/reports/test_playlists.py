"""Playlist files hold one song a line, or are XML 1.0, whatever songs are called."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from unicodedata import category
from urllib.parse import unquote_to_bytes
from xml.etree import ElementTree

import pytest
from evenings import evening

from phrasefit.evening.evening import Evening
from phrasefit.reports.playlists import m3u8, xspf

XSPF = "{http://xspf.org/ns/0/}"
# The first are what a line cannot hold, or a terminal obeys; then signs that XML 1.0 (production
# 2, Char) leaves out, a byte that is no UTF-8, and what would be a comment or an element.
NAMES = ("two\nlines", "\x1b[31mred", "\u2028far", "\x00\x0bnull", "\ufffe\uffff", "\udcff",
         "#EXTINF:9,no", "</title>&amp;")  # fmt: skip


def called(name: str) -> Evening:
    """Give an evening of one dance, to a song and by an artist of that name."""
    one = evening(1)
    (dance,) = one.dances
    fit = dance.pairing.fit
    named = replace(fit, bar_map=replace(fit.bar_map, title=name, artist=name))
    return replace(one, dances=(replace(dance, pairing=replace(dance.pairing, fit=named)),))


@pytest.mark.parametrize("name", NAMES)
def test_odd_names_are_one_line_of_m3u8(name: str, tmp_path: Path) -> None:
    """Three lines, no control signs, and the file is found again."""
    path = tmp_path / f"{name}.wav".replace("\x00", "").replace("/", "_")

    text = m3u8(called(name), {"1": str(path)}, folder=tmp_path)

    head, info, place = text.rstrip("\n").split("\n")
    assert text.splitlines() == [head, info, place]  # other line breaks than \n neither
    assert (head, info[:8]) == ("#EXTM3U", "#EXTINF:") and not place.startswith("#")
    assert not any(category(sign) == "Cc" for sign in text.replace("\n", ""))
    found = place.encode() if place.endswith(path.name) else unquote_to_bytes(place)
    assert tmp_path / os.fsdecode(found) == path


@pytest.mark.parametrize("name", NAMES)
def test_odd_names_are_xml_again(name: str, tmp_path: Path) -> None:
    """Expat reads it in UTF-8; what XML allows of a name is still there."""
    path = tmp_path / f"{name}.wav".replace("\x00", "").replace("/", "_")

    text = xspf(called(name), {"1": str(path)}, folder=tmp_path, title=name)

    root = ElementTree.fromstring(text.encode("utf-8"))
    track = root.find(f"{XSPF}trackList/{XSPF}track")
    kept = "".join(sign for sign in name if sign in "\n" or " " <= sign < "\ud800")
    assert (root.findtext(f"{XSPF}title") or "") == kept
    assert (track.findtext(f"{XSPF}creator") or "").split() == kept.split()  # maps have one line
    place = unquote_to_bytes(track.findtext(f"{XSPF}location"))
    assert tmp_path / os.fsdecode(place) == path
