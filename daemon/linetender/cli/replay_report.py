"""What the verb `replay` prints."""

from pathlib import Path

import msgspec
import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from linetender.cli.plain_output import is_plain
from linetender.cli.replay_job import Redecoding, Replayed
from linetender.core.events import Event
from linetender.core.inputs import Reading
from linetender.core.instants import to_seconds
from linetender.recording.reader import TornTail
from linetender.recording.replay import Outcome
from linetender.recording.what_if import Comparison

Pair = tuple[int, Event | None, Event | None]
"""When (ns since the start), what was recorded, and what another decision gave."""


def print_outcome(outcome: Outcome) -> None:
    """Print what an exact replay found."""
    events = counted(outcome.events, "recorded event")
    if outcome.differing:
        finding = f"{counted(outcome.differing, 'difference')} beside {events}"
    elif outcome.events:
        finding = f"All {counted(outcome.events, 'event')} match"
    else:
        finding = "No events, neither recorded nor replayed"
    segments = "" if outcome.segments == 1 else f" in {outcome.segments} segments"
    typer.echo(f"{finding}: {length(outcome.session_s)} of session{segments}.")
    if outcome.differing:
        _print_pairs(
            [(each.since_start_ns, each.recorded, each.replayed) for each in outcome.differences],
            "replayed",
        )
    if outcome.differing > len(outcome.differences):
        typer.echo(f"The first {len(outcome.differences)} are shown.")
    if outcome.tail is not None:
        _print_tail(outcome.tail)
    elif not outcome.ended:
        typer.echo("The session was cut short: the file is whole, but has no end line.")


def print_comparison(comparison: Comparison) -> None:
    """Print what other settings would have changed."""
    session = f"{length(comparison.session_s)} of session"
    if not comparison.timeline:
        typer.echo(f"Nothing would have been said otherwise: {session}.")
    else:
        typer.echo(f"{counted(len(comparison.timeline), 'change')} in {session}.")
        _print_pairs(
            [(each.since_start_ns, each.recorded, each.other) for each in comparison.timeline],
            "with the other settings",
        )
    for rule, (recorded, other) in comparison.raised.items():
        change = f"{recorded} ×" if recorded == other else f"{recorded} × before, {other} × then"
        typer.echo(f"{rule} raised: {change}")
    if comparison.tail is not None:
        _print_tail(comparison.tail)


def print_redecoding(redecoding: Redecoding) -> None:
    """Print what decoding anew found, and the replay with it."""
    readings = counted(redecoding.decoded, "reading")
    if redecoding.differing:
        typer.echo(f"{grouped(redecoding.differing)} of {readings} are decoded otherwise now.")
        for each in redecoding.differences:
            typer.echo(f"  recorded {_reading(each.recorded)}, now {_reading(each.now)}")
    else:
        typer.echo(f"All {readings} are decoded alike from {counted(redecoding.frames, 'frame')}.")
    print_outcome(redecoding.outcome)


def plain(found: Replayed) -> dict[str, object]:
    """Return what was found without anything that another run would not give again."""
    if isinstance(found, Redecoding):
        return plain(found.outcome) | {
            "frames": found.frames,
            "decoded": found.decoded,
            "decoded_otherwise": found.differing,
        }
    if isinstance(found, Comparison):
        return {
            "station": found.station,
            "session_s": found.session_s,
            "timeline": found.timeline,
            "raised": found.raised,
            "lines_lost_at_end": 0 if found.tail is None else found.tail.lines,
        }
    return {
        "station": found.station,
        "software": found.software,
        "segments": found.segments,
        "session_s": found.session_s,
        "inputs": found.inputs,
        "events": found.events,
        "differing": found.differing,
        "differences": found.differences,
        "ended": found.ended,
        "lines_lost_at_end": 0 if found.tail is None else found.tail.lines,
    }


def print_json(found: Replayed | str, path: Path | None) -> None:
    """Print one JSON object on a line; with the file's name where there are many."""
    named: dict[str, object] = {} if path is None else {"file": str(path)}
    fields = {"error": found} if isinstance(found, str) else plain(found)
    typer.echo(msgspec.json.encode(named | fields).decode())


def length(session_s: float) -> str:
    """Say a duration in the two largest units that fit: 1 h 30 min, 12 min 5 s, 3.2 s."""
    if session_s < 60:
        return f"{session_s:.1f} s"
    minutes, seconds = divmod(round(session_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {seconds} s"


def grouped(number: float) -> str:
    """Write a whole number with a space between thousands, from five digits on."""
    return f"{number:,.0f}".replace(",", " ") if number >= 10_000 else f"{number:.0f}"


def counted(count: int, thing: str) -> str:
    """Write a number of things: 1 event, 2 events."""
    return f"{grouped(count)} {thing}{'' if count == 1 else 's'}"


def _print_tail(tail: TornTail) -> None:
    typer.echo(
        f"The file breaks off. After the last check line, from line {tail.line} "
        f"(byte {tail.offset}) on, {counted(tail.lines, 'line')} count as lost."
    )


def _reading(item: Reading) -> str:
    value = item.reason if item.value is None else f"{item.value:g}"
    doubt = f" ({item.doubt})" if item.doubt else ""
    return f"{item.signal} {value}{doubt} at {to_seconds(item.arrived_ns):.3f} s"


def _print_pairs(pairs: list[Pair], other: str) -> None:
    """Print what was recorded beside what another decision gave, or after it when plain."""
    if is_plain():
        for since_start_ns, left, right in pairs:
            typer.echo(f"After {to_seconds(since_start_ns):.3f} s.")
            typer.echo(f"  Recorded: {'; '.join(_event_texts(left)) or 'nothing'}.")
            typer.echo(f"  {other.capitalize()}: {'; '.join(_event_texts(right)) or 'nothing'}.")
        return
    table = Table("after (s)", "recorded", other, show_lines=True)
    for since_start_ns, left, right in pairs:
        sides = (Text("\n".join(_event_texts(side)) or "–") for side in (left, right))
        table.add_row(f"{to_seconds(since_start_ns):.3f}", *sides)
    Console().print(table)


def _event_texts(event: Event | None) -> list[str]:
    if event is None:
        return []
    fields = msgspec.to_builtins(event)
    kind = fields.pop("is")
    return [kind.replace("_", " "), *(f"{key}: {fields[key]}" for key in fields)]
