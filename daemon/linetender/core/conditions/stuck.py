"""A frozen sensor: it answers, and always the same."""

from linetender.core.conditions.condition import ABSENT, PRESENT, UNKNOWN, Condition
from linetender.core.plan import Stuck
from linetender.core.signals import Signal, rounded


class StuckCondition(Condition):
    """Present when good readings kept coming and their value stayed identical for `after_ns`.

    A value is the sensor's raw word over a constant, so equal values are equal words.
    """

    __slots__ = ("_after_ns", "_value", "signal")

    VALUES = (*Condition.VALUES, "_value")

    def __init__(self, plan: Stuck) -> None:
        super().__init__()
        self.signal: Signal = plan.signal
        self._after_ns = plan.after_ns
        self._value: float | None = None

    def see_moved(self, now_ns: int, moved_ns: int, value: float | None) -> bool:
        """Judge, as a window of readings closes, when the value moved last.

        Args:
            now_ns: The instant.
            moved_ns: When a good value last differed from the one before.
            value: The last good value; None when under half of the window was good:
                then nothing is known.

        Returns:
            Whether the verdict changed.
        """
        before = self.verdict
        if value is None:
            self.verdict = UNKNOWN
        else:
            is_stuck = now_ns - moved_ns >= self._after_ns
            self.verdict = PRESENT if is_stuck else ABSENT
            self._value = value
        return self.verdict is not before

    def pass_window(self, value: float) -> None:
        """Note the value that closed a window before `quiet_until_ns`."""
        self._value = value

    def quiet_until_ns(self, moved_ns: int) -> int:
        """Return until when it surely stays absent, if the value moved last then."""
        return moved_ns + self._after_ns

    def evidence(self) -> float | None:
        """Return the value that does not move."""
        return rounded(self.signal, self._value)
