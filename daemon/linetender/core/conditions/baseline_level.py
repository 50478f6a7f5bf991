"""Base of the conditions that compare with what is usual for this wearer."""

from linetender.core.conditions.baselines import Baselines
from linetender.core.conditions.condition import UNKNOWN
from linetender.core.conditions.level import NOWHERE, LevelCondition
from linetender.core.signals import Signal


class BaselineLevelCondition(LevelCondition):
    """A level whose limit moves with the baseline; unknown while there is none."""

    __slots__ = ("_baselines",)

    def __init__(self, signal: Signal, baselines: Baselines) -> None:
        super().__init__(signal)
        self._baselines = baselines

    @property
    def baseline(self) -> float | None:
        """What is usual, in the signal's unit, or None."""
        return self._baselines.get(self.signal)

    def see(self, value: float) -> None:
        """Judge a good value."""
        if self.baseline is None:
            self.verdict = UNKNOWN
        else:
            super().see(value)

    def baseline_set(self) -> None:
        """Look at the next value whatever it is: the limit has moved."""
        self.quiet = NOWHERE

    def settle(self) -> bool:
        """The use has ended, and its baseline with it: nothing is left to compare with."""
        self._present = False
        self.verdict = UNKNOWN
        self.quiet = NOWHERE
        return True
