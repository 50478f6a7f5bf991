"""Base of the conditions that judge means over fixed windows of Watch time."""

from abc import abstractmethod

from linetender.core.conditions.condition import PRESENT, UNKNOWN, Condition, Verdict
from linetender.core.means import MeanListener
from linetender.core.signals import Signal, rounded


class WindowedCondition(Condition, MeanListener):
    """A judgement that each closing window may change.

    Attributes:
        signal: The quantity it judges.
    """

    __slots__ = ("_last", "_present", "signal")

    VALUES = (*Condition.VALUES, "_present", "_last")

    def __init__(self, signal: Signal) -> None:
        super().__init__()
        self.signal = signal
        self._present = False
        self._last: float | None = None

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Judge the mean of a window that closed now; None when under half of it was good.

        Returns:
            Whether the verdict changed.
        """
        before = self.verdict
        if mean is None:
            self.verdict = UNKNOWN
        else:
            self._last = mean
            verdict = self._judge(now_ns, mean)
            if verdict is before:
                return False
            self.verdict = verdict
            self._present = verdict is PRESENT or (self._present and verdict is UNKNOWN)
        return self.verdict is not before

    def evidence(self) -> float | None:
        """Return the last window mean, rounded to the signal's resolution."""
        return rounded(self.signal, self._last)

    @abstractmethod
    def _judge(self, now_ns: int, mean: float) -> Verdict:
        """Take a mean and return the new verdict."""
