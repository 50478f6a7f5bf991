"""A value over what is usual for this person or line."""

from math import nextafter

from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.level import INFINITY, NOWHERE, LevelCondition
from linetender.core.plan import AboveBaseline


class AboveBaselineCondition(LevelCondition):
    """Present at `by` or more over the baseline; unknown while there is none."""

    __slots__ = ("_baselines", "_plan")

    def __init__(self, plan: AboveBaseline, baselines: Baselines) -> None:
        super().__init__(plan.signal)
        self._plan = plan
        self._baselines = baselines

    def see(self, value: float) -> None:
        """Judge a good value."""
        if self._baselines.get(self.signal) is None:
            self.verdict = Verdict.UNKNOWN
        else:
            super().see(value)

    def baseline_set(self) -> None:
        """Look at the next value whatever it is: the limit has moved."""
        self.quiet = NOWHERE

    def settle(self) -> bool:
        """The use has ended, and its baseline with it: nothing is left to compare with."""
        self._present = False
        self.verdict = Verdict.UNKNOWN
        self.quiet = NOWHERE
        return True

    def _limit(self) -> float:
        baseline = self._baselines[self.signal]
        return INFINITY if baseline is None else baseline + self._plan.by

    def _begins(self, value: float) -> bool:
        return value >= self._limit()

    def _stays(self, value: float) -> bool:
        return value > self._limit() - self._plan.deadband

    def _quiet_while_absent(self) -> tuple[float, float]:
        return -INFINITY, nextafter(self._limit(), -INFINITY)

    def _quiet_while_present(self) -> tuple[float, float]:
        return nextafter(self._limit() - self._plan.deadband, INFINITY), INFINITY
