"""Something the station knows of itself: a disk full, a driver that failed."""

from linetender.core.conditions.condition import Condition, Verdict
from linetender.core.inputs import Fact
from linetender.core.plan import OnFact


class FactCondition(Condition):
    """Present while the fact holds for any subject, or for the one named."""

    __slots__ = ("_holding", "_plan", "fact")

    VALUES = (*Condition.VALUES, "_holding")

    def __init__(self, plan: OnFact) -> None:
        super().__init__()
        self._plan = plan
        self.fact = plan.fact
        self._holding: list[str] = []

    def see(self, fact: Fact) -> None:
        """Judge what the runtime reports."""
        if self._plan.subject and fact.subject != self._plan.subject:
            return
        if fact.active and fact.subject not in self._holding:
            self._holding = [*self._holding, fact.subject]
        elif not fact.active:
            self._holding = [subject for subject in self._holding if subject != fact.subject]
        self.verdict = Verdict.PRESENT if self._holding else Verdict.ABSENT
        self.why = self._holding[0] if self._holding else fact.subject
