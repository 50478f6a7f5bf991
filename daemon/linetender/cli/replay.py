"""The verb `replay`: does the recorded session give the same alarms again?"""

import time
from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
from rich.table import Table
from rich.text import Text

from linetender.cli.exit_codes import ExitCode
from linetender.core.events import Event
from linetender.core.instants import to_seconds
from linetender.recording.replay import Difference, Outcome, replay_file

BAR_AFTER_S = 1.0
"""Work that takes longer than this gets a progress bar."""


def replay(
    recording: Annotated[Path, typer.Argument(metavar="FILE", help="A recording.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the outcome as one JSON object.")
    ] = False,
) -> None:
    """Replay a recording and compare its alarms, to the nanosecond.

    Exit status: 0 all events match, 1 some differ, 3 the file cannot be read.
    """
    started_s = time.monotonic()
    with _Bar() as bar:
        outcome = replay_file(recording, told=bar.told)
    took_s = time.monotonic() - started_s
    if as_json:
        typer.echo(msgspec.json.encode(_plain(outcome)).decode())
    else:
        _print_for_people(outcome)
        rate = f" ({_grouped(outcome.session_s / took_s)} × real time)" if took_s > 0 else ""
        typer.echo(f"Replayed in {took_s:.2g} s{rate}.", err=True)
    if outcome.differing:
        raise typer.Exit(ExitCode.FINDINGS)


class _Bar:
    """A progress bar on stderr that shows itself only when the work is long."""

    def __init__(self) -> None:
        self._console = Console(stderr=True)
        self._progress = Progress(
            TextColumn("Replaying"),
            BarColumn(),
            TaskProgressColumn(),
            console=self._console,
            transient=True,
        )
        self._task = self._progress.add_task("replay", total=None)
        self._show_at_s = time.monotonic() + BAR_AFTER_S

    def __enter__(self) -> "_Bar":
        return self

    def __exit__(self, *failure: object) -> None:
        if self._progress.live.is_started:  # stopping one that never was prints a blank line
            self._progress.stop()

    def told(self, bytes_read: int, size_bytes: int) -> None:
        """Show how far the reader has come."""
        if self._console.is_terminal and time.monotonic() >= self._show_at_s:
            self._progress.start()
            self._progress.update(self._task, total=size_bytes, completed=bytes_read)


def _print_for_people(outcome: Outcome) -> None:
    events = _counted(outcome.events, "recorded event")
    if outcome.differing:
        finding = f"{_counted(outcome.differing, 'difference')} beside {events}"
    elif outcome.events:
        finding = f"All {_counted(outcome.events, 'event')} match"
    else:
        finding = "No events, neither recorded nor replayed"
    segments = "" if outcome.segments == 1 else f" in {outcome.segments} segments"
    typer.echo(f"{finding}: {_length(outcome.session_s)} of session{segments}.")
    if outcome.differing:
        Console().print(_side_by_side(outcome.differences))
    if outcome.differing > len(outcome.differences):
        typer.echo(f"The first {len(outcome.differences)} are shown.")
    for remark in _remarks(outcome):
        typer.echo(remark)


def _remarks(outcome: Outcome) -> list[str]:
    if outcome.tail is not None:
        lines = _counted(outcome.tail.lines, "line")
        return [
            f"The file breaks off. After the last check line, from line {outcome.tail.line} "
            f"(byte {outcome.tail.offset}) on, {lines} count as lost."
        ]
    if not outcome.ended:
        return ["The session was cut short: the file is whole, but has no end line."]
    return []


def _side_by_side(differences: tuple[Difference, ...]) -> Table:
    table = Table("after (s)", "recorded", "replayed", show_lines=True)
    for difference in differences:
        table.add_row(
            f"{to_seconds(difference.since_start_ns):.3f}",
            Text(_event_text(difference.recorded)),
            Text(_event_text(difference.replayed)),
        )
    return table


def _event_text(event: Event | None) -> str:
    if event is None:
        return "–"
    fields = msgspec.to_builtins(event)
    kind = fields.pop("is")
    return "\n".join([kind.replace("_", " "), *(f"{key}: {fields[key]}" for key in fields)])


def _plain(outcome: Outcome) -> dict[str, object]:
    """Return the outcome without anything that another run would not give again."""
    return {
        "station": outcome.station,
        "software": outcome.software,
        "segments": outcome.segments,
        "session_s": outcome.session_s,
        "inputs": outcome.inputs,
        "events": outcome.events,
        "differing": outcome.differing,
        "differences": outcome.differences,
        "ended": outcome.ended,
        "lines_lost_at_end": 0 if outcome.tail is None else outcome.tail.lines,
    }


def _length(session_s: float) -> str:
    """Say a duration in the two largest units that fit: 1 h 30 min, 12 min 5 s, 3.2 s."""
    if session_s < 60:
        return f"{session_s:.1f} s"
    minutes, seconds = divmod(round(session_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {seconds} s"


def _counted(count: int, thing: str) -> str:
    return f"{_grouped(count)} {thing}{'' if count == 1 else 's'}"


def _grouped(number: float) -> str:
    """Write a whole number with a space between thousands, from five digits on."""
    return f"{number:,.0f}".replace(",", " ") if number >= 10_000 else f"{number:.0f}"
