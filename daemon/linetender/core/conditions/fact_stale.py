"""A confirmation that stopped coming: nobody at the far end would hear."""

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.inputs import Fact
from linetender.core.plan import FactStale


class FactStaleCondition(Condition):
    """Present when the fact was not confirmed for `after_ns` while the rule applied."""

    __slots__ = ("_after_ns", "_heard_ns", "_subject", "fact")

    INSTANTS = ("_heard_ns",)

    def __init__(self, plan: FactStale, began_ns: int) -> None:
        super().__init__()
        self.fact = plan.fact
        self._subject = plan.subject
        self._after_ns = plan.after_ns
        self._heard_ns = began_ns

    def begin(self, now_ns: int) -> None:
        """Count from now."""
        self._heard_ns = now_ns
        self.verdict = Verdict.UNKNOWN

    def see(self, fact: Fact) -> None:
        """Note a confirmation."""
        if fact.subject == self._subject and fact.active:
            self._heard_ns = fact.arrived_ns
            self.verdict = Verdict.ABSENT

    def due_ns(self) -> int:
        """Return when the last confirmation will be too old."""
        return self._heard_ns + self._after_ns

    def fall_due(self) -> None:
        """The last confirmation is too old."""
        self.verdict = Verdict.PRESENT
        self.why = self._subject
