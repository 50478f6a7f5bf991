"""The self-test of sounders and lamps: each pattern once, and a real alarm goes first.

Pure, as the schedules are. What is tested is the very pattern that an alarm would play.
"""

from collections.abc import Sequence
from typing import Protocol

from linetender.annunciation.lamp import LampColour
from linetender.annunciation.patterns import (
    FAILURE_PATTERN,
    LAMP_PATTERNS,
    SOUND_PATTERNS,
    Edge,
    Pattern,
)
from linetender.core.events import Demand, Sound
from linetender.core.instants import MILLISECOND_NS, NEVER_NS
from linetender.core.stages import Priority

PAUSE_NS = 1_500 * MILLISECOND_NS
"""Silence between two patterns, longer than any within one (chosen)."""

SPACING_NS = 100 * MILLISECOND_NS
"""Silence between a test that is broken off and the alarm that does it (chosen: as long as
between two pulses of HIGH)."""

FAILURE_TONES = 3
"""Tones of the failure sound that are played, as it has no end of its own."""


class Schedule(Protocol):
    """The edges that an output owes to the core."""

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what the core demands from now on."""

    def next_edge(self) -> Edge | None:
        """Return the next edge, or None."""

    def take(self, now_ns: int) -> bool:
        """Pass what is due; return the level to drive."""


def _shifted(pattern: Pattern, from_ns: int, bursts: int = 1) -> list[Edge]:
    edges = []
    for burst in range(bursts):
        start_ns = from_ns + burst * (pattern.repeat_ns() or 0)
        edges += [Edge(start_ns + edge.due_ns, edge.on) for edge in pattern.edges()]
    return edges


def sounder_test() -> tuple[Edge, ...]:
    """Return LOW, MEDIUM, HIGH and the failure sound, one after the other (ns from the start)."""
    edges: list[Edge] = []
    for pattern, bursts in (
        (SOUND_PATTERNS[Sound.LOW], 1),
        (SOUND_PATTERNS[Sound.MEDIUM], 1),
        (SOUND_PATTERNS[Sound.HIGH], 1),
        (FAILURE_PATTERN, FAILURE_TONES),
    ):
        start_ns = edges[-1].due_ns + PAUSE_NS if edges else 0
        edges += _shifted(pattern, start_ns, bursts)
    return tuple(edges)


TEST_NS = sounder_test()[-1].due_ns
"""How long the test of a sounder takes; a lamp is lit for no longer."""


def lamp_test(colour: LampColour) -> tuple[Edge, ...]:
    """Return the flashes of a lamp's highest priority, three of them (ns from the start)."""
    priority = Priority.HIGH if colour is LampColour.RED else Priority.MEDIUM
    return tuple(_shifted(LAMP_PATTERNS[priority], 0, bursts=3))


class SelfTestingSchedule:
    """A schedule with a self-test that ends as soon as the schedule has anything to do.

    Args:
        schedule: What the core demands.
        test: Edges of the self-test, from its start.
    """

    def __init__(self, schedule: Schedule, test: Sequence[Edge]) -> None:
        self._schedule = schedule
        self._test = test
        self._left: list[Edge] = []
        self._on = False
        self._test_ended_ns = -NEVER_NS
        self._start_ns = 0
        self._idle = True

    @property
    def is_testing(self) -> bool:
        """Whether the test has edges left."""
        return bool(self._left)

    def begin_test(self, now_ns: int) -> bool:
        """Begin the test, unless the output is at work; say whether it was begun."""
        if not self._idle or self._schedule.next_edge() is not None:
            return False
        if not self._left:
            self._left, self._start_ns = list(self._test), now_ns
        return True

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what the core demands; anything to sound or show breaks the test off."""
        due_ns = now_ns
        if self._on or now_ns < self._test_ended_ns + SPACING_NS:
            due_ns = (now_ns if self._on else self._test_ended_ns) + SPACING_NS
        self._schedule.demand(demand, due_ns)
        if self._schedule.next_edge() is not None:
            self.end_test(now_ns)

    def end_test(self, now_ns: int) -> None:
        """Break the test off, if one is going on."""
        if self._left:
            self._left = [Edge(now_ns - self._start_ns, False)] if self._on else []

    def next_edge(self) -> Edge | None:
        """Return the next edge: of the test while it lasts, else of the schedule."""
        if self._left:
            return Edge(self._start_ns + self._left[0].due_ns, self._left[0].on)
        return self._schedule.next_edge()

    def take(self, now_ns: int) -> bool:
        """Pass what is due; return the level to drive."""
        if not self._left:
            on = self._schedule.take(now_ns)
            self._idle = not on and self._schedule.next_edge() is None
            return on
        if self._start_ns + self._left[0].due_ns > now_ns:
            return self._on
        edge = self._left.pop(0)
        # A late caller makes a pulse longer and never swallows one.
        self._start_ns = now_ns - edge.due_ns
        self._on = edge.on
        if not edge.on:
            self._test_ended_ns = now_ns
        return self._on
