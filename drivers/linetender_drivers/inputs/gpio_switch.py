"""A switch on one or two GPIO lines: button, hook, mains contact.

Levels decide, edges only wake: after every edge, and four times a second without one,
the lines are sampled and the pure debouncer judges. So a button held at start is seen,
and a lost edge costs a quarter of a second.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from linetender_drivers.contracts import Clock, InputLine, Machine, Pins
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.inputs.debounce import Debounce, SwitchState, change_over_state
from linetender_drivers.inputs.gpio_button_spec import GpioButtonOptions
from linetender_drivers.inputs.gpio_contact_spec import GpioContactOptions
from linetender_drivers.measurements import ContactChange

NS_PER_S = 1_000_000_000

REPEAT_NS = NS_PER_S
"""The present state is said again this often, so that silence means a fault."""

POLL_NS = NS_PER_S // 4
"""Levels are sampled at least this often (chosen: still an answer for a thumb if the
thread that reports edges has died)."""

_EDGE_WITHIN_S = 3600.0
"""A wait for an edge goes on from poll to poll (chosen: to begin one costs far more)."""

_TIMER_MARGIN_S = 1e-6
"""Added to each wait, so that a timer rounded down is not asked for again and again."""


@dataclass(frozen=True)
class WiredLine:
    """One line of a switch and the side its resistor pulls it to."""

    gpio: int
    pull_up: bool


Judge = Callable[[tuple[bool, ...]], SwitchState | None]
"""From the levels (high = True) of the lines to what the switch seems to be."""


class GpioSwitch:
    """A debounced switch; implements `contracts.InputDevice`.

    Args:
        name: The device's name in the station file.
        contact: Its role there.
        pins: The chip's lines.
        clock: Whose time the debouncing counts.
        wired: The lines, in the order that `judge` wants.
        judge: What their levels mean.
    """

    def __init__(
        self,
        name: str,
        contact: str,
        pins: Callable[[], Pins],
        clock: Clock,
        wired: tuple[WiredLine, ...],
        judge: Judge,
    ) -> None:
        self._name = name
        self._contact = contact
        self._pins = pins
        self._clock = clock
        self._wired = wired
        self._judge = judge
        self._lines: tuple[InputLine, ...] = ()
        self._edges: dict[InputLine, asyncio.Future[None]] = {}
        self._looks = asyncio.Event()
        self._debounce = Debounce()
        self._said_ns = 0

    async def open(self) -> None:
        """Claim the lines.

        Raises:
            DriverError: the chip is not there, or a line cannot be claimed.
        """
        self._debounce = Debounce()
        pins = self._pins()
        claimed: list[InputLine] = []
        try:
            for line in self._wired:
                claimed.append(pins.input(line.gpio, pull_up=line.pull_up))
        except DriverError:
            for open_line in claimed:
                open_line.close()
            raise
        self._lines = tuple(claimed)
        self._looks = asyncio.Event()

    async def change(self) -> ContactChange:
        """Wait for the next change; the first is the state found, 20 ms after opening.

        The present state is repeated once a second. There is nothing to repeat until
        the state is known, which takes half a second at most.

        Raises:
            DriverError: the switch is not open, or a line cannot be read.
        """
        while True:
            if not self._lines:
                raise DriverError(self._name, "is not open", FailureReason.CLOSED)
            levels = tuple([line.is_high() for line in self._lines])
            now_ns = self._clock.now_ns()
            changed = self._debounce.look(now_ns, self._judge(levels))
            state = self._debounce.state
            if state is not None and (changed or now_ns - self._said_ns >= REPEAT_NS):
                self._said_ns = now_ns
                return ContactChange(self._contact, state.value)
            await self._next_edge((self._next_look_ns(now_ns) - now_ns) / NS_PER_S)

    async def close(self) -> None:
        """Give the lines back."""
        lines, self._lines = self._lines, ()
        edges, self._edges = self._edges, {}
        for edge in edges.values():
            edge.cancel()
        for line in lines:
            line.close()
        await asyncio.gather(*edges.values(), return_exceptions=True)

    def _next_look_ns(self, now_ns: int) -> int:
        look_ns = now_ns + POLL_NS
        due_ns = self._debounce.next_look_ns()
        if due_ns is not None:
            look_ns = min(look_ns, due_ns)
        if self._debounce.state is not None:
            look_ns = min(look_ns, self._said_ns + REPEAT_NS)
        return max(now_ns, look_ns)

    async def _next_edge(self, wait_s: float) -> None:
        for line in self._lines:
            if line not in self._edges:
                self._edges[line] = asyncio.ensure_future(line.edge(_EDGE_WITHIN_S))
                self._edges[line].add_done_callback(self._look)
        # As asyncio.wait with a timeout would, several times a second and at less cost.
        loop = asyncio.get_running_loop()
        timer = loop.call_later(wait_s + _TIMER_MARGIN_S, self._looks.set)
        try:
            await self._looks.wait()
        finally:
            timer.cancel()
        self._looks.clear()
        for line in self._lines:
            if self._edges[line].done():
                # One that failed shows when the level is read.
                await asyncio.gather(self._edges.pop(line), return_exceptions=True)

    def _look(self, _: asyncio.Future[None]) -> None:
        self._looks.set()


def open_button(
    name: str, options: GpioButtonOptions, machine: Machine, roles: tuple[str, ...]
) -> GpioSwitch:
    """Return an unopened button; pressed is `closed`."""
    wired = [WiredLine(options.no_gpio, pull_up=True)]
    judge: Judge = _closed_when_low
    if options.nc_gpio is not None:
        wired.append(WiredLine(options.nc_gpio, pull_up=True))
        judge = _change_over_to_ground
    return _switch(name, options.chip, machine, roles, tuple(wired), judge)


def open_contact(
    name: str, options: GpioContactOptions, machine: Machine, roles: tuple[str, ...]
) -> GpioSwitch:
    """Return an unopened contact."""
    wired = (WiredLine(options.gpio, pull_up=options.closed_when_low),)
    judge = _closed_when_low if options.closed_when_low else _closed_when_high
    return _switch(name, options.chip, machine, roles, wired, judge)


def _switch(
    name: str,
    chip: str,
    machine: Machine,
    roles: tuple[str, ...],
    wired: tuple[WiredLine, ...],
    judge: Judge,
) -> GpioSwitch:
    (contact,) = roles
    return GpioSwitch(name, contact, lambda: machine.pins(chip), machine.clock, wired, judge)


def _closed_when_low(levels: tuple[bool, ...]) -> SwitchState:
    return SwitchState.OPEN if levels[0] else SwitchState.CLOSED


def _closed_when_high(levels: tuple[bool, ...]) -> SwitchState:
    return SwitchState.CLOSED if levels[0] else SwitchState.OPEN


def _change_over_to_ground(levels: tuple[bool, ...]) -> SwitchState | None:
    return change_over_state(no_closed=not levels[0], nc_closed=not levels[1])
