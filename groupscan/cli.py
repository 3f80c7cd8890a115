"""The command line: ask, call, show. Heavy rooms are imported when a command needs them."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from groupscan.bench_commands import APPLICATION as BENCH
from groupscan.decision_commands import COMMANDS
from groupscan.errors import GroupscanError
from groupscan.gear_commands import APPLICATIONS
from groupscan.gear_commands import COMMANDS as GEAR_COMMANDS
from groupscan.record_commands import COMMANDS as RECORD_COMMANDS
from groupscan.report_commands import APPLICATION as REPORT
from groupscan.telling import retold

if TYPE_CHECKING:
    from groupscan.photo.marks.hand import KnownLength, KnownRectangle
    from groupscan.photo.scan import Scan
    from groupscan.sheets.catalogue import Sheet
    from groupscan.stats.group import Group

__all__ = ["app", "main"]

#: Options that more than one command has.
Samples = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Sample photos; else those that came.")
]
DemoHome = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Where to keep it; else a demo folder.")
]
Port = Annotated[int, typer.Option(min=1, max=65535, help="Port on 127.0.0.1.")]

app = typer.Typer(
    name="groupscan",
    help="Photos of archery practice targets in; trustworthy group numbers out.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def main() -> None:
    """Run the command line; a mistake of the user's is one sentence and exit code 2."""
    # The matrices of a scan are small: on a busy machine the threads of the library under numpy
    # wait for one another several times longer than the sums take. Heeded when numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except GroupscanError as err:
        typer.echo(f"Error: {retold(str(err), {})}", err=True)
        sys.exit(2)


@app.command()
def scan(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", help="Photos, one sheet in each.")
    ],
    sheet: Annotated[
        str | None,
        typer.Option(metavar="ID", help="Which sheet, or a sheet file (.toml); else recognised."),
    ] = None,
    shaft_mm: Annotated[
        float | None,
        typer.Option(metavar="D", min=3.0, max=12.0, help="Outer diameter of the shafts, mm."),
    ] = None,
    arrows: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="How many arrows were shot.")
    ] = None,
    distance: Annotated[
        str | None, typer.Option(metavar="40yd", help="Distance shot from, for MOA and mrad.")
    ] = None,
    known_length: Annotated[
        str | None,
        typer.Option(
            metavar='"300mm:x1,y1:x2,y2"', help="Scale by hand: two points in the photo, px."
        ),
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            metavar='"279.4x215.9mm:x1,y1:..:x4,y4"',
            help="Scale by hand: corners of a rectangle of known width x height, px.",
        ),
    ] = None,
    before: Annotated[
        Path | None,
        typer.Option(metavar="PHOTO", help="An earlier photo of the sheet: report new holes only."),
    ] = None,
    before_known_length: Annotated[
        str | None, typer.Option(metavar="...", help="As --known-length, on the earlier photo.")
    ] = None,
    before_corners: Annotated[
        str | None, typer.Option(metavar="...", help="As --corners, on the earlier photo.")
    ] = None,
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, help="Processes that scan photos side by side.")
    ] = 1,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, one line a photo.")
    ] = False,
) -> None:
    """Find the holes in photos of practice sheets and measure the groups."""
    from groupscan.workers import prepare, run_in_order

    if min(workers, len(photos)) > 1:
        prepare("groupscan.pipeline")  # which takes as long here: side by side, then
    from groupscan.photo.reading import read_photo
    from groupscan.pipeline import ScanFile
    from groupscan.units import parse_distance

    job = ScanFile(
        sheet=_sheet(sheet),
        shaft_mm=shaft_mm,
        arrows=arrows,
        hand_marks=_hand_marks(known_length, corners),
        before=read_photo(before) if before else None,
        before_marks=_hand_marks(before_known_length, before_corners, prefix="before-"),
        distance_m=parse_distance(distance, default_unit="m") if distance else None,
    )
    failed = False
    answers = run_in_order(job, photos, workers=workers)
    for path, answer in zip(photos, _progress(answers, len(photos), as_json), strict=True):
        if isinstance(answer, Exception):  # one photo must not stop the others
            failed = True
            _show_failure(path, answer, as_json)
            continue
        result, group = answer
        if as_json:
            from groupscan.pipeline import scan_to_dict

            typer.echo(_json({**scan_to_dict(result, group), "photo": str(path)}))
        else:
            _show_scan(result, group)
    if failed:
        raise typer.Exit(1)


@app.command()
def sheet(
    sheet_id: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="Which sheet; left out: list them.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where to write it; else ID.pdf here.")
    ] = None,
) -> None:
    """Write a printable sheet as PDF, or list the sheets."""
    from rich.console import Console
    from rich.table import Table

    from groupscan.sheets.catalogue import get_sheet, load_catalogue
    from groupscan.sheets.printable import write_sheet_pdf

    if sheet_id is None:
        table = Table("sheet", "what it is", "size, mm", "print it")
        for one in load_catalogue().values():
            size = f"{one.width_mm:g} x {one.height_mm:g}" if one.width_mm else "any"
            table.add_row(one.id, one.title, size, "yes" if one.fiducials else "")
        Console().print(table)
        return
    path = out or Path(f"{get_sheet(sheet_id).id}.pdf")
    write_sheet_pdf(sheet_id, path)
    typer.echo(f"Wrote {path}. Print it at 100 %, then measure the 100 mm bar with a ruler.")


