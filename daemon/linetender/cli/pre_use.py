"""The verb `pre-use`: begin the check, and follow it."""

from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console
from rich.live import Live

from linetender.annunciation.check_card import check_card
from linetender.cli.check_view import draw_check, verdict
from linetender.cli.control_client import (
    ControlClient,
    JsonOption,
    StationOption,
    WearerOption,
    connect,
    report,
)
from linetender.cli.exit_codes import ExitCode
from linetender.cli.plain_output import is_plain
from linetender.cli.recalling import recall_for
from linetender.core.pre_use import CheckState
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime.control_messages import Arguments, Ask
from linetender.settings.load import load_station


def pre_use(
    override: Annotated[
        str | None,
        typer.Option("--override", metavar="STEP", help="Go on without this step."),
    ] = None,
    reason: Annotated[
        str | None,
        typer.Option("--reason", metavar="TEXT", help="Why; every report shows it."),
    ] = None,
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE", help="Print a station file's card, and no more."),
    ] = None,
    no_wait: Annotated[
        bool, typer.Option("--no-wait", help="Begin it and return; do not follow it.")
    ] = False,
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Begin the check before use and follow it (Ctrl-C stops only that), or print its card.

    Exit status: 0 ready (or printed, or begun), 1 refused, 2 usage, 3 bad file, 4 no
    daemon answers.

    Example: linetender pre-use
    """
    if card is not None:
        typer.echo(check_card(load_station(card, recall=recall_for(None)).plan), nl=False)
        return
    if (override is None) != (reason is None):
        raise typer.BadParameter("--override STEP and --reason TEXT go together")
    args = Arguments(wearer=wearer, step=override or "", reason=reason or "")
    with connect(station) as client:
        _begin(client, args, as_json=as_json, quietly=not no_wait)
        if not no_wait:
            _follow_to_its_end(client, as_json=as_json)


def _begin(client: ControlClient, args: Arguments, *, as_json: bool, quietly: bool) -> None:
    """Begin the check, unless it runs; say that it was begun, unless it is followed."""
    runs = client.status().snapshot.stage is Stage.PRE_USE
    if runs and not args.step:
        if not quietly:
            typer.echo("The check is running already.")
        return
    answer = client.ask(Ask.PRE_USE, args)
    if not (quietly and answer.ok):
        report(answer, as_json=as_json, done="The check has begun; follow it: linetender pre-use")


def _follow_to_its_end(client: ControlClient, *, as_json: bool) -> None:
    try:
        last = _follow(client, as_json=as_json)
    except KeyboardInterrupt:
        return
    if last.check.state not in (CheckState.READY, CheckState.PASSED):
        raise typer.Exit(ExitCode.FINDINGS)


def _follow(client: ControlClient, *, as_json: bool) -> Snapshot:
    """Show the check until it is decided; return how the station stands then."""
    if as_json:
        for shown in client.watch():
            typer.echo(msgspec.json.encode(shown).decode())
            if _is_decided(shown.snapshot):
                return shown.snapshot
    console = Console()
    if is_plain() or not console.is_terminal:
        return _follow_plainly(client)
    with Live(console=console, auto_refresh=False) as live:
        for shown in client.watch():
            live.update(draw_check(shown.snapshot, shown.station, console.width), refresh=True)
            if _is_decided(shown.snapshot):
                return shown.snapshot
    raise AssertionError("a watch goes on until it is left")


def _follow_plainly(client: ControlClient) -> Snapshot:
    """Print a line for each step that moves on, where nothing can be drawn over."""
    for shown in client.watch():
        for line in shown.lines:
            typer.echo(line)
        if _is_decided(shown.snapshot):
            typer.echo(verdict(shown.snapshot))
            return shown.snapshot
    raise AssertionError("a watch goes on until it is left")


def _is_decided(snapshot: Snapshot) -> bool:
    return snapshot.check.state is not CheckState.RUNNING
