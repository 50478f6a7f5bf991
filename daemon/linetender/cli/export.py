"""The verb `export`: a session as tidy tables for a spreadsheet or a program."""

import io
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated, TextIO

import typer

from linetender.cli.replay_progress import ReplayBar
from linetender.reports.csv_table import export_session
from linetender.reports.new_file import expect_new, new_file
from linetender.reports.session_files import session_files, session_name

Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="CSV", help="Where the readings go; else beside FILE."),
]
Events = Annotated[
    Path | None,
    typer.Option("--events", metavar="CSV", help="Where the events go; else beside FILE."),
]
Derived = Annotated[
    bool, typer.Option("--derived", help="Also the air as it was judged, at each reading.")
]
Force = Annotated[bool, typer.Option("--force", help="Replace tables that are there already.")]


def export(
    recording: Annotated[Path, typer.Argument(metavar="FILE", help="A recording.")],
    out: Out = None,
    events: Events = None,
    derived: Derived = False,
    force: Force = False,
) -> None:
    """Write a session as two CSV tables: its readings and its events.

    UTF-8, a comma between fields, a point in numbers; each unit in a column of its own.
    reports/README.md explains every column. Tables hold health data: only you can read
    them (mode 0600). Further files of the session are taken along.

    Exit status: 0 done, 2 usage, 3 bad file or one that is there already.

    Example: linetender export session.jsonl --derived
    """
    files = session_files([recording])[0]
    name = session_name(files[0])
    readings_path = out or files[0].with_name(f"{name}.csv")
    events_path = events or readings_path.with_name(f"{readings_path.stem}.events.csv")
    if readings_path == events_path:
        raise typer.BadParameter("readings and events need files of their own")
    for path in (readings_path, events_path):
        expect_new(path, replaces=force)
    with ExitStack() as stack:
        tables = [
            stack.enter_context(_text(stack, path, replaces=force))
            for path in (readings_path, events_path)
        ]
        bar = stack.enter_context(ReplayBar("Exporting"))
        export_session(files, tables[0], tables[1], is_derived=derived, told=bar.told)
    typer.echo(f"Readings: {readings_path}\nEvents: {events_path}")


def _text(stack: ExitStack, path: Path, *, replaces: bool) -> TextIO:
    file = stack.enter_context(new_file(path, replaces=replaces))
    return io.TextIOWrapper(file, encoding="utf-8", newline="")
