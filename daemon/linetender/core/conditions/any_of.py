"""One of several things is wrong."""

from collections.abc import Iterable

from linetender.core.conditions.combined import CombinedCondition
from linetender.core.conditions.condition import ABSENT, PRESENT, UNKNOWN, Condition, Verdict


class AnyOfCondition(CombinedCondition):
    """Present if any part is; absent if all are; else unknown."""

    __slots__ = ()

    @property
    def is_withdrawn(self) -> bool:
        """Whether no part keeps what a doubtful reading took back."""
        return all(part.is_withdrawn or part.verdict is ABSENT for part in self.parts)

    def _combine(self, verdicts: list[Verdict]) -> Verdict:
        if PRESENT in verdicts:
            return PRESENT
        all_absent = all(verdict is ABSENT for verdict in verdicts)
        return ABSENT if all_absent else UNKNOWN

    def _deciding(self) -> Iterable[Condition]:
        return (part for part in self.parts if part.verdict is PRESENT)
