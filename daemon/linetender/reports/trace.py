"""A curve in bounded memory: lowest, highest and mean of equal pieces of time.

No dip is lost, however long the session: a piece keeps its extremes. When there are too
many pieces, two become one.
"""

from typing import NamedTuple

from linetender.core.instants import MILLISECOND_NS

MOST_PIECES = 1200
"""Of one curve. Chosen: more than a page is wide in points."""

FIRST_WIDTH_NS = 200 * MILLISECOND_NS
"""Width of a piece at first: the window in which air is judged."""


class Piece(NamedTuple):
    """What a curve did in one piece of time.

    Attributes:
        at_ns: The middle of the piece, since the session began.
        low: Lowest value in it.
        high: Highest.
        mean: Mean of the readings.
    """

    at_ns: int
    low: float
    high: float
    mean: float


class Trace:
    """The curve of one signal; takes good values only, in the order of time."""

    __slots__ = ("_high", "_index", "_low", "_number", "_pieces", "_sum", "width_ns")

    def __init__(self) -> None:
        self.width_ns = FIRST_WIDTH_NS
        self._pieces: list[tuple[int, float, float, float, int]] = []
        self._index = -1
        self._low = self._high = self._sum = 0.0
        self._number = 0

    def take(self, at_ns: int, value: float) -> None:
        """Add a value (in the signal's unit) at an instant since the session began."""
        index = at_ns // self.width_ns
        if index != self._index:
            self._put_away()
            self._index = at_ns // self.width_ns  # the pieces may have become wider
            self._low = self._high = value
            self._sum, self._number = 0.0, 0
        elif value < self._low:
            self._low = value
        elif value > self._high:
            self._high = value
        self._sum += value
        self._number += 1

    def pieces(self) -> list[Piece]:
        """Return the curve, oldest first; where there was no good reading there is no piece."""
        width_ns = self.width_ns
        last = (self._index, self._low, self._high, self._sum, self._number)
        return [
            Piece(index * width_ns + width_ns // 2, low, high, total / number)
            for index, low, high, total, number in [*self._pieces, last]
            if number
        ]

    def _put_away(self) -> None:
        if self._number:
            self._pieces.append((self._index, self._low, self._high, self._sum, self._number))
        if len(self._pieces) >= MOST_PIECES:
            self._widen()

    def _widen(self) -> None:
        self.width_ns *= 2
        wider: list[tuple[int, float, float, float, int]] = []
        for index, low, high, total, number in self._pieces:
            if wider and wider[-1][0] == index // 2:
                _, low2, high2, total2, number2 = wider.pop()
                low, high = min(low, low2), max(high, high2)
                total, number = total + total2, number + number2
            wider.append((index // 2, low, high, total, number))
        self._pieces = wider
