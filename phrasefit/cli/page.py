"""``phrasefit page SONG ROUTINE``: a rehearsal page for browser or tablet, in one file.

May import: everything, inside the command body.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _plan as options

if TYPE_CHECKING:
    from phrasefit.model import FitPlan
    from phrasefit.pipeline import Analysis
    from phrasefit.reports.page import Level, Origin, Recording

MEDIA_TYPES = {
    ".mp3": "audio/mpeg",
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".ogg": "audio/ogg",
    ".oga": "audio/ogg",
    ".opus": "audio/ogg",
    ".m4a": "audio/mp4",
    ".aac": "audio/aac",
}
MOST_EMBEDDED_BYTES = 60_000_000  # a browser on a tablet still opens a file of this size


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("page", short_help="A rehearsal page for browser or tablet.")(page)


def page(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="An .html file (else named after the song).")
    ] = None,
    embed: Annotated[
        bool, typer.Option("--embed", help="Put the song into the page; mind its license.")
    ] = False,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    changes: options.Changes = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Make a rehearsal page: count, wall, facing and cues in step with the song.

    It opens from disk in any browser, asks nothing of the network, plays your own song
    file or clicks, and takes corrections, which "phrasefit correct" then applies.

    Example: phrasefit page song.mp3 routine.toml --out page.html

    Example: phrasefit page --map map.json --counts 32 --walls 4
    """
    from phrasefit.cli._edge import parse_time
    from phrasefit.files import write_atomic
    from phrasefit.fit import fit_routine
    from phrasefit.reports.page import page as made

    if map_path is not None and song is not None and routine is None:
        song, routine = None, song  # with --map the only argument is the routine
    source = song or map_path
    target = out or Path(f"{source.stem if source else 'song'}.html")
    recording = recording_of(song, target) if embed else None
    dance = options.routine_of(routine, counts=counts, walls=walls, waltz=waltz)
    bar_map, beats_per_count, analysis = _heard_or_read(
        song, map_path, target, force=force, no_cache=no_cache
    )
    fit = fit_routine(
        bar_map,
        dance,
        start_s=None if start_at is None else parse_time(start_at),
        beats_per_count=beats_per_count,
    )
    origin = origin_of(analysis, fit) if analysis else None
    text = made(fit, options.chosen(fit, changes), origin=origin, recording=recording)
    write_atomic(target, text, force=force)
    typer.echo(f"wrote {target}")
    if embed:
        typer.echo(
            "the page carries the recording: keep it to yourself unless your license allows more"
        )


def _heard_or_read(
    song: Path | None, map_path: Path | None, target: Path, *, force: bool, no_cache: bool
):
    """Give the bar map, the level a person chose, and the analysis if a song was heard."""
    from phrasefit.cli._song import heard

    if map_path is not None or song is None:
        bar_map, level = options.bar_map_of(song, map_path, targets=(target,), force=force)
        return bar_map, level, None
    analysis = heard(song, no_cache=no_cache, targets=(target,), force=force)
    return analysis.bar_map, 1.0 if analysis.correction.level else None, analysis


def recording_of(song: Path | None, target: Path) -> Recording:
    """Read the song file for the page to carry.

    Raises
    ------
    ParameterError
        If there is no song file, or a browser would not play or hold it.
    AudioError
        If it cannot be read.
    """
    from phrasefit.errors import AudioError, ParameterError
    from phrasefit.reports.page import Recording

    if song is None:
        raise ParameterError("--embed needs the song file; give it in place of --map")
    kind = MEDIA_TYPES.get(song.suffix.lower())
    if kind is None:
        known = ", ".join(MEDIA_TYPES)
        raise ParameterError(f"{song}: --embed knows {known}; convert the song to one of them")
    try:
        content = song.read_bytes()
    except OSError as exc:
        raise AudioError(f"{song}: cannot be read ({exc.strerror}); give another file") from exc
    if len(content) > MOST_EMBEDDED_BYTES:
        raise ParameterError(
            f"{song}: {len(content) / 1e6:.0f} MB are too many for {target.name};"
            " leave --embed out and open the song in the page, or use an MP3"
        )
    return Recording(media_type=kind, content=content)


def origin_of(analysis: Analysis, fit: FitPlan) -> Origin:
    """Say what corrections made in the page refer to, and what half and double would be."""
    from phrasefit.reports.page import Origin

    levels = [
        level for change in (0.5, 2.0, 1.0, 0.25, 4.0) if (level := _level(analysis, fit, change))
    ]
    pace = fit.grid.counts_per_minute

    def at(factor: float) -> Level | None:
        return next((x for x in levels if abs(_pace(x) / (pace * factor) - 1) < 0.03), None)

    return Origin(info=analysis.info, correction=analysis.correction, half=at(0.5), double=at(2.0))


def _pace(level: Level) -> float:
    from phrasefit.fit.grid import beat_tempo

    return beat_tempo(level.bar_map) / level.beats_per_count


def _level(analysis: Analysis, fit: FitPlan, change: float) -> Level | None:
    """Count the song at another level, exactly as `correct` would; None if it cannot be."""
    from phrasefit.errors import PhrasefitError
    from phrasefit.fit.grid import count_grid
    from phrasefit.pipeline import UNTOUCHED, corrected, merged
    from phrasefit.reports.page import Level

    try:
        total = merged(analysis.correction, replace(UNTOUCHED, level=change), analysis.bar_map)
        bar_map = corrected(analysis, total).bar_map
        grid = count_grid(
            bar_map, routine=fit.routine, beats_per_count=1.0 if total.level else None
        )
    except PhrasefitError:
        return None
    return Level(change=change, bar_map=bar_map, beats_per_count=grid.beats_per_count)
