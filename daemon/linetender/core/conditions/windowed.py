"""Base of the conditions that judge means over fixed windows of Watch time."""

from abc import ABC, abstractmethod

from linetender.core.conditions.condition import PRESENT, UNKNOWN, Condition, Verdict
from linetender.core.conditions.level import NOWHERE
from linetender.core.instants import NEVER_NS
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
            self.verdict = UNKNOWN
        else:
            self._last = mean
            verdict = self._judge(now_ns, mean)
            if verdict is before:
                return False
            self.verdict = verdict
            self._present = verdict is PRESENT or (self._present and verdict is UNKNOWN)
        return self.verdict is not before

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Take (instant, mean) of windows within `quiet_means`: they leave the verdict as it is."""
        for now_ns, mean in closed:
            self.see_mean(now_ns, mean)

    def quiet_means(self) -> tuple[float, float]:
        """Return the lowest and highest mean that would surely leave the verdict as it is.

        Nowhere, unless a condition knows better: then every window is closed in time.
        """
        return NOWHERE

    def quiet_until_ns(self) -> int:
        """Return the instant from which on a mean may move what `quiet_means` returns."""
        return NEVER_NS

    def evidence(self) -> float | None:
        """Return the last window mean, rounded to the signal's resolution."""
        return rounded(self.signal, self._last)

    @abstractmethod
    def _judge(self, now_ns: int, mean: float) -> Verdict:
        """Take a mean and return the new verdict."""
