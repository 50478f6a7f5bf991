"""What is usual for this wearer: medians of oxygen and pulse at the start of use."""

from collections.abc import Mapping
from statistics import median

from linetender.core.channel import Channel
from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.level import ANYWHERE, NOWHERE
from linetender.core.events import BaselineSet
from linetender.core.instants import NEVER_NS
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.signals import SIGNAL_FACTS, Signal, rounded

BASELINE_MEANS = 30
"""A baseline is the median of this many 1 s means of good readings."""
LOWEST_SPO2_PERCENT = 92.0
"""An oxygen baseline under this is refused: who starts so low should not start."""
HIGHEST_SPO2_PERCENT = 98.0
"""A higher one counts as this (chosen): 99 and 100 differ from it by less than the
oximeter's error, and 95 % must not look like a fall of four points."""


class WearerBaseline(MeanListener):
    """Gathers the baseline of one signal.

    Attributes:
        means: 1 s means so far, oldest first.
        gathers: Whether it gathers now.
        source: What the baseline will be marked with.
        refused: Whether the last full set was too low to be a baseline.
        closed_ns: When a window was closed last: a gap starts the gathering again.
    """

    __slots__ = (
        "_baselines",
        "_journal",
        "closed_ns",
        "gathers",
        "means",
        "refused",
        "signal",
        "source",
    )

    INSTANTS = ("closed_ns",)
    VALUES = ("gathers", "source", "refused")
    LISTS = ("means",)

    def __init__(self, signal: Signal, baselines: Baselines, journal: Journal) -> None:
        self.signal = signal
        self.means: list[float] = []
        self.gathers = False
        self.refused = False
        self.closed_ns = -NEVER_NS
        self.source = ""
        self._baselines = baselines
        self._journal = journal
        baselines[signal] = None

    @property
    def value(self) -> float | None:
        """The baseline in the signal's unit, or None."""
        return self._baselines[self.signal]

    def gather(self, source: str) -> None:
        """Begin to gather, unless there is a baseline."""
        if self.value is None:
            self.gathers, self.source, self.refused = True, source, False
            self.means = []

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Take the mean of a closed 1 s window; a bad one or a gap starts the gathering again.

        Returns:
            Whether a baseline was set or refused.
        """
        before_ns, self.closed_ns = self.closed_ns, now_ns
        if not self.gathers:
            return False
        is_gap = -NEVER_NS < before_ns < now_ns - SIGNAL_FACTS[self.signal].gap_ns
        self.means = [] if mean is None or is_gap else [*self.means, mean]
        if len(self.means) < BASELINE_MEANS:
            return False
        self._set(now_ns, median(self.means))
        return True

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Only note when the last window closed."""
        self.closed_ns = closed[-1][0]

    def quiet_means(self) -> tuple[float, float]:
        """Any, unless it gathers."""
        return NOWHERE if self.gathers else ANYWHERE

    def _set(self, now_ns: int, value: float) -> None:
        self.means = []
        if self.signal is Signal.SPO2_PERCENT and value < LOWEST_SPO2_PERCENT:
            self.refused = True
            return
        if self.signal is Signal.SPO2_PERCENT:
            value = min(value, HIGHEST_SPO2_PERCENT)
        self.gathers = self.refused = False
        self._baselines[self.signal] = value
        self._journal.events.append(
            BaselineSet(now_ns, self.signal, rounded(self.signal, value), self.source)
        )

    def discard(self, now_ns: int, source: str = "ended") -> None:
        """Forget it: the use has ended, or it is too old."""
        self.gathers = self.refused = False
        if self.value is not None:
            self._baselines[self.signal] = None
            self._journal.events.append(BaselineSet(now_ns, self.signal, None, source))

    def lose_history(self) -> None:
        """Start the gathering again: the station was blind for a while."""
        self.means = []


def wearer_baselines(
    channels: Mapping[Signal, Channel], baselines: Baselines, journal: Journal
) -> tuple[WearerBaseline, ...]:
    """Return one for each of oxygen and pulse that is measured."""
    return tuple(
        WearerBaseline(signal, baselines, journal)
        for signal in (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
        if signal in channels
    )
