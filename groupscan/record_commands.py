"""Commands over the records as a whole: export, import, backup, restore, check."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from rich.table import Table

    from groupscan.records.exchange.archive import ImportReport
    from groupscan.records.exchange.shots_in import ImportPlan
    from groupscan.records.exchange.undoing import Import
    from groupscan.records.store import Store
    from groupscan.records.upkeep.finding import Finding

__all__ = ["COMMANDS"]

Home = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Folder of the records; else your own.")
]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Only say what would happen; nothing is stored.")
]
TABLES = (".csv", ".json", ".parquet")
_MOST_LINES = 40
"""More lines than this of one kind nobody reads in a terminal."""


def export(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="FILE.zip for everything, photos included; FILE.csv, .json or .parquet for a "
            "table of the shots.",
        ),
    ],
    home: Home = None,
) -> None:
    """Write the records to a file: everything, or a table of shots."""
    suffix = file.suffix.lower()
    if suffix not in (".zip", *TABLES):
        raise GroupscanError(
            f"{file} does not say what to write: end its name in .zip for everything with the "
            f"photos, or in {', '.join(TABLES)} for a table of the shots"
        )
    with _opened(home) as store:
        if suffix == ".zip":
            from groupscan.records.exchange.archive import export_archive

            manifest = export_archive(store, file)
            rows = manifest.rows
            typer.echo(
                f"Wrote {file}: {_many(rows['session'], 'session')}, {_many(rows['scan'], 'end')}, "
                f"{_many(rows['shot'], 'shot')}, {_many(len(manifest.photos), 'photo')}."
            )
            _tell_missing(manifest.missing_photos)
        else:
            from groupscan.records.exchange.shots_out import write_shots

            typer.echo(f"Wrote {file}: {_many(write_shots(store, file), 'shot')}.")


def import_file(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="FILE.zip from 'groupscan export', or FILE.csv with a row a shot."
        ),
    ],
    home: Home = None,
    dry_run: DryRun = False,
    columns: Annotated[
        str | None,
        typer.Option(
            metavar='"right=x,high=-y"', help="CSV: which column says what; else by its name."
        ),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(metavar="mm|cm|in", help="CSV: of the positions, where no name says it."),
    ] = None,
    date: Annotated[
        str | None, typer.Option(metavar="DAY", help="CSV: day of shots without one.")
    ] = None,
    shooter: Annotated[
        str | None, typer.Option(metavar="NAME", help="CSV: shooter of shots without one.")
    ] = None,
    rig: Annotated[
        str | None, typer.Option(metavar="NAME", help="CSV: rig of shots without one.")
    ] = None,
    distance: Annotated[
        str | None, typer.Option(metavar="20yd", help="CSV: distance of shots without one.")
    ] = None,
) -> None:
    """Add to the records: an archive, or a plain table of shots."""
    given = {
        "--columns": columns, "--unit": unit, "--date": date,
        "--shooter": shooter, "--rig": rig, "--distance": distance,
    }  # fmt: skip
    suffix = file.suffix.lower()
    if suffix == ".zip":
        if named := [name for name, value in given.items() if value is not None]:
            raise GroupscanError(
                f"{', '.join(named)} is for a table of shots: an archive says it all itself"
            )
        from groupscan.records.exchange.archive import import_archive

        with _opened(home) as store:
            report = import_archive(store, file, dry_run=dry_run)
            _show_report(file, report)
            _say_undo(store, report.uid)
    elif suffix in (".csv", ".txt", ".tsv"):
        from groupscan.records.exchange.shots_in import commit, plan_import, read_defaults

        defaults = read_defaults(
            day=date or "", distance=distance or "", shooter=shooter or "", rig=rig or ""
        )
        with _opened(home) as store:
            plan = plan_import(store, file, columns or "", unit=unit, defaults=defaults)
            _show_plan(plan)
            if plan.bad:
                typer.echo("Error: nothing was stored: correct the file and do it again.", err=True)
                raise typer.Exit(1)
            if not dry_run:
                commit(store, plan)
            _say_stored(dry_run, anything=plan.ends > 0)
            _say_undo(store, "" if dry_run else plan.uid)
    else:
        raise GroupscanError(
            f"{file} is neither a .zip that 'groupscan export' wrote nor a .csv of shots"
        )


def imports(
    undo: Annotated[
        int | None,
        typer.Option(metavar="N", help="Take back what came in with import N, in one step."),
    ] = None,
    bring_back: Annotated[
        int | None, typer.Option(metavar="N", help="Bring back what was taken back.")
    ] = None,
    home: Home = None,
) -> None:
    """List the files that were imported; undo an import, or bring it back."""
    if undo is not None and bring_back is not None:
        raise GroupscanError("--undo and --bring-back are two steps: give one of them")
    from groupscan.records.exchange.undoing import bring_back_import, list_imports, undo_import

    with _opened(home) as store:
        found = {one.id: one for one in list_imports(store, last=None)}
        key = undo if undo is not None else bring_back
        if key is not None and key not in found:
            raise GroupscanError(f"there is no import {key}: 'groupscan imports' lists them")
        if key is None:
            _show_imports(list(found.values()))
        elif undo is not None:
            gone = _came(undo_import(store, found[key].uid))
            typer.echo(f"Import {key} of {found[key].file} is undone: {gone} taken away.")
            typer.echo(f"'groupscan imports --bring-back {key}' brings it back with corrections.")
        else:
            stays = bring_back_import(store, found[key].uid)
            typer.echo(f"Import {key} of {found[key].file} is back: {_came(found[key].new)}.")
            if stays:
                typer.echo(
                    f"Still deleted, since another has its place by now: {', '.join(stays)}."
                )


def backup(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Where to; else a dated file beside the records."),
    ] = None,
    home: Home = None,
) -> None:
    """Back up everything into one file, while others may go on working."""
    from groupscan.records.exchange.archive import read_manifest
    from groupscan.records.upkeep.backup import backup as make_backup

    with _opened(home) as store:
        path = make_backup(store, file)
    manifest = read_manifest(path)
    size_mb = path.stat().st_size / 1e6
    typer.echo(f"Wrote {path} ({size_mb:.1f} MB) and read it back: every file in it is sound.")
    typer.echo("Keep a copy on another disk: this one may fail as a whole.")
    _tell_missing(manifest.missing_photos)


def restore(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A file that 'groupscan backup' wrote.")
    ],
    home: Home = None,
    overwrite: Annotated[
        bool,
        typer.Option("--overwrite", help="Put it in place of what is there, which is backed up."),
    ] = False,
) -> None:
    """Make the records those of a backup, exactly."""
    from groupscan.records.upkeep.backup import restore as put_back

    with _opened(home) as store:
        before = put_back(store, file, overwrite=overwrite)
        typer.echo(f"The records in {store.home} are those of {file} now.")
    if before is not None:
        typer.echo(f"What was there before is in {before}")


def check(
    home: Home = None,
    repair: Annotated[
        bool, typer.Option("--repair", help="Put right what can be without losing anything.")
    ] = False,
) -> None:
    """Check the records: database, references, photos and drafts."""
    from rich.console import Console

    from groupscan.records.upkeep.check import check_store

    with _opened(home) as store, _photos_counted() as progress:
        found = check_store(store, repair=repair, progress=progress)
        where = store.home
    if not found:
        typer.echo(f"The records in {where} are sound.")
        return
    Console().print(_findings_table(found))
    open_ones = [finding for finding in found if not finding.repaired]
    if not open_ones:
        typer.echo("All of it was repaired.")
        return
    if not repair and any(finding.safe for finding in open_ones):
        typer.echo("What is safe to repair, 'groupscan check --repair' repairs.")
    raise typer.Exit(1)


#: What the command line takes in, by name, in the order of its help.
COMMANDS: Mapping[str, Callable[..., None]] = {
    "export": export,
    "import": import_file,
    "imports": imports,
    "backup": backup,
    "restore": restore,
    "check": check,
}


@contextmanager
def _opened(home: Path | None) -> Iterator[Store]:
    from groupscan.records.store import open_store

    with closing(open_store(home)) as store:
        yield store


@contextmanager
def _photos_counted() -> Iterator[Callable[[int, int], None] | None]:
    """Give a bar on standard error when a person is watching."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task("Reading photos", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _many(count: int, one: str) -> str:
    return f"{count} {one}" if count == 1 else f"{count} {one}s"


