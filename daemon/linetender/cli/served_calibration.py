"""Calibrating in a world that `linetender simulate` serves: who asks, and whose hands help."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from linetender.airline.teaching import LineState
from linetender.runtime.calibration_guide import Conditions, FlowAnswer, Guide
from linetender.runtime.pressure_measuring import Told
from linetender_drivers.simulated.served_time import ServedWorld
from linetender_drivers.simulated.world_link import WorldLink
from linetender_drivers.simulated.world_wire import Fault, Pass, Request, Turn

SETTLE_S = 20.0
"""Simulated time for the fan to run up or down, between a deed and its measurement (chosen)."""

FAULT_OF_STATE = {
    LineState.JOINED: "ports_joined",
    LineState.FAN_OFF: "fan_stop",
    LineState.PINCHED: "duct_pinched",
    LineState.DUCT_OFF: "duct_off",
}
"""What is broken in a served world to bring its line into a state; the normal one needs nothing."""


class AsideGuide:
    """A person who is asked while the world's time goes on, so that a script's hands can work.

    Args:
        guide: Who asks.
        world: The station's place in the world.
    """

    def __init__(self, guide: Guide, world: ServedWorld) -> None:
        self._guide = guide
        self._world = world

    def say(self, text: str) -> None:
        """Tell something."""
        self._guide.say(text)

    def measuring(self, what: str, seconds: float) -> AbstractContextManager[Told]:
        """Show a measurement."""
        return self._guide.measuring(what, seconds)

    def conditions(self) -> Conditions:
        """Ask for the air."""
        with self._world.aside():
            return self._guide.conditions()

    def prepare(self, state: LineState) -> None:
        """Say what to do and wait until it is done."""
        with self._world.aside():
            self._guide.prepare(state)

    def resumes(self, points: int, begun_at: str) -> bool:
        """Ask whether to go on."""
        with self._world.aside():
            return self._guide.resumes(points, begun_at)

    def set_flow(self, point: int) -> bool:
        """Ask for the next setting."""
        with self._world.aside():
            return self._guide.set_flow(point)

    def flow(self, point: int) -> FlowAnswer:
        """Ask what was measured."""
        with self._world.aside():
            return self._guide.flow(point)

    def retries(self, reasons: Sequence[str]) -> bool:
        """Say why not, and ask."""
        with self._world.aside():
            return self._guide.retries(reasons)


class ServedLine:
    """The served world's line, brought into states and throttled by a hand.

    Args:
        folder: Where the world is served from.
    """

    def __init__(self, folder: Path) -> None:
        self._link = WorldLink(folder, patience_s=None)

    def bring(self, state: LineState) -> None:
        """Bring the line into a state, and let it settle."""
        self._ask(Fault(self._link.next_id(), clear=True))
        fault = FAULT_OF_STATE.get(state)
        if fault is not None:
            self._ask(Fault(self._link.next_id(), fault))
        self._settle()

    def throttle(self, closed: float) -> None:
        """Close a part of the duct's area (0 to 1), and let it settle."""
        self._ask(Turn(self._link.next_id(), "crush", closed))
        self._settle()

    def _settle(self) -> None:
        self._ask(Pass(self._link.next_id(), SETTLE_S))

    def _ask(self, request: Request) -> None:
        self._link.answer(request)

    def close(self) -> None:
        """Let go."""
        self._link.close()


@contextmanager
def served_line(folder: Path) -> Iterator[ServedLine]:
    """Lend a hand at a served world's line."""
    line = ServedLine(folder)
    try:
        yield line
    finally:
        line.close()
