"""A slow loss that no single value shows: small deviations summed up until they cannot be chance.

The cumulative sum of E. S. Page (Biometrika 41 (1954) 100): S = max(0, S + x - k), where
x is how far a window mean lies from its reference on the wrong side. Chance alone brings
S back to 0 again and again; a shift of more than k does not.
"""

from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.windowed import WindowedCondition
from linetender.core.plan import Drift, Side
from linetender.core.signals import Signal


class DriftCondition(WindowedCondition):
    """Present from a sum over `h` on, until the sum is back at 0.

    A sum that has reached `h` grows no further: a loss that is over clears within about
    h/k windows, however long it lasted.
    """

    __slots__ = ("_baselines", "_plan", "fallen", "risen")

    VALUES = (*WindowedCondition.VALUES, "fallen", "risen")

    def __init__(self, plan: Drift, baselines: Baselines) -> None:
        super().__init__(plan.signal)
        self._plan = plan
        self._baselines = baselines
        self.fallen = 0.0
        self.risen = 0.0

    def begin(self, now_ns: int) -> None:
        """Sum up from now on: what was summed up while the fan ran up is no drift."""
        self._forget()

    def baseline_set(self) -> None:
        """Start anew where the normal moved: deviations from another cannot be added up."""
        if self._plan.reference is None or self.signal is Signal.AIR_PERCENT_OF_BASELINE:
            self._forget()

    def settle(self) -> bool:
        """The use has ended, and with it the wearer's baseline where that is the reference."""
        if self._plan.reference is not None:
            return False
        self._forget()
        return True

    def _forget(self) -> None:
        self.fallen = self.risen = 0.0
        self._present = False
        self.verdict = Verdict.UNKNOWN

    def _judge(self, now_ns: int, mean: float) -> Verdict:
        plan = self._plan
        reference = plan.reference
        if reference is None:
            reference = self._baselines.get(self.signal)
        if reference is None:
            return Verdict.UNKNOWN
        away = (mean - reference) / plan.sigma
        if plan.side is not Side.UP:
            self.fallen = max(0.0, self.fallen - away - plan.k)
        if plan.side is not Side.DOWN:
            self.risen = max(0.0, self.risen + away - plan.k)
        is_present = max(self.fallen, self.risen) > (0.0 if self._present else plan.h)
        self.fallen, self.risen = min(self.fallen, plan.h), min(self.risen, plan.h)
        return Verdict.PRESENT if is_present else Verdict.ABSENT