def _tell_missing(photos: tuple[str, ...]) -> None:
    if photos:
        typer.echo(
            f"Error: {_many(len(photos), 'photo')} of the records could not be put in, since the "
            "files are missing or damaged; all else is in it. 'groupscan check' tells which.",
            err=True,
        )
        raise typer.Exit(1)


def _say_stored(dry_run: bool, *, anything: bool) -> None:
    if dry_run:
        typer.echo("A dry run: nothing was stored.")
    else:
        typer.echo("All that is new is stored." if anything else "Nothing of it is new.")


def _say_undo(store: Store, uid: str) -> None:
    from groupscan.records.exchange.undoing import list_imports

    for one in list_imports(store, last=None):
        if one.uid == uid:
            typer.echo(f"'groupscan imports --undo {one.id}' takes it back.")


def _show_imports(found: list[Import]) -> None:
    from rich.console import Console

    if not found:
        typer.echo("No file was imported yet.")
        return
    table = _table("Imports", "N", "when (UTC)", "who", "file", "what came", "undone (UTC)")
    for one in found[:_MOST_LINES]:
        undone = "" if one.undone_at is None else f"{one.undone_at:%Y-%m-%d %H:%M}"
        cells = (one.id, f"{one.at:%Y-%m-%d %H:%M}", one.actor, one.file, _came(one.new), undone)
        table.add_row(*map(_plain, cells))
    Console().print(table)
    _more(len(found))


def _came(new: Mapping[str, int]) -> str:
    outings = ("session", "scan", "shot")
    kinds = outings if any(new.get(name) for name in outings) else new
    told = [_many(new[name], _CALLED.get(name, name)) for name in kinds if new.get(name)]
    return ", ".join(told)


