"""A value under its limit: too little air, too little oxygen in the blood, a low battery."""

from math import nextafter

from linetender.core.conditions.level import INFINITY, LevelCondition
from linetender.core.plan import Below


class BelowCondition(LevelCondition):
    """Present under the limit, until at the limit plus deadband or over."""

    __slots__ = ("_clear", "_limit")

    def __init__(self, plan: Below) -> None:
        super().__init__(plan.signal)
        self._limit = plan.limit
        self._clear = plan.limit + plan.deadband

    def _begins(self, value: float) -> bool:
        return value < self._limit

    def _stays(self, value: float) -> bool:
        return value < self._clear

    def _quiet_while_absent(self) -> tuple[float, float]:
        return self._limit, INFINITY

    def _quiet_while_present(self) -> tuple[float, float]:
        # Ends just under the clear limit: a value equal to it already clears.
        return -INFINITY, nextafter(self._clear, -INFINITY)
