"""A value outside a band: a pulse too slow or too fast."""

from math import nextafter

from linetender.core.conditions.level import NOWHERE, LevelCondition
from linetender.core.plan import Outside


class OutsideCondition(LevelCondition):
    """Present at `low` or under and at `high` or over, until inside both by the deadband.

    The limits themselves count as outside: a pulse of 40 or fewer, 150 or more.
    """

    __slots__ = ("_deadband", "_high", "_low")

    def __init__(self, plan: Outside) -> None:
        super().__init__(plan.signal)
        self._low = plan.low
        self._high = plan.high
        self._deadband = plan.deadband

    def _begins(self, value: float) -> bool:
        return not self._low < value < self._high

    def _stays(self, value: float) -> bool:
        return not self._low + self._deadband <= value <= self._high - self._deadband

    def _quiet_while_absent(self) -> tuple[float, float]:
        return _just_inside(self._low, self._high)

    def _quiet_while_present(self) -> tuple[float, float]:
        # Two intervals would be quiet here; looking at each reading is simpler.
        return NOWHERE


def _just_inside(low: float, high: float) -> tuple[float, float]:
    return nextafter(low, high), nextafter(high, low)
