"""Desaturations: drops of the blood oxygen under its own recent mean.

Definition: a value at least 3 (or 4) percentage points below the mean of the last 120
good seconds before the drop, for at least 10 s; a reading that is not good ends it, and
the value that ends one begins none.

Source: AASM Manual for the Scoring of Sleep and Associated Events (2012): 3 %, in the
alternative rule 4 %, 10 s. The reference, 120 good seconds of which 30 must be there, is
chosen: the manual leaves it to the scorer. It stands still while a drop lasts, so a
lasting shift to a lower level is one long drop.
"""

from collections import deque

from linetender.core.instants import SECOND_NS, to_seconds
from linetender.reports.session_facts import Desaturation, Desaturations

POINTS = (3.0, 4.0)
SHORTEST_NS = 10 * SECOND_NS
REFERENCE_NS = 120 * SECOND_NS
LEAST_REFERENCE_NS = 30 * SECOND_NS
_ROUNDING = 1e-9  # of a mean summed up in another order


class Reference:
    """The mean of the last 120 good seconds."""

    __slots__ = ("_area", "_length_ns", "_parts")

    def __init__(self) -> None:
        self._parts: deque[tuple[int, float]] = deque()
        self._length_ns = 0
        self._area = 0.0

    def take(self, length_ns: int, value: float) -> None:
        """Add a stretch, and forget what is older than the last 120 s."""
        self._parts.append((length_ns, value))
        self._length_ns += length_ns
        self._area += length_ns * value
        while self._length_ns > REFERENCE_NS:
            over_ns = self._length_ns - REFERENCE_NS
            oldest_ns, oldest = self._parts.popleft()
            gone_ns = min(over_ns, oldest_ns)
            if gone_ns < oldest_ns:
                self._parts.appendleft((oldest_ns - gone_ns, oldest))
            self._length_ns -= gone_ns
            self._area -= gone_ns * oldest

    @property
    def mean(self) -> float | None:
        """The mean, or None before 30 good seconds."""
        if self._length_ns < LEAST_REFERENCE_NS:
            return None
        return self._area / self._length_ns


class DesaturationCounter:
    """Finds the drops of one depth.

    Args:
        points: Depth (percentage points).
    """

    def __init__(self, points: float) -> None:
        self.points = points
        self.found: list[Desaturation] = []
        self._reference = Reference()
        self._from_ns = self._to_ns = 0
        self._lowest: float | None = None  # of the drop that lasts
        self._mean = 0.0

    def take(self, from_ns: int, to_ns: int, value: float) -> None:
        """Add a stretch; one that does not follow upon the last ends a drop."""
        if from_ns > self._to_ns:
            self.end()
        mean = self._reference.mean if self._lowest is None else self._mean
        if mean is None or value > mean - self.points + _ROUNDING:
            self.end()
        elif self._lowest is None:
            self._from_ns, self._lowest, self._mean = from_ns, value, mean
        else:
            self._lowest = min(self._lowest, value)
        self._to_ns = to_ns
        self._reference.take(to_ns - from_ns, value)

    def lose(self, at_ns: int) -> None:
        """A reading that is not good ends a drop."""
        self.end()

    def end(self) -> None:
        """End a drop; what was too short is none."""
        if self._lowest is not None and self._to_ns - self._from_ns >= SHORTEST_NS:
            self.found.append(
                Desaturation(
                    at_s=to_seconds(self._from_ns),
                    lasts_s=to_seconds(self._to_ns - self._from_ns),
                    reference_percent=round(self._mean, 1),
                    lowest_percent=self._lowest,
                )
            )
        self._lowest = None

    def figures(self, good_s: float) -> Desaturations:
        """Return what was found in so many good seconds."""
        self.end()
        count = len(self.found)
        return Desaturations(
            points=self.points,
            count=count,
            per_hour=round(3600.0 * count / good_s, 2) if good_s > 0.0 else None,
            each=tuple(self.found),
        )
