"""The sign that the station watches: a level that changes only while everything moves.

It drives the green lamp, and an external timer that sounds when the changes stop.
Dark or steady means: not watched.
"""

from linetender.annunciation.cues import blink_of
from linetender.annunciation.patterns import Edge
from linetender.annunciation.player import PatternPlayer
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


class WatchLampSchedule:
    """The green lamp: the sign of life, and a cue's blinks while one is put.

    Whatever it shows, it stands still when a part of the chain has stalled.
    """

    def __init__(self, progress: Progress, started_ns: int) -> None:
        self._sign = KeepAliveSchedule(progress, started_ns)
        self._progress = progress
        self._player = PatternPlayer()
        self._level = False

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what the core demands from now on."""
        self._player.play(blink_of(demand), now_ns)

    def next_edge(self) -> Edge | None:
        """Return the next edge: of the cue while there is one, else of the sign of life."""
        return self._player.next_edge() or self._sign.next_edge()

    def take(self, now_ns: int) -> bool:
        """Pass what is due; return the level to drive."""
        if self._player.next_edge() is None:
            self._level = self._sign.take(now_ns)
        else:
            level = self._player.take(now_ns)
            if not self._progress.stalled(now_ns):
                self._level = level
        return self._level
