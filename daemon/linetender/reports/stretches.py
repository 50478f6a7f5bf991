"""For how long a reading stands: from its arrival to the next one, if that comes in time."""

from collections.abc import Callable

Take = Callable[[int, int, float], None]
"""Called with beginning and end of a stretch (ns) and the value that stood through it."""


class Stretches:
    """Turns the good readings of one signal into stretches of time.

    A good reading stands until the next reading of its signal, good or bad, and at most
    for `gap_ns`: after a longer silence nobody knows what the value is. All figures of a
    report that are times (coverage, time below a limit) are sums of stretches.

    Args:
        gap_ns: Longest time for which a value stands.
        take: Gets each stretch once it is over.
        lose: Called with the instant of each reading that is not good.
    """

    __slots__ = ("_from_ns", "_gap_ns", "_limit_ns", "_lose", "_take", "_value")

    def __init__(self, gap_ns: int, take: Take, lose: Callable[[int], None]) -> None:
        self._gap_ns = gap_ns
        self._take = take
        self._lose = lose
        self._value: float | None = None
        self._from_ns = self._limit_ns = 0

    def see(self, at_ns: int, value: float | None) -> None:
        """Take a reading; None for one that is bad or doubtful."""
        self._close(at_ns)
        self._value = value
        if value is None:
            self._lose(at_ns)
        else:
            self._from_ns = at_ns
            self._limit_ns = at_ns + self._gap_ns

    def cut(self, at_ns: int) -> None:
        """End the stretch that lasts and begin another of the same reading."""
        self._close(at_ns)
        self._from_ns = at_ns

    def end(self, at_ns: int) -> None:
        """End the stretch that lasts, and forget its value."""
        self._close(at_ns)
        self._value = None

    def _close(self, at_ns: int) -> None:
        if self._value is not None:
            end_ns = at_ns if at_ns < self._limit_ns else self._limit_ns
            if end_ns > self._from_ns:
                self._take(self._from_ns, end_ns, self._value)
