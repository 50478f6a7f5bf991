"""All that is gathered of one signal while a session is read."""

from collections import Counter

from linetender.core.inputs import Reading
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.reports.desaturation import POINTS, DesaturationCounter
from linetender.reports.session_facts import Desaturations, SignalFigures
from linetender.reports.stretches import Stretches
from linetender.reports.tally import Tally
from linetender.reports.trace import Trace


class _Sums:
    """Figures over one part of a session: all of it, or while the hood was worn."""

    def __init__(self, signal: Signal, below: tuple[float, ...]) -> None:
        self.tally = Tally(below)
        points = POINTS if signal is Signal.SPO2_PERCENT else ()
        self.drops = tuple(DesaturationCounter(depth) for depth in points)

    def take(self, from_ns: int, to_ns: int, value: float) -> None:
        self.tally.take(from_ns, to_ns, value)
        for drops in self.drops:
            drops.take(from_ns, to_ns, value)

    def lose(self, at_ns: int) -> None:
        for drops in self.drops:
            drops.lose(at_ns)


class SignalRecord:
    """Gathers one signal.

    Attributes:
        trace: Its curve; without one no curve is kept.
        is_worn: Whether the hood is worn now.
    """

    def __init__(self, signal: Signal, below: tuple[float, ...], *, drawn: bool) -> None:
        self.signal = signal
        self.trace = Trace() if drawn else None
        self.is_worn = False
        self._all = _Sums(signal, below)
        self._worn = _Sums(signal, below)
        self._not_good: Counter[str] = Counter()
        self._not_good_worn: Counter[str] = Counter()
        self._stretches = Stretches(SIGNAL_FACTS[signal].gap_ns, self._take, self._lose)

    def see(self, at_ns: int, value: float) -> None:
        """Take a good value at an instant since the session began."""
        self._stretches.see(at_ns, value)
        if self.trace is not None:
            self.trace.take(at_ns, value)

    def miss(self, at_ns: int, reading: Reading) -> None:
        """Take a reading that is not good."""
        reason = reading.reason or reading.doubt or "unknown"
        self._not_good[reason] += 1
        if self.is_worn:
            self._not_good_worn[reason] += 1
        self._stretches.see(at_ns, None)

    def turn(self, at_ns: int, *, is_worn: bool) -> None:
        """From here on the hood is worn, or is not."""
        self._stretches.cut(at_ns)
        self.is_worn = is_worn

    def end(self, at_ns: int) -> None:
        """End a segment."""
        self._stretches.end(at_ns)
        self._lose(at_ns)

    def figures(self, of_s: float, *, over_worn: bool) -> SignalFigures:
        """Return its figures over so many seconds."""
        sums, lost = (self._worn, self._not_good_worn) if over_worn else (self._all, self._not_good)
        decimals = SIGNAL_FACTS[self.signal].decimals
        return sums.tally.figures(of_s, dict(sorted(lost.items())), decimals)

    def desaturations(self, *, over_worn: bool) -> tuple[Desaturations, ...]:
        """Return the drops of each depth; nothing for signals other than the blood oxygen."""
        sums = self._worn if over_worn else self._all
        good_s = sums.tally.good_ns / 1e9
        return tuple(drops.figures(good_s) for drops in sums.drops)

    def _take(self, from_ns: int, to_ns: int, value: float) -> None:
        self._all.take(from_ns, to_ns, value)
        if self.is_worn:
            self._worn.take(from_ns, to_ns, value)

    def _lose(self, at_ns: int) -> None:
        self._all.lose(at_ns)
        if self.is_worn:
            self._worn.lose(at_ns)