@app.command()
def demo(
    samples: Samples = None,
    home: DemoHome = None,
) -> None:
    """Fill a demo club's records: an invented season, and the sample photos, scanned."""
    _fill_and_show(samples, home)


@app.command(name="app")
def run_app(
    port: Port = 8501,
    home: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Records to open; else your own.")
    ] = None,
) -> None:
    """Start the app in the browser, on this machine only."""
    from groupscan.serve import serve

    raise typer.Exit(serve(port=port, home=home))


@app.command()
def tour(
    port: Port = 8501,
    samples: Samples = None,
    home: DemoHome = None,
) -> None:
    """See the whole tool: fill the demo club's records, scan the samples, start the app."""
    from groupscan.serve import serve

    raise typer.Exit(serve(port=port, home=_fill_and_show(samples, home)))


for _command in (*COMMANDS, *GEAR_COMMANDS):
    app.command()(_command)
for _name, _command in RECORD_COMMANDS.items():
    app.command(name=_name)(_command)
for _application in (*APPLICATIONS, BENCH, REPORT):
    app.add_typer(_application)


def _fill_and_show(samples: Path | None, home: Path | None) -> Path:
    from rich.console import Console
    from rich.live import Live

    from groupscan.demo import fill_demo, told_of
    from groupscan.report.tables import summary_table

    rows: list[tuple[str, str, Group | None]] = []
    console = Console()
    live = Live(console=console, auto_refresh=False, transient=True)

    def show(scan: Scan, group: Group | None) -> None:
        rows.append((scan.photo, scan.sheet, group))
        if console.is_terminal:  # a person watches: a row as soon as it is measured
            live.update(summary_table(rows), refresh=True)

    with live:
        folder = fill_demo(samples=samples, home=home, show=show)
    console.print(summary_table(rows))
    for line in told_of(folder):
        typer.echo(line)
    return folder


def _sheet(text: str | None) -> Sheet | None:
    from groupscan.sheets.catalogue import get_sheet, read_sheet_file

    if text is None:
        return None
    return read_sheet_file(text) if text.endswith(".toml") else get_sheet(text)


def _hand_marks(
    known_length: str | None, corners: str | None, *, prefix: str = ""
) -> KnownLength | KnownRectangle | None:
    from groupscan.photo.marks.hand import parse_corners, parse_known_length

    if known_length and corners:
        msg = f"give either --{prefix}known-length or --{prefix}corners, not both"
        raise GroupscanError(msg)
    if known_length:
        return parse_known_length(known_length)
    return parse_corners(corners) if corners else None


def _progress(answers: Iterator[Any], count: int, quiet: bool) -> Iterable[Any]:
    """Yield the answers, with a bar on standard error when a person is watching."""
    if quiet or count < 2 or not sys.stderr.isatty():
        return answers
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    return track(answers, description="Scanning", total=count, console=console, transient=True)


def _show_failure(path: Path, problem: Exception, as_json: bool) -> None:
    kind, message = type(problem).__name__, retold(str(problem), {})
    if not isinstance(problem, GroupscanError):
        message = f"{path}: unexpected {kind}: {message}. Please report this photo."
        kind = "UnexpectedError"
    if as_json:
        error = {"type": kind, "message": message}
        typer.echo(_json({"photo": str(path), "error": error}))
    else:
        typer.echo(f"Error: {message}", err=True)


def _json(value: dict[str, Any]) -> str:
    """Write one line of JSON; what is no number is null, as RFC 8259 knows no NaN."""
    from groupscan.stats.plain import json_safe

    return json.dumps(json_safe(value), allow_nan=False)


def _show_scan(scan: Scan, group: Group | None) -> None:
    """One scan as a person reads it: what was recognised, the table, what to be careful about."""
    from rich.console import Console

    from groupscan.report.tables import group_tables
    from groupscan.report.words import meaning

    console = Console()
    scale = scan.scale
    console.print(
        f"\n[bold]{_plain(scan.photo)}[/bold]  {_plain(scan.sheet)}, {scale.mm_per_px:.4f} mm a "
        f"pixel (± {100 * 1.96 * scale.mm_per_px_se / scale.mm_per_px:.2g} %, {scale.source}), "
        f"tilted {scale.tilt_deg:.0f}°"
    )
    if group is not None:
        for table in group_tables(group):
            console.print(table)
        console.print(f"  {_plain(meaning(group))}")
        for note in group.notes:
            console.print(f"  {_plain(note)}", style="dim")
    for warning in scan.warnings:
        console.print(f"  ! {_plain(warning)}", style="yellow")


def _plain(text: str) -> str:
    from rich.markup import escape

    return escape(retold(text, {}))


if __name__ == "__main__":
    main()
