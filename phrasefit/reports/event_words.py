"""Every event of a plan in words: the one place where walls, tags, restarts and the end are named.

A name is made of pieces: `label` (WALL 3, TAG 4, RESTART, END), `place` (where in the
dance), the facing at that moment, and `remark` (the changed step, the turn to the front).
`call` puts them together for captions, markers and calls; the other functions suit a
terminal, a row of a sheet or table, large type and running text.
"""

from __future__ import annotations

import itertools

from phrasefit.clock import clock_time
from phrasefit.model import Ending, Event, EventKind, Plan, Restart, Tag, Wall
from phrasefit.routine.turns import clock, turn_to_front, turn_words

CAPITALS = {kind: kind.value.upper() for kind in EventKind}
_EIGHTHS = {45: "1/8", 90: "1/4", 135: "3/8", 180: "1/2"}


# -------------------------------------------------------------------- the pieces


def label(event: Event) -> str:
    """Name an event in a word or two: ``WALL 3``, ``TAG 4``, ``RESTART``, ``END``."""
    word = CAPITALS[event.kind]
    if isinstance(event, Wall):
        return f"{word} {event.number}"
    return f"{word} {event.counts}" if isinstance(event, Tag) else word


def place(event: Event) -> str:
    """Say where in the dance a tag or restart comes; nothing of a wall or the end."""
    if isinstance(event, Tag) and not event.cut_short:
        return f"after wall {event.wall}"
    cut = f"wall {event.wall} after count {event.after_count}"
    if isinstance(event, Tag):
        return f"in {cut}"
    return cut if isinstance(event, Restart) else ""


def remark(event: Event) -> str:
    """Say what else must be known: a changed step, the turn to the front at the end."""
    if isinstance(event, Restart):
        return event.step_change
    return to_front(event.facing) if isinstance(event, Ending) else ""


def to_front(facing: int) -> str:
    """Say the shortest turn from `facing` to the front; half a turn may go either way."""
    turn = _short_turn(facing)
    return f"turn {turn} to the front" if turn else ""


def _short_turn(facing: int) -> str:
    turn = turn_to_front(facing)
    if not turn:
        return ""
    side = "" if abs(turn) == 180 else " R" if turn > 0 else " L"
    return f"{_EIGHTHS[abs(turn)]}{side}"


def _join(*pieces: str, by: str = " ") -> str:
    return by.join(piece for piece in pieces if piece)


# ----------------------------------------------------------- put together, for one line


def call(event: Event) -> str:
    """Name an event as it is called: what, where, facing where, and what changes."""
    what = _join(label(event), place(event))
    return _join(what, f"facing {clock(event.facing)}", remark(event), by=", ")


def timed_call(event: Event) -> str:
    """Name an event as it is called, and its time."""
    return f"{call(event)}  ({clock_time(event.time_s)})"


def terminal_words(event: Tag | Restart) -> str:
    """Write a tag or restart for the table of a terminal, with all its facts."""
    facing = f"facing {clock(event.facing)}"
    if isinstance(event, Restart):
        return f"{label(event)} {place(event)}, {facing}, {_step_change(event)}"
    name = f" ({event.name})" if event.name else ""
    turned = f" to {clock(event.end_facing)}" if event.end_facing != event.facing else ""
    what = f"{CAPITALS[event.kind]} {counts_words(event.counts)}"
    return f"{what}{name} {place(event)}, {facing}{turned}"


def row_words(event: Event) -> tuple[str, str, str]:
    """Write an event for its row of a sheet, which has time, wall and facing of their own.

    Returns
    -------
    (str, str, str)
        What it is, in capitals; after which count of a wall that is cut; and all else
        that must be known of it.
    """
    cut = isinstance(event, Restart) or (isinstance(event, Tag) and event.cut_short)
    after = f"after {event.after_count}" if cut else ""
    if isinstance(event, Wall):
        return "", "", ""
    if isinstance(event, Tag):
        return label(event), after, _join(event.name, turning_words(event), by=", ")
    if isinstance(event, Ending):
        over = f"{counts_words(event.counts_over)} over" if event.counts_over else ""
        return label(event), "", _join(over, to_front(event.facing) or "facing the front", by=", ")
    return label(event), after, remark(event)


