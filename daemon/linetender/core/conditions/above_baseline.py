"""A value over what is usual for this person or line."""

from math import nextafter

from linetender.core.conditions.baseline_level import BaselineLevelCondition
from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.level import INFINITY
from linetender.core.plan import AboveBaseline


class AboveBaselineCondition(BaselineLevelCondition):
    """Present at `by` or more over the baseline; unknown while there is none."""

    __slots__ = ("_plan",)

    def __init__(self, plan: AboveBaseline, baselines: Baselines) -> None:
        super().__init__(plan.signal, baselines)
        self._plan = plan

    def _limit(self) -> float:
        baseline = self.baseline
        return INFINITY if baseline is None else baseline + self._plan.by

    def _begins(self, value: float) -> bool:
        return value >= self._limit()

    def _stays(self, value: float) -> bool:
        return value > self._limit() - self._plan.deadband

    def _quiet_while_absent(self) -> tuple[float, float]:
        return -INFINITY, nextafter(self._limit(), -INFINITY)

    def _quiet_while_present(self) -> tuple[float, float]:
        return nextafter(self._limit() - self._plan.deadband, INFINITY), INFINITY
