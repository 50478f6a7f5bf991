"""A sudden unexplained rise: beside the fan, a duct torn off downstream reads as more air."""

from linetender.core.conditions.condition import ABSENT, UNKNOWN
from linetender.core.conditions.level import INFINITY, NOWHERE
from linetender.core.conditions.recent_means import RecentMeansCondition
from linetender.core.plan import Jumps


class JumpsCondition(RecentMeansCondition):
    """Present when the mean exceeds `above` having been under `from_below` within `within_ns`.

    Stays present, however long, until a mean is at `until` or under or the air
    baseline is set: a duct that stays off must not become the new normal.
    """

    __slots__ = ("_plan",)

    def __init__(self, plan: Jumps) -> None:
        super().__init__(plan.signal, plan.within_ns)
        self._plan = plan

    def baseline_set(self) -> None:
        """Start anew: percentages of another baseline cannot be compared."""
        self.means.clear()
        self._present = False
        self.verdict = UNKNOWN

    def quiet_means(self) -> tuple[float, float]:
        """While absent, no mean up to `above` begins it."""
        is_absent = self.verdict is ABSENT
        return (-INFINITY, self._plan.above) if is_absent else NOWHERE

    def _begins(self, mean: float) -> bool:
        return mean > self._plan.above and any(
            earlier < self._plan.from_below for _, earlier in self.means
        )

    def _stays(self, mean: float) -> bool:
        return mean > self._plan.until