def sheet_words(event: Event) -> str:
    """Write what `row_words` says in one piece."""
    what, after, more = row_words(event)
    return _join(_join(what, after), more, by=", ")


def turning_words(tag: Tag) -> str:
    """Say where a tag turns to; nothing of one that does not turn."""
    return f"turning to {clock(tag.end_facing)}" if tag.end_facing != tag.facing else ""


def floor_words(event: Tag | Restart | Ending) -> tuple[str, str, str]:
    """Write an event to be read across a hall: where, what in capitals, and all else."""
    what, after, more = row_words(event)
    where = f"wall {event.wall}, {after}:" if after else ""
    if isinstance(event, Tag):
        what = f"{CAPITALS[event.kind]}, {counts_words(event.counts)}"
        where = where or f"{place(event)}:"
    return where, what, more


def column_words(event: Event) -> str:
    """Write what kind of event it is for a column of a table; a wall has none."""
    if isinstance(event, Wall):
        return ""
    cut = isinstance(event, Restart) or (isinstance(event, Tag) and event.cut_short)
    return f"{CAPITALS[event.kind]}{f' after {event.after_count}' if cut else ''}"


def short_words(event: Event) -> str:
    """Write an event in the few letters that a picture has room for; a wall goes unsaid."""
    if isinstance(event, Restart):
        return f"{label(event)} {event.after_count}"
    turn = _short_turn(event.facing) if isinstance(event, Ending) else ""
    return "" if isinstance(event, Wall) else _join(label(event), turn)


def chapter_name(event: Wall | Tag) -> str:
    """Name the chapter that begins with a wall or tag."""
    what = f"wall {event.wall}" if isinstance(event, Wall) else f"tag {place(event)}"
    return f"{what}, {clock(event.facing)}"


# ------------------------------------------------------------------- in running text


def change_sentences(plan: Plan) -> tuple[str, ...]:
    """List restarts and tags in the order danced; a tag and the restart after it are one line."""
    changes = (event for event in plan.events if isinstance(event, Tag | Restart))
    return tuple(
        _sentence(tuple(same_wall))
        for _, same_wall in itertools.groupby(changes, lambda event: event.wall)
    )


def _sentence(events: tuple[Tag | Restart, ...]) -> str:
    """Say the one change of a wall: a tag, a restart, or a tag and then a restart."""
    first, last = events[0], events[-1]
    if isinstance(first, Restart):
        where = f"in wall {first.wall} after count {first.after_count}"
        return f"a restart {where} ({_restart_facts(first)})"
    facts = f"({clock_time(first.time_s)}, facing {clock(first.facing)})"
    turned = f" {turning_words(first)}".rstrip()
    if isinstance(last, Restart):
        return (
            f"after count {last.after_count} of wall {last.wall} {_tag_name(first)}"
            f" {facts}{turned}, then a restart ({_restart_facts(last)})"
        )
    return f"{_tag_name(first)} {place(first)} {facts}{turned}"


def _restart_facts(restart: Restart) -> str:
    when = f"{clock_time(restart.time_s)}, facing {clock(restart.facing)}"
    return f"{when}, {_step_change(restart)}"


def _step_change(restart: Restart) -> str:
    return restart.step_change or "no change of step"


def _tag_name(tag: Tag) -> str:
    article = "an" if tag.counts in (8, 11, 18) else "a"
    named = f' "{tag.name}"' if tag.name else ""
    return f"{article} {tag.counts}-count tag{named}"


def ending_sentence(ending: Ending) -> str:
    """Say how the music leaves the dance, and how to finish to the front."""
    finish = "already to the front"
    if abs(ending.turn_to_front_deg) == 180:
        finish = "turn half to either side to finish to the front"
    elif ending.turn_to_front_deg:
        finish = f"turn {turn_words(ending.turn_to_front_deg)} to finish to the front"
    over = f", {counts_words(ending.counts_over)}" if ending.counts_over else ""
    return (
        f"the music ends at {clock_time(ending.time_s)}{over} after count {ending.after_count} of"
        f" wall {ending.wall}, facing {clock(ending.facing)}: {finish}"
    )


def counts_words(n: int) -> str:
    """Write a number of counts."""
    return f"{n} count{'' if n == 1 else 's'}"
