"""Simulated digital lines: a test or a scenario is the hand on them and reads what they drive."""

import asyncio
from collections.abc import Callable
from typing import NamedTuple

from linetender_drivers.contracts import Clock
from linetender_drivers.edge_wait import wait_bounded
from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason

HIGHEST_GPIO = 27
"""Of the 40-pin header: GPIO 0 to 27, as on the real one."""


class OutputEdge(NamedTuple):
    """An output line that was driven to another level.

    Attributes:
        at_ns: The clock's time.
        gpio: Which line.
        high: Its new level.
    """

    at_ns: int
    gpio: int
    high: bool


class SimulatedPins:
    """The lines of a simulated 40-pin header; implements `contracts.Pins`.

    A line that nobody drives lies at the level of its pull resistor. What is
    driven before a line is claimed stays driven: a button may be held at start.

    Attributes:
        edges: Every change of an output in order, the first drive of each line included.
        on_output: Called with each such change, or None.
    """

    def __init__(self, clock: Clock) -> None:
        self.edges: list[OutputEdge] = []
        self.on_output: Callable[[OutputEdge], None] | None = None
        self._clock = clock
        self._driven: dict[int, bool] = {}
        self._inputs: dict[int, SimulatedInputLine] = {}
        self._outputs: dict[int, SimulatedOutputLine] = {}
        self._output_levels: dict[int, bool] = {}

    def input(self, gpio: int, *, pull_up: bool) -> "SimulatedInputLine":
        """Claim an input.

        Raises:
            DriverConfigError: there is no such line, or it is claimed already.
        """
        self._check_free(gpio)
        line = SimulatedInputLine(self, gpio, pull_up)
        self._inputs[gpio] = line
        return line

    def output(self, gpio: int, *, safe_high: bool) -> "SimulatedOutputLine":
        """Claim an output, driven to its safe level first.

        Raises:
            DriverConfigError: there is no such line, or it is claimed already.
        """
        self._check_free(gpio)
        line = SimulatedOutputLine(self, gpio, safe_high)
        self._outputs[gpio] = line
        self._set_output(gpio, safe_high)
        return line

    def press(self, gpio: int) -> None:
        """Connect a line to ground, as a button between it and ground does."""
        self.drive(gpio, high=False)

    def release(self, gpio: int) -> None:
        """Let go of a line: its pull resistor takes it."""
        self._with_notice(gpio, None)

    def drive(self, gpio: int, high: bool) -> None:
        """Drive a line from outside."""
        self._with_notice(gpio, high)

    def levels(self) -> dict[int, bool]:
        """Return at which level each output line was last driven, by GPIO."""
        return dict(sorted(self._output_levels.items()))

    def level(self, gpio: int) -> bool | None:
        """Say at which level an output line was last driven; None if it never was."""
        return self._output_levels.get(gpio)

    def _with_notice(self, gpio: int, driven: bool | None) -> None:
        line = self._inputs.get(gpio)
        before = line.is_high() if line else None
        if driven is None:
            self._driven.pop(gpio, None)
        else:
            self._driven[gpio] = driven
        if line and line.is_high() != before:
            line.note_edge()

    def _level_at(self, gpio: int, pull_up: bool) -> bool:
        return self._driven.get(gpio, pull_up)

    def _set_output(self, gpio: int, high: bool) -> None:
        if self._output_levels.get(gpio) is not high:
            self._output_levels[gpio] = high
            edge = OutputEdge(self._clock.now_ns(), gpio, high)
            self.edges.append(edge)
            if self.on_output is not None:
                self.on_output(edge)

    def _check_free(self, gpio: int) -> None:
        if not 0 <= gpio <= HIGHEST_GPIO:
            raise DriverConfigError(f"GPIO {gpio}", f"the header has GPIO 0 to {HIGHEST_GPIO} only")
        if gpio in self._inputs or gpio in self._outputs:
            raise DriverConfigError(
                f"GPIO {gpio}", "another device of the station has it; give each device its own"
            )

    def _give_back(self, gpio: int) -> None:
        self._inputs.pop(gpio, None)
        self._outputs.pop(gpio, None)


class SimulatedInputLine:
    """One simulated input; implements `contracts.InputLine`.

    Attributes:
        changed: Set at each change of level.
        on_edge: Called at each change of level, or None.
    """

    def __init__(self, pins: SimulatedPins, gpio: int, pull_up: bool) -> None:
        self.changed = asyncio.Event()
        self.on_edge: Callable[[], None] | None = None
        self._pins = pins
        self._gpio = gpio
        self._pull_up = pull_up
        self._closed = False
        self._edges = 0

    def is_high(self) -> bool:
        """Sample the level now.

        Raises:
            DriverError: the line was given back.
        """
        if self._closed:
            raise DriverError(f"GPIO {self._gpio}", "is closed", FailureReason.CLOSED)
        return self._pins._level_at(self._gpio, self._pull_up)

    async def edge(self, timeout_s: float) -> None:
        """Return at a change of level since the last call, or after the timeout (s)."""
        await wait_bounded(self.changed, timeout_s)

    def edges(self) -> int:
        """Return how many changes of level there were since the line was claimed."""
        return self._edges

    def note_edge(self) -> None:
        """Take note of a change of level."""
        self._edges += 1
        self.changed.set()
        if self.on_edge is not None:
            self.on_edge()

    def close(self) -> None:
        """Give the line back."""
        if not self._closed:
            self._closed = True
            self._pins._give_back(self._gpio)


class SimulatedOutputLine:
    """One simulated output; implements `contracts.OutputLine`."""

    def __init__(self, pins: SimulatedPins, gpio: int, safe_high: bool) -> None:
        self._pins = pins
        self._gpio = gpio
        self._safe_high = safe_high
        self._closed = False

    def write(self, high: bool) -> None:
        """Drive the line.

        Raises:
            DriverError: the line was given back.
        """
        if self._closed:
            raise DriverError(f"GPIO {self._gpio}", "is closed", FailureReason.CLOSED)
        self._pins._set_output(self._gpio, high)

    def close(self) -> None:
        """Drive the line to its safe level and give it back."""
        if not self._closed:
            self._pins._set_output(self._gpio, self._safe_high)
            self._closed = True
            self._pins._give_back(self._gpio)

    def lose(self) -> None:
        """Give the line back as the kernel does for a program that was killed: it keeps its level.

        Source: the Raspberry Pi kernel's default for lines whose holder is gone.
        """
        if not self._closed:
            self._closed = True
            self._pins._give_back(self._gpio)
