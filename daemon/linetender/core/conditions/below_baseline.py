"""A value under what is usual for this person: oxygen falling, wherever they live."""

from math import nextafter

from linetender.core.conditions.baseline_level import BaselineLevelCondition
from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.level import INFINITY
from linetender.core.plan import BelowBaseline


class BelowBaselineCondition(BaselineLevelCondition):
    """Present at `by` or more under the baseline; unknown while there is none.

    Where the baseline is usual (`normal_from` or more), also present under `also_below`.
    """

    __slots__ = ("_plan",)

    def __init__(self, plan: BelowBaseline, baselines: Baselines) -> None:
        super().__init__(plan.signal, baselines)
        self._plan = plan

    def _begins(self, value: float) -> bool:
        return value <= self._limit() or value < self._usual(0.0)

    def _stays(self, value: float) -> bool:
        deadband = self._plan.deadband
        return value < max(self._limit() + deadband, self._usual(deadband))

    def _limit(self) -> float:
        baseline = self.baseline
        return -INFINITY if baseline is None else baseline - self._plan.by

    def _usual(self, deadband: float) -> float:
        plan = self._plan
        baseline = self.baseline
        if plan.also_below is None or baseline is None or baseline < plan.normal_from:
            return -INFINITY
        return plan.also_below + deadband

    def _quiet_while_absent(self) -> tuple[float, float]:
        return max(nextafter(self._limit(), INFINITY), self._usual(0.0)), INFINITY

    def _quiet_while_present(self) -> tuple[float, float]:
        deadband = self._plan.deadband
        clear = max(self._limit() + deadband, self._usual(deadband))
        return -INFINITY, nextafter(clear, -INFINITY)
