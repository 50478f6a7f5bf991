"""What the sounder of a second box does: a station's alarm, or its own failure sound."""

from linetender.annunciation.patterns import (
    FAILURE_LOOK_PATTERN,
    FAILURE_PATTERN,
    SOUND_PATTERNS,
    Edge,
)
from linetender.annunciation.player import PatternPlayer
from linetender.core.events import Demand, Sound
from linetender.far_end.box import STATION_SILENT

FAILURE_PATTERNS = {Sound.MEDIUM: FAILURE_LOOK_PATTERN, Sound.HIGH: FAILURE_PATTERN}
"""What it does about silence: LOOK, and LEAVE."""


class BoxSounder:
    """The edges of the sounder."""

    def __init__(self) -> None:
        self._player = PatternPlayer()

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what is asked for from now on."""
        patterns = FAILURE_PATTERNS if demand.rule == STATION_SILENT else SOUND_PATTERNS
        self._player.play(patterns.get(demand.sound), now_ns)

    def next_edge(self) -> Edge | None:
        """Return the next edge with its instant, or None while silent."""
        return self._player.next_edge()

    def take(self, now_ns: int) -> bool:
        """Pass the next edge if it is due, and return the level to drive (True: sounding)."""
        return self._player.take(now_ns)
