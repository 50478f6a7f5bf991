"""Base of the conditions that judge means over fixed windows of Watch time."""

from abc import ABC, abstractmethod

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.signals import Signal, rounded


class WindowedCondition(Condition, ABC):
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
            self.verdict = Verdict.UNKNOWN
        else:
            self._last = mean
            self.verdict = self._judge(now_ns, mean)
            self._present = self.verdict is Verdict.PRESENT or (
                self._present and self.verdict is Verdict.UNKNOWN
            )
        return self.verdict is not before

    def evidence(self) -> float | None:
        """Return the last window mean, rounded to the signal's resolution."""
        return rounded(self.signal, self._last)

    @abstractmethod
    def _judge(self, now_ns: int, mean: float) -> Verdict:
        """Take a mean and return the new verdict."""
