"""The verb `report`: what happened in a session, as a page, as text, as JSON."""

from pathlib import Path
from typing import Annotated

import msgspec
import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import text_of
from linetender.cli.replay_progress import ReplayBar
from linetender.recording.retention import mark_reviewed
from linetender.reports.filter_trend import filter_summaries
from linetender.reports.new_file import expect_new, new_file
from linetender.reports.page import page
from linetender.reports.session_files import session_files, session_name
from linetender.reports.session_reading import ReadSession, read_session
from linetender.reports.story import headline, story
from linetender.reports.trend_page import name_of, total, trend_page

Sessions = list[tuple[tuple[Path, ...], ReadSession]]


Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="HTML", help="Where the page goes; else beside FILE."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace a page that is there already.")]
AsJson = Annotated[
    bool, typer.Option("--json", help="Print the facts, one JSON object per session; no page.")
]
Reviewed = Annotated[
    bool, typer.Option("--reviewed", help="Note that you have looked at each session; no page.")
]


def report(
    recordings: Annotated[list[Path], typer.Argument(metavar="FILE", help="Recordings.")],
    out: Out = None,
    force: Force = False,
    as_json: AsJson = False,
    reviewed: Reviewed = False,
) -> None:
    """Tell what happened in a session: one HTML page that needs nothing else.

    A page holds health data: only you can read it (mode 0600). Several sessions give one
    page with trends. A file that `run` wrote brings along the further files of its session.

    A session with a LEAVE is kept until somebody has looked at it: --reviewed says so.

    Exit status: 0 done, 2 usage, 3 bad file or one that is there already.

    Example: linetender report session.jsonl

    Example: linetender report recordings/*.jsonl --out all.html
    """
    groups = session_files(recordings)
    target = None if (as_json or reviewed) and out is None else out or _beside(groups)
    if target is not None:
        expect_new(target, replaces=force)
    sessions = _read(groups)
    if as_json:
        for _, session in sessions:
            typer.echo(msgspec.json.encode(session.facts).decode())
    else:
        _print(sessions)
    if target is not None:
        with new_file(target, replaces=force) as file:
            file.write(_page(sessions).encode())
        if not as_json:
            typer.echo(f"\nThe whole report: {target}")
    if reviewed:
        _mark(groups, quiet=as_json)


def _beside(groups: list[tuple[Path, ...]]) -> Path:
    first = groups[0][0]
    if len(groups) == 1:
        return first.with_name(f"{session_name(first)}.report.html")
    return first.with_name(f"{session_name(first)}.and-{len(groups) - 1}-more.report.html")


def _read(groups: list[tuple[Path, ...]]) -> Sessions:
    sessions = []
    with ReplayBar("Reading") as bar:
        for number, files in enumerate(groups):

            def told(read: int, size: int, number: int = number) -> None:
                done = number + (read / size if size else 1.0)
                bar.told(round(1000 * done), 1000 * len(groups))

            sessions.append((files, read_session(files, told)))
    return sessions


def _page(sessions: Sessions) -> str:
    if len(sessions) == 1:
        return page(sessions[0][1])
    return trend_page([session for _, session in sessions])


def _print(sessions: Sessions) -> None:
    """Print what happened: all of it for one session, a line for each of many; the filter."""
    facts = [session.facts for _, session in sessions]
    if len(sessions) == 1:
        session = sessions[0][1]
        lines = [headline(session.facts), *story(session.facts, session.time_of_day)]
    else:
        lines = [total(facts)]
        lines += [f"{name_of(session)}: {headline(session.facts)}" for _, session in sessions]
    lines += filter_summaries(facts)
    plain = [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]
    typer.echo(text_of(plain))


def _mark(groups: list[tuple[Path, ...]], *, quiet: bool) -> None:
    for files in groups:
        try:
            mark = mark_reviewed(files[0])
        except ValueError as error:
            typer.echo(
                f"{error}. Nothing keeps or deletes it; there is no need to mark it.", err=True
            )
            raise typer.Exit(ExitCode.BAD_FILE) from error
        if not quiet:
            typer.echo(f"\nNoted that you have looked at it: {mark}")
