"""A value that rose by so much within so long."""

from linetender.core.conditions.recent_means import RecentMeansCondition
from linetender.core.plan import Rises


class RisesCondition(RecentMeansCondition):
    """Present when the mean is `by` or more over the lowest mean of the last `within_ns`."""

    __slots__ = ("_by", "_deadband")

    def __init__(self, plan: Rises) -> None:
        super().__init__(plan.signal, plan.within_ns)
        self._by = plan.by
        self._deadband = plan.deadband

    def _rise(self, mean: float) -> float:
        return mean - min((earlier for _, earlier in self.means), default=mean)

    def _begins(self, mean: float) -> bool:
        return self._rise(mean) >= self._by

    def _stays(self, mean: float) -> bool:
        return self._rise(mean) > self._by - self._deadband
