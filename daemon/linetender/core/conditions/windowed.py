"""Base of the conditions that judge means over fixed windows of Watch time."""

from abc import ABC, abstractmethod
from collections import deque
from typing import ClassVar

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.signals import Signal, rounded


class WindowedCondition(Condition, ABC):
    """A judgement of the latest window mean against those of the last `within_ns`.

    Attributes:
        signal: The quantity it judges.
        means: (instant, mean) of the windows within reach, oldest first.
    """

    __slots__ = ("_last", "_present", "means", "signal", "within_ns")

    VALUES = (*Condition.VALUES, "_present", "_last")
    SERIES: ClassVar[tuple[str, ...]] = ("means",)

    def __init__(self, signal: Signal, within_ns: int) -> None:
        super().__init__()
        self.signal = signal
        self.within_ns = within_ns
        self.means: deque[tuple[int, float]] = deque()
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
            return before is not Verdict.UNKNOWN
        while self.means and self.means[0][0] < now_ns - self.within_ns:
            self.means.popleft()
        self._last = mean
        self._present = self._begins(mean) or (self._present and self._stays(mean))
        self.means.append((now_ns, mean))
        self.verdict = Verdict.PRESENT if self._present else Verdict.ABSENT
        return self.verdict is not before

    def lose_history(self) -> None:
        """Forget the windows before the station was blind."""
        self.means.clear()

    def evidence(self) -> float | None:
        """Return the last window mean, rounded to the signal's resolution."""
        return rounded(self.signal, self._last)

    @abstractmethod
    def _begins(self, mean: float) -> bool:
        """Say whether this mean, after those in `means`, makes it present."""

    @abstractmethod
    def _stays(self, mean: float) -> bool:
        """Say whether this mean leaves it present."""
