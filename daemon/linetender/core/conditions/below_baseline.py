"""A value under what is usual for this person: oxygen falling, wherever they live."""

from math import nextafter

from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.level import INFINITY, NOWHERE, LevelCondition
from linetender.core.plan import BelowBaseline


class BelowBaselineCondition(LevelCondition):
    """Present at `by` or more under the baseline; unknown while there is none.

    Where the baseline is usual (`normal_from` or more), also present under `also_below`.
    """

    __slots__ = ("_baselines", "_plan")

    def __init__(self, plan: BelowBaseline, baselines: Baselines) -> None:
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

    def _begins(self, value: float) -> bool:
        return value <= self._limit() or value < self._usual(0.0)

    def _stays(self, value: float) -> bool:
        deadband = self._plan.deadband
        return value < max(self._limit() + deadband, self._usual(deadband))

    def _limit(self) -> float:
        baseline = self._baselines[self.signal]
        return -INFINITY if baseline is None else baseline - self._plan.by

    def _usual(self, deadband: float) -> float:
        plan = self._plan
        baseline = self._baselines[self.signal]
        if plan.also_below is None or baseline is None or baseline < plan.normal_from:
            return -INFINITY
        return plan.also_below + deadband

    def _quiet_while_absent(self) -> tuple[float, float]:
        return max(nextafter(self._limit(), INFINITY), self._usual(0.0)), INFINITY

    def _quiet_while_present(self) -> tuple[float, float]:
        deadband = self._plan.deadband
        clear = max(self._limit() + deadband, self._usual(deadband))
        return -INFINITY, nextafter(clear, -INFINITY)
