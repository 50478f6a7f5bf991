"""How a calibration is told: to a person at a terminal, or to a program as JSON lines."""

import json
import math
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Any, Protocol

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from linetender.airline.teaching import LineState
from linetender.cli.plain_output import is_plain
from linetender.runtime.pressure_measuring import Told

WHAT_TO_DO = {
    LineState.JOINED: "Take both tubes off the sensor and join its ports by one short tube.",
    LineState.NORMAL: "Put the tubes back. Run the line as you use it, hood where it belongs.",
    LineState.FAN_OFF: "Switch the fan off and wait until it stands still.",
    LineState.PINCHED: "Fan on again. Pinch the duct about half shut, and hold it.",
    LineState.DUCT_OFF: "Let go. Pull the duct off where it would come off by itself.",
}


class Speech(Protocol):
    """Says things and shows measurements."""

    def say(self, text: str) -> None:
        """Tell something."""

    def wants(self, state: LineState) -> None:
        """Tell which state the line shall be brought into."""

    def measuring(self, what: str, seconds: float) -> AbstractContextManager[Told]:
        """Show a measurement that takes so long (s)."""


class ConsoleSpeech:
    """For people.

    Args:
        console: Where things are said.
    """

    def __init__(self, console: Console) -> None:
        self._console = console

    def say(self, text: str) -> None:
        """Print it."""
        self._console.print(text, highlight=False, markup=False)

    def wants(self, state: LineState) -> None:
        """Print what to do."""
        self.say(WHAT_TO_DO[state])

    @contextmanager
    def measuring(self, what: str, seconds: float) -> Iterator[Told]:
        """Show a bar where there is a terminal to draw on, else one line."""
        if is_plain() or not self._console.is_terminal:
            self.say(f"Measuring {what}, {seconds:g} s.")
            yield lambda *_: None
            return
        columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[now]}"))
        with Progress(*columns, console=self._console, transient=True) as bar:
            task = bar.add_task(what.capitalize(), total=seconds, now="")

            def told(done_s: float, value: float | None) -> None:
                now = "no reading" if value is None else f"{value:8.2f} Pa"
                bar.update(task, completed=done_s, now=now)

            yield told


class JsonSpeech:
    """For programs: one JSON object a line, of which `event` tells the kind."""

    def say(self, text: str) -> None:
        """Print it as `said`."""
        tell("said", text=text)

    def wants(self, state: LineState) -> None:
        """Print `wanted` with the state and what to do."""
        tell("wanted", state=state.value, text=WHAT_TO_DO[state])

    @contextmanager
    def measuring(self, what: str, seconds: float) -> Iterator[Told]:
        """Print `measuring`, then `progress` once a second with the last pressure or null."""
        tell("measuring", what=what, seconds=seconds)
        reached_s = 0

        def told(done_s: float, value: float | None) -> None:
            nonlocal reached_s
            if math.floor(done_s) > reached_s:
                reached_s = math.floor(done_s)
                tell("progress", done_s=reached_s, pressure_pa=value)

        yield told


def tell(event: str, **facts: Any) -> None:
    """Print one event as a line of JSON, at once."""
    typer.echo(json.dumps({"event": event, **facts}, ensure_ascii=False))
