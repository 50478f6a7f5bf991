"""Sums over the stretches of one signal: time with a value, time below limits, extremes."""

from linetender.core.instants import to_seconds
from linetender.reports.session_facts import AtTime, SignalFigures


class Tally:
    """What is summed up of one signal.

    Args:
        below: Limits; the time under each is summed (in the signal's unit).
    """

    __slots__ = ("_area", "_below_ns", "_highest", "_lowest", "good_ns")

    def __init__(self, below: tuple[float, ...]) -> None:
        self.good_ns = 0
        self._area = 0.0
        self._below_ns = dict.fromkeys(below, 0)
        self._lowest: tuple[float, int] | None = None
        self._highest: tuple[float, int] | None = None

    def take(self, from_ns: int, to_ns: int, value: float) -> None:
        """Add a stretch."""
        length_ns = to_ns - from_ns
        self.good_ns += length_ns
        self._area += value * length_ns
        if self._lowest is None or value < self._lowest[0]:
            self._lowest = (value, from_ns)
        if self._highest is None or value > self._highest[0]:
            self._highest = (value, from_ns)
        for limit in self._below_ns:
            if value < limit:
                self._below_ns[limit] += length_ns

    def figures(self, of_s: float, lost: dict[str, int], decimals: int) -> SignalFigures:
        """Return the figures.

        Args:
            of_s: Length of the time that was looked at (s).
            lost: Number of readings that were not good, by their reason.
            decimals: Digits after the point that mean something.
        """
        good_s = to_seconds(self.good_ns)
        return SignalFigures(
            of_s=of_s,
            good_s=good_s,
            coverage=min(1.0, good_s / of_s) if of_s > 0.0 else 0.0,
            mean=round(self._area / self.good_ns, decimals) if self.good_ns else None,
            lowest=_at_time(self._lowest, decimals),
            highest=_at_time(self._highest, decimals),
            below_s={f"{limit:g}": to_seconds(ns) for limit, ns in self._below_ns.items()},
            not_good=lost,
        )


def _at_time(found: tuple[float, int] | None, decimals: int) -> AtTime | None:
    return None if found is None else AtTime(round(found[0], decimals), to_seconds(found[1]))
