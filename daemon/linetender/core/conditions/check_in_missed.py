"""A wearer who gave no sign of life although one was due."""

from linetender.core.check_in import CheckIn
from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.instants import NEVER_NS
from linetender.core.plan import CheckInMissed
from linetender.core.signals import Signal


class CheckInMissedCondition(Condition):
    """Present when a sign of life is overdue by `after_ns`; a press or a good pulse ends it."""

    __slots__ = ("_after_ns", "_check_in")

    def __init__(self, plan: CheckInMissed, check_in: CheckIn) -> None:
        super().__init__()
        self._after_ns = plan.after_ns
        self._check_in = check_in
        self.verdict = Verdict.ABSENT

    def heard(self) -> None:
        """Note a sign of life."""
        self.verdict = Verdict.ABSENT

    def missed(self, signal: Signal, now_ns: int) -> None:
        """A bad pulse reading says nothing either way."""

    def settle(self) -> bool:
        """The hood is off: nobody waits for a sign."""
        self.verdict = Verdict.ABSENT
        return True

    def due_ns(self) -> int:
        """Return when it will be overdue by that much."""
        due_ns = self._check_in.due_ns()
        return due_ns if due_ns == NEVER_NS else due_ns + self._after_ns

    def fall_due(self) -> None:
        """No sign came."""
        self.verdict = Verdict.PRESENT
