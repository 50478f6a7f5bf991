"""The sign that the station watches: a level that changes only while everything moves.

It drives the green lamp, and an external timer that sounds when the changes stop.
Dark or steady means: not watched.
"""

from linetender.annunciation.patterns import Edge
from linetender.core.events import Demand
from linetender.runtime.progress import Progress

HALF_PERIOD_NS = 500_000_000
"""Half of the 1 Hz period."""


class KeepAliveSchedule:
    """Toggles each half second, as long as no part of the chain has stalled."""

    def __init__(self, progress: Progress, started_ns: int) -> None:
        self._progress = progress
        self._due_ns = started_ns + HALF_PERIOD_NS
        self._level = False

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Nothing demanded changes the sign of life."""

    def next_edge(self) -> Edge | None:
        """Return the next instant at which it may toggle."""
        return Edge(self._due_ns, not self._level)

    def take(self, now_ns: int) -> bool:
        """Toggle if it is due and everything moves; return the level."""
        if now_ns >= self._due_ns:
            self._due_ns = now_ns + HALF_PERIOD_NS
            if not self._progress.stalled(now_ns):
                self._level = not self._level
        return self._level
