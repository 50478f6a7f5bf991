"""When the wearer owes a sign of life: a press of the button, or a good pulse."""

from linetender.core.channel import Channel
from linetender.core.instants import NEVER_NS
from linetender.core.plan import CheckInPlan


class CheckIn:
    """Counts from the last sign of life while the hood is worn.

    Attributes:
        sign_ns: The last press, or the instant at which the hood was put on.
        is_worn: Whether it counts at all.
    """

    __slots__ = ("_plan", "_pulse", "is_worn", "sign_ns")

    INSTANTS = ("sign_ns",)
    VALUES = ("is_worn",)

    def __init__(self, plan: CheckInPlan | None, pulse: Channel | None) -> None:
        self._plan = plan
        self._pulse = pulse
        self.is_worn = False
        self.sign_ns = -NEVER_NS

    def sign(self, now_ns: int) -> None:
        """Note a press."""
        self.sign_ns = now_ns

    def wear(self, now_ns: int, is_worn: bool) -> None:
        """Start or stop counting."""
        self.is_worn = is_worn
        self.sign_ns = now_ns

    def due_ns(self) -> int:
        """Return when the next sign is due, or NEVER_NS."""
        if self._plan is None or not self.is_worn:
            return NEVER_NS
        pulse_ns = self._pulse.last_good_ns if self._pulse else -NEVER_NS
        return max(self.sign_ns, pulse_ns) + self._plan.every_ns

    def warns_from_ns(self) -> int:
        """Return from when slow ticks remind of it, or NEVER_NS."""
        due_ns = self.due_ns()
        if self._plan is None or due_ns == NEVER_NS:
            return NEVER_NS
        return due_ns - self._plan.warn_ns
