"""A value over its limit: a hose kinked beyond the tap, carbon dioxide, carbon monoxide."""

from math import nextafter

from linetender.core.conditions.level import INFINITY, LevelCondition
from linetender.core.plan import Above


class AboveCondition(LevelCondition):
    """Present over the limit, until at the limit minus deadband or under."""

    __slots__ = ("_clear", "_limit")

    def __init__(self, plan: Above) -> None:
        super().__init__(plan.signal)
        self._limit = plan.limit
        self._clear = plan.limit - plan.deadband

    def _begins(self, value: float) -> bool:
        return value > self._limit

    def _stays(self, value: float) -> bool:
        return value > self._clear

    def _quiet_while_absent(self) -> tuple[float, float]:
        return -INFINITY, self._limit

    def _quiet_while_present(self) -> tuple[float, float]:
        # Starts just over the clear limit: a value equal to it already clears.
        return nextafter(self._clear, INFINITY), INFINITY
