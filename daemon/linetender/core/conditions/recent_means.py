"""Base of the conditions that compare the latest window mean with earlier ones."""

from abc import ABC, abstractmethod
from collections import deque
from typing import ClassVar

from linetender.core.conditions.condition import ABSENT, PRESENT, Verdict
from linetender.core.conditions.windowed import WindowedCondition
from linetender.core.signals import Signal


class RecentMeansCondition(WindowedCondition, ABC):
    """A judgement of the latest window mean against those of the last `within_ns`.

    Attributes:
        means: (instant, mean) of the windows within reach, oldest first.
        within_ns: How far back it looks.
    """

    __slots__ = ("means", "within_ns")

    SERIES: ClassVar[tuple[str, ...]] = ("means",)

    def __init__(self, signal: Signal, within_ns: int) -> None:
        super().__init__(signal)
        self.within_ns = within_ns
        self.means: deque[tuple[int, float]] = deque()

    def lose_history(self) -> None:
        """Forget the windows before the station was blind."""
        self.means.clear()

    def pass_means(self, closed: list[tuple[int, float]]) -> None:
        """Only remember them."""
        now_ns, self._last = closed[-1]
        self.means.extend(closed)
        self._forget_old(now_ns)

    def _forget_old(self, now_ns: int) -> None:
        means, oldest_ns = self.means, now_ns - self.within_ns
        while means and means[0][0] < oldest_ns:
            means.popleft()

    def _judge(self, now_ns: int, mean: float) -> Verdict:
        self._forget_old(now_ns)
        is_present = self._begins(mean) or (self._present and self._stays(mean))
        self.means.append((now_ns, mean))
        return PRESENT if is_present else ABSENT

    @abstractmethod
    def _begins(self, mean: float) -> bool:
        """Say whether this mean, after those in `means`, makes it present."""

    @abstractmethod
    def _stays(self, mean: float) -> bool:
        """Say whether this mean leaves it present."""
