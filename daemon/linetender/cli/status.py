"""The verb `status`: how a running station stands, once or live."""

import sys
from datetime import datetime
from typing import Annotated

import msgspec
import typer
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.text import Text

from linetender.cli.control_client import ControlClient, JsonOption, StationOption, connect
from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import text_of
from linetender.cli.live_view import LINES_KEPT, draw_station
from linetender.cli.plain_output import is_plain
from linetender.cli.plain_view import changes, standing_lines, station_lines
from linetender.cli.proof_words import due_line
from linetender.cli.replay_report import length
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority
from linetender.runtime.control_messages import Ask, BrokerView, Status
from linetender.runtime.proof_messages import ProofView


def status(
    watch: Annotated[bool, typer.Option("--watch", help="Go on showing it until Ctrl-C.")] = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show how the running station stands: stage, signals, alarms.

    Exit status: 0 no LEAVE alarm, 1 there is one, 2 usage, 4 no daemon answers.

    Example: linetender status --watch
    """
    with connect(station) as client:
        if watch:
            _watch(client, as_json=as_json)
            return
        shown = client.status()
        proof = client.ask(Ask.PROOF).proof
    if as_json:
        _print(shown)
    else:
        _show(shown)
        if isinstance(proof, ProofView):
            typer.echo(text_of([due_line(proof.dates, datetime.now().astimezone())]))
        if shown.filter_due:
            is_due = datetime.fromisoformat(shown.filter_due) <= datetime.now().astimezone()
            words = "DUE since" if is_due else "due on"
            typer.echo(f"Filter {words} {shown.filter_due[:10]}: linetender filter tells more.")
    if _must_leave(shown.snapshot):
        raise typer.Exit(ExitCode.FINDINGS)


def _show(shown: Status) -> None:
    """Print how the station stands, once."""
    if not is_plain():
        console = Console()
        console.print(_drawn(shown, None, console.width))
        return
    typer.echo(f"Station {shown.station}.")
    for line in station_lines(shown.snapshot):
        typer.echo(line)
    if shown.broker is not None:
        typer.echo(broker_line(shown.broker))


def _must_leave(snapshot: Snapshot) -> bool:
    return any(view.priority is Priority.HIGH for view in snapshot.alarms)


def _watch(client: ControlClient, *, as_json: bool) -> None:
    try:
        if as_json:
            for shown in client.watch():
                _print(shown)
        elif is_plain() or not Console().is_terminal:
            _tell(client)
        else:
            _draw(client, Console())
    except KeyboardInterrupt:
        return


def _draw(client: ControlClient, console: Console) -> None:
    lines: tuple[str, ...] = ()
    with Live(console=console, auto_refresh=False) as live:
        for shown in client.watch():
            lines = (*lines, *shown.lines)[-LINES_KEPT:]
            live.update(_drawn(shown, lines, console.width), refresh=True)


def _tell(client: ControlClient) -> None:
    """Print how the station stands, then a line for each change."""
    before: list[str] | None = None
    for shown in client.watch():
        now = list(standing_lines(shown.snapshot))
        if before is None:
            _show(shown)
        else:
            for line in (*shown.lines, *changes(before, now)):
                typer.echo(line)
        sys.stdout.flush()
        before = now


def _drawn(shown: Status, lines: tuple[str, ...] | None, width: int) -> RenderableType:
    view = draw_station(shown.snapshot, lines, shown.station, width)
    return view if shown.broker is None else Group(view, Text(broker_line(shown.broker)))


def broker_line(broker: BrokerView) -> str:
    """Say whether alerts get through."""
    ago_s = broker.confirmed_ago_s
    last = (
        "nothing confirmed yet" if ago_s is None else f"last message confirmed {length(ago_s)} ago"
    )
    waiting = f", {broker.waiting} waiting" if broker.waiting else ""
    way = "connected" if broker.connected else "NOT connected"
    return f"Broker: {way}, {last}{waiting}."


def _print(shown: Status) -> None:
    typer.echo(msgspec.json.encode(shown).decode())
