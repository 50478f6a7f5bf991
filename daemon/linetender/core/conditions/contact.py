"""A switch that stands in a certain state: the fan's mains lost, a wire broken."""

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.inputs import ContactState
from linetender.core.plan import OnContact


class ContactCondition(Condition):
    """Present while the contact is in the state named; unknown while its wiring is broken."""

    __slots__ = ("_when", "contact")

    def __init__(self, plan: OnContact) -> None:
        super().__init__()
        self.contact = plan.contact
        self._when = ContactState(plan.when)

    def see(self, now_ns: int, state: ContactState) -> None:
        """Judge a state the driver reported."""
        if state is self._when:
            self.verdict = Verdict.PRESENT
        elif state is ContactState.BROKEN:
            self.verdict = Verdict.UNKNOWN
        else:
            self.verdict = Verdict.ABSENT
        self.why = state.value
