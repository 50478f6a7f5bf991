"""What the red and the yellow lamp do with what the core demands."""

from enum import StrEnum

from linetender.annunciation.cues import blink_of, flash_of
from linetender.annunciation.patterns import LAMP_PATTERNS, Edge, Pattern
from linetender.annunciation.player import PatternPlayer
from linetender.core.events import Demand
from linetender.core.stages import Priority


class LampColour(StrEnum):
    """Colours of IEC 60601-1-8, Table 2."""

    RED = "red"
    YELLOW = "yellow"


_LIGHTS = {
    LampColour.RED: frozenset({Priority.HIGH}),
    LampColour.YELLOW: frozenset({Priority.MEDIUM, Priority.LOW}),
}


class LampSchedule:
    """The edges of one lamp: red flashes for HIGH, yellow flashes for MEDIUM, is steady for LOW.

    Only the lamp of the highest priority is lit, so that nobody has to weigh two.
    """

    def __init__(self, colour: LampColour) -> None:
        self._player = PatternPlayer()
        self._priorities = _LIGHTS[colour]

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what the core demands from now on."""
        lit = demand.light if demand.light in self._priorities else None
        wanted = None if lit is None else LAMP_PATTERNS[lit]
        if demand.light is None:
            wanted = self._cue(demand)
        self._player.play(wanted, now_ns)

    def _cue(self, demand: Demand) -> Pattern | None:
        # Red says LEAVE and nothing else, but for the start of the check.
        if Priority.HIGH in self._priorities:
            return flash_of(demand, Priority.HIGH)
        return flash_of(demand, Priority.MEDIUM) or blink_of(demand)

    def next_edge(self) -> Edge | None:
        """Return the next edge with its instant, or None while dark or steady."""
        return self._player.next_edge()

    def take(self, now_ns: int) -> bool:
        """Pass the next edge if it is due, and return the level to drive (True: lit)."""
        return self._player.take(now_ns)
