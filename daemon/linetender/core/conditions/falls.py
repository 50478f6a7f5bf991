"""A value that fell by so much within so long."""

from linetender.core.conditions.recent_means import RecentMeansCondition
from linetender.core.plan import Falls


class FallsCondition(RecentMeansCondition):
    """Present when the mean is `by` or more under the highest mean of the last `within_ns`."""

    __slots__ = ("_by", "_deadband")

    def __init__(self, plan: Falls) -> None:
        super().__init__(plan.signal, plan.within_ns)
        self._by = plan.by
        self._deadband = plan.deadband

    def _fall(self, mean: float) -> float:
        return max((earlier for _, earlier in self.means), default=mean) - mean

    def _begins(self, mean: float) -> bool:
        return self._fall(mean) >= self._by

    def _stays(self, mean: float) -> bool:
        return self._fall(mean) > self._by - self._deadband
