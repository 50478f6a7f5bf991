"""What a sounder does with what the core demands."""

from linetender.annunciation.cues import sound_of
from linetender.annunciation.patterns import SOUND_PATTERNS, Edge
from linetender.annunciation.player import PatternPlayer
from linetender.core.events import Demand, Sound


class SounderSchedule:
    """The edges of one sounder.

    The core says what to sound; this finishes what has begun: of HIGH the half burst
    (five pulses), of the others the whole burst (IEC 60601-1-8, 6.10). A higher
    priority takes over at once. Hand it every demand, in order.
    """

    def __init__(self, burst: int = 0) -> None:
        """Start silent.

        Args:
            burst: The count of bursts from which the core goes on; 0 in a new run.
        """
        self._player = PatternPlayer()
        self._burst = burst

    def demand(self, demand: Demand, now_ns: int) -> None:
        """Take what the core demands from now on.

        A count of bursts that rose while the sound is silent again tells a condition
        whose sound was not handed over. It is sounded as MEDIUM: those that can kill
        latch, and would still sound.
        """
        owes = demand.burst > self._burst
        self._burst = demand.burst
        owed = demand.sound if demand.sound is not Sound.SILENT else Sound.MEDIUM
        wanted = SOUND_PATTERNS.get(demand.sound)
        self._player.play(
            sound_of(demand) if wanted is None else wanted,
            now_ns,
            owed=SOUND_PATTERNS[owed] if owes else None,
        )

    def next_edge(self) -> Edge | None:
        """Return the next edge with its instant, or None while silent."""
        return self._player.next_edge()

    def take(self, now_ns: int) -> bool:
        """Pass the next edge if it is due, and return the level to drive (True: sounding)."""
        return self._player.take(now_ns)
