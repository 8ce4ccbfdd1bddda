"""The floor list: times of day, teaching as a row, more than six dances on a page."""

from __future__ import annotations

import re
from dataclasses import replace

from evenings import TITLES, evening

from phrasefit.clock import clock_time, time_of_day
from phrasefit.reports.dj_card import card_rows
from phrasefit.reports.floor_list import floor_leaves, items
from phrasefit.reports.playlists import render_evening


def test_eight_dances_and_the_teaching_are_on_one_page() -> None:
    """Every row says when it is due, by the clock on the wall."""
    (leaf,) = floor_leaves(evening(), title="Tuesday", starts_at_s=19.5 * 3600)

    words = [text.words for text in leaf.texts]
    assert words[0] == "Tuesday"
    assert {"19:30", "TEACH Floor No. 3, 15 minutes"} <= set(words)
    made = evening()
    for dance in made.dances:
        assert time_of_day(19.5 * 3600 + dance.start_s) in words
    lesson = words.index("TEACH Floor No. 3, 15 minutes")
    assert time_of_day(19.5 * 3600 + made.dances[2].start_s - 900) in words[:lesson]
    assert lesson < words.index("Floor No. 3")


def test_the_song_is_bolder_than_no_restart() -> None:
    """Routine and song are bold, what needs no calling is not."""
    (leaf,) = floor_leaves(evening())

    bold = {text.words: (text.bold, text.size) for text in leaf.texts}
    for title in TITLES:
        name = next(words for words in bold if words.startswith(title))
        assert bold[name][0]
        assert bold[name][1] > bold["no restart, no tag"][1]
    assert not bold["no restart, no tag"][0]
    assert any(words.startswith("TAG 4 after wall") and bold[words][0] for words in bold)


def test_without_a_time_of_day_it_counts_from_the_beginning() -> None:
    """The first dance is at 0:00; a long evening goes on under its title."""
    leaves = floor_leaves(evening(30), title="Long Night")

    assert len(leaves) > 1
    assert "0:00" in [text.words for text in leaves[0].texts]
    for leaf in leaves[1:]:
        assert leaf.texts[0].words == "Long Night, continued"
    places = [t.words for leaf in leaves for t in leaf.texts if t.words.isdigit()]
    assert places == [str(n) for n in range(1, 31)]


def test_a_song_that_is_cut_off_is_not_played_without_a_word() -> None:
    """Neither from the list on paper nor from that in the terminal."""
    made = evening(2)
    first = made.dances[0]
    note = "the file is cut off, only 3:10.0 of 4:00.0 can be heard; copy or download it again"
    song = replace(first.pairing.fit.bar_map, notes=(note,))
    pairing = replace(first.pairing, fit=replace(first.pairing.fit, bar_map=song))
    cut = replace(made, dances=(replace(first, pairing=pairing), made.dances[1]))

    said = "the file is cut off, only 3:10.0 of 4:00.0 can be heard"
    first_item, second_item = items(cut)
    assert first_item.facts.endswith(f" long; {said}")
    assert "cut off" not in second_item.facts
    assert f"{TITLES[0]}: {said}" in render_evening(cut).splitlines()


def test_times_within_a_song_are_those_of_its_recording() -> None:
    """As on the class sheet and the DJ's card; only the next row is due sooner or later."""
    made = evening(2)
    first = made.dances[0]
    tempo = replace(first.pairing.fit.tempo, change_percent=-5.0)
    pairing = replace(first.pairing, fit=replace(first.pairing.fit, tempo=tempo))
    slower = replace(made, dances=(replace(first, pairing=pairing), made.dances[1]))

    slow, usual = items(slower)

    length = clock_time(pairing.fit.bar_map.duration_s, decimals=0)
    assert slow.facts.endswith(f", played 5.0 % slower; {length} long as recorded")
    assert usual.facts.endswith(f"; {length} long")
    times = re.findall(r"\d+:\d\d(?:\.\d)?", slow.facts)
    card = dict(card_rows(pairing.fit, pairing.fit.plan))
    assert all(time in f"{card['count 1']} {card['length']}" for time in times)
