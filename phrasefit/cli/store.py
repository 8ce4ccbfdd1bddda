"""``phrasefit store``: what is kept between runs, and how to look after it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _many as many
from phrasefit.cli import _options as options
from phrasefit.cli._edge import tell

_SHOWN_SIGNS = 300  # of a correction that cannot be used


def register(app: typer.Typer) -> None:
    """Add the commands to `app`."""
    group = typer.Typer(
        no_args_is_help=True, rich_markup_mode=None, help="Look after what is kept between runs."
    )
    for name, command in (
        ("info", info),
        ("verify", verify),
        ("prune", prune),
        ("export", export),
        ("import", import_),
        ("keep", keep),
        ("set-aside", set_aside),
    ):
        group.command(name)(command)
    app.add_typer(group, name="store")


def info() -> None:
    """Show where the cache is and what is in it.

    Example: phrasefit store info
    """
    from phrasefit.pipeline import analysis_version
    from phrasefit.reports.words import plural_s
    from phrasefit.store import maintenance

    with many.open_store() as store:
        found = maintenance.info(store, analysis_version())
    typer.echo(f"file         {found.path}")
    typer.echo(f"size         {found.n_bytes / 1e6:.1f} MB (file format {found.schema})")
    typer.echo(f"songs heard  {found.n_songs}, in {found.n_files} file{plural_s(found.n_files)}")
    typer.echo(f"out of date  {found.n_stale} (from another phrasefit; `store prune` removes them)")
    typer.echo(f"not usable   {found.n_failures} file{plural_s(found.n_failures)}")
    typer.echo(f"corrections  {found.n_corrections}")
    aside = found.n_set_aside
    which = "correction that no longer fits" if aside == 1 else "corrections that no longer fit"
    typer.echo(f"set aside    {aside} {which}")
    typer.echo(f"routines     {found.n_routines}")


def verify() -> None:
    """Check the cache; remove analyses that cannot be read. Exit code 1 if something was wrong.

    Example: phrasefit store verify
    """
    from phrasefit.cli._edge import EXIT_PARTIAL
    from phrasefit.store import maintenance

    with many.open_store() as store:
        troubles = maintenance.verify(store)
        moved = bool(store.notes)
    for line in troubles:
        tell(line)
    if troubles or moved:
        raise typer.Exit(EXIT_PARTIAL)
    typer.echo("all that is kept is in order")


def prune(
    gone: Annotated[
        bool,
        typer.Option("--gone", help="Also forget songs whose files are no longer there."),
    ] = False,
) -> None:
    """Throw out analyses that are out of date; corrections and routines always stay.

    Example: phrasefit store prune --gone
    """
    from phrasefit.pipeline import analysis_version
    from phrasefit.store import maintenance

    with many.open_store() as store:
        done = maintenance.prune(store, analysis_version(), gone=gone)
    typer.echo(
        f"out of date and removed: {done.n_analyses}; files forgotten: {done.n_files};"
        f" {done.n_bytes / 1e6:.1f} MB are kept"
    )


def export(
    target: Annotated[str, typer.Argument(metavar="FILE", help="The JSON file; - prints it.")],
    force: options.Force = False,
) -> None:
    """Write all corrections and kept routines to a file, for another computer or as a backup.

    Example: phrasefit store export corrections.json
    """
    from phrasefit.cli._edge import emit
    from phrasefit.cli._song import check_targets
    from phrasefit.serial import dump_json
    from phrasefit.store.exchange import export_document
    from phrasefit.store.records import in_words

    check_targets((target,), force=force)
    with many.open_store() as store:
        records = store.user_records()
    emit(dump_json(export_document(records)), target, force=force)
    typer.echo(f"wrote {in_words(records)}", err=True)


def import_(
    source: Annotated[Path, typer.Argument(metavar="FILE", help="A file made by store export.")],
) -> None:
    """Take over corrections and routines; of two for the same song the later one stays.

    Example: phrasefit store import corrections.json
    """
    from collections import Counter

    from phrasefit.errors import CacheError
    from phrasefit.store.exchange import read_export

    try:
        text = source.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as exc:
        raise CacheError(f"{source}: cannot be read ({exc}); check the name") from exc
    records = read_export(text, name=str(source))
    with many.open_store() as store:
        taken = store.merge_records(records)
    n = Counter(record.table for record in records)
    typer.echo(
        f"took over {taken['correction']} of {n['correction']} corrections"
        f" and {taken['routine']} of {n['routine']} routines"
    )


def keep(
    routines: Annotated[list[Path], typer.Argument(help="Routine files (TOML).")],
) -> None:
    """Keep routines, so that `phrasefit suits SONG` tries them without naming files.

    Example: phrasefit store keep borrowed-teaspoons.toml
    """
    from phrasefit.routine.spec import load_routine

    read = [(load_routine(path).name, path) for path in routines]
    with many.open_store() as store:
        for name, path in read:
            store.put_routine(name, path.read_text(encoding="utf-8"))
            tell(f"kept {name}")


def set_aside(
    drop: Annotated[
        list[str] | None,
        typer.Option("--drop", metavar="KEY", help="Remove this one for good."),
    ] = None,
) -> None:
    """List corrections that no longer fit their songs and are out of use, or drop them.

    A song whose correction is set aside is shown as it was heard; correct it again.

    Example: phrasefit store set-aside

    Example: phrasefit store set-aside --drop 5f1c09aa21be
    """
    from phrasefit.errors import ParameterError

    with many.open_store() as store:
        for key in drop or ():
            if not store.drop_set_aside(key):
                raise ParameterError(
                    f"--drop {key}: nothing is set aside under that key;"
                    " `phrasefit store set-aside` lists the keys"
                )
            typer.echo(f"dropped {key}")
        aside = store.corrections_set_aside()
        path_of = {key: path for path, (_, _, key) in store.files().items()}
    for one in () if drop else aside:
        song = path_of.get(one.name, one.name)
        kept = str(one.kept)[:_SHOWN_SIGNS]
        for line in (f"{one.key}  {song}", f"    {one.reason}", f"    {kept}"):
            tell(line)
    if not aside and not drop:
        typer.echo("nothing is set aside")
