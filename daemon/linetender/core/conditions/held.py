"""A button held down: the wearer calls for help."""

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.inputs import ContactState
from linetender.core.instants import NEVER_NS
from linetender.core.plan import Held


class HeldCondition(Condition):
    """Present from the instant at which the contact has been closed for `after_ns`.

    Letting go does not end it: only the wearer's deliberate *out*, the end of use
    or a reset does. A broken wire is never a call.
    """

    __slots__ = ("_after_ns", "_closed_ns", "contact")

    INSTANTS = ("_closed_ns",)

    def __init__(self, plan: Held) -> None:
        super().__init__()
        self.contact = plan.contact
        self._after_ns = plan.after_ns
        self._closed_ns = NEVER_NS
        self.verdict = Verdict.ABSENT

    def see(self, now_ns: int, state: ContactState) -> None:
        """Note a press or a release."""
        if state is not ContactState.CLOSED:
            self._closed_ns = NEVER_NS
        elif self._closed_ns == NEVER_NS and self.verdict is not Verdict.PRESENT:
            self._closed_ns = now_ns

    def lose_history(self) -> None:
        """Forget a press: nobody saw whether it lasted. One that goes on is counted anew."""
        self._closed_ns = NEVER_NS

    def call(self) -> None:
        """Be present at once: the call came by another way than the wired button."""
        self.verdict = Verdict.PRESENT
        self.why = "held"

    def settle(self) -> bool:
        """The call has ended."""
        self.verdict = Verdict.ABSENT
        return True

    def due_ns(self) -> int:
        """Return when the press will have lasted long enough."""
        return NEVER_NS if self._closed_ns == NEVER_NS else self._closed_ns + self._after_ns

    def fall_due(self) -> None:
        """The press lasted long enough."""
        self._closed_ns = NEVER_NS
        self.call()