_CALLED = {"scan": "end", "audit": "correction"}


def _show_report(file: Path, report: ImportReport) -> None:
    from rich.console import Console

    console = Console()
    table = _table(
        f"What {file} holds", "entries", "new", "brought back", "here already", "ours by name",
        "differ: ours kept",
    )  # fmt: skip
    for name, counts in report.counts.items():
        numbers = (counts.new, counts.back, counts.known, counts.joined, counts.kept)
        if any(numbers):
            cells = [str(number) if number else "" for number in numbers]
            table.add_row(f"{_CALLED.get(name, name)}s", *cells)
    console.print(table)
    _lines(
        "Not the same here and in the archive; ours was kept:",
        [f"{one.name}: {', '.join(one.differs)}" for one in report.conflicts],
    )
    _lines(
        "Taken for ours, by name:",
        [f"{one.entry} {one.name}" for one in report.namesakes if not one.why],
    )
    _lines(
        "Of the name of one of ours, but another: put in under a new name:",
        [
            f"{one.entry} {one.name} as {one.now_called} ({'; '.join(one.why)})"
            for one in report.namesakes
            if one.why
        ],
    )
    if report.missing_photos:
        count = _many(len(report.missing_photos), "photo")
        typer.echo(f"The archive lacks {count} that it names: its maker had lost the files.")
    _say_stored(report.dry_run, anything=report.brings_anything)


def _show_plan(plan: ImportPlan) -> None:
    from rich.console import Console

    console = Console()
    table = _table(f"Columns of {plan.path}", "what", "column")
    for what, column in plan.columns.told().items():
        table.add_row(what, _plain(column))
    console.print(table)
    _show_units(plan)
    told = [
        _many(plan.sessions, "new session"), _many(plan.ends, "new end"),
        _many(plan.shots, "new shot"),
    ]  # fmt: skip
    if plan.continued:
        told.append(f"{_many(plan.continued, 'session')} continued")
    typer.echo(f"{', '.join(told)}.")
    for kind, names in plan.new.items():
        if names:
            typer.echo(f"New {kind}: {', '.join(names)}")
    _lines(
        "Not taken, since the session goes on and keeps its own:",
        [
            f"session {one.session}, {one.what}: {one.said!r}; it has "
            f"{repr(one.ours) if one.ours else 'none'}"
            for one in plan.not_taken
        ],
    )
    _lines(
        "Known ends, left out:",
        [f"row {one.row}: {_many(one.shots, 'shot')}, {one.why}" for one in plan.skipped],
    )
    if any(one.differs for one in plan.skipped):
        typer.echo(
            "Where the file has other heads or arrows, those of the records are kept. To take the "
            "file's, undo the import that brought them ('groupscan imports') and import it again."
        )
    if plan.alike:
        typer.echo(
            f"{_many(plan.alike, 'new end')} of one or two shots just where others of the file are."
        )
    if plan.bad:
        bad = _table("What is wrong", "row", "column", "what", "what to do")
        for cell in plan.bad[:_MOST_LINES]:
            bad.add_row(str(cell.row), *map(_plain, (cell.column, cell.wrong, cell.todo)))
        console.print(bad)
        _more(len(plan.bad))


_WHENCE = {
    "name": "by the column's name",
    "given": "as --unit says",
    "assumed": "assumed, since neither the column's name nor --unit says it",
}


def _show_units(plan: ImportPlan) -> None:
    """Tell what no count would show to be wrong: in which unit and from where the shots are."""
    from groupscan.units import distance_text

    alike: dict[tuple[str, str], list[str]] = {}
    for head, read_as in plan.units.items():
        alike.setdefault(read_as, []).append(head)
    for (unit, whence), heads in alike.items():
        name = "inches" if unit == "in" else unit
        typer.echo(f"Positions in {name}, {_WHENCE[whence]}: {', '.join(heads)}")
    far = [distance_text(one) or "not said" for one in plan.distances_m[:_MOST_LINES]]
    if far:
        typer.echo(f"Distance: {', '.join(far)}")
    _more(len(plan.distances_m))


def _findings_table(found: list[Finding]) -> Table:
    table = _table("What was found", "kind", "what", "what to do")
    for finding in found:
        done = "repaired: " if finding.repaired else ""
        table.add_row(finding.kind, _plain(finding.what), _plain(f"{done}{finding.advice}"))
    return table


def _lines(title: str, lines: list[str]) -> None:
    if lines:
        typer.echo(title)
        for line in lines[:_MOST_LINES]:
            typer.echo(f"  {line}")
        _more(len(lines))


def _more(count: int) -> None:
    if count > _MOST_LINES:
        typer.echo(f"  and {count - _MOST_LINES} more")


def _table(title: str, *heads: str) -> Table:
    from rich.table import Table

    typer.echo(f"{title}:")  # not as the table's own: that is broken to the table's width
    return Table(*heads)


def _plain(text: Any) -> str:
    from rich.markup import escape

    return escape(str(text))
