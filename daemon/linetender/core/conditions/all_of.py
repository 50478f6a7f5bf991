"""Several things are wrong together."""

from collections.abc import Iterable

from linetender.core.conditions.combined import CombinedCondition
from linetender.core.conditions.condition import ABSENT, PRESENT, UNKNOWN, Condition, Verdict


class AllOfCondition(CombinedCondition):
    """Present if all parts are; absent if any is; else unknown."""

    __slots__ = ()

    @property
    def is_withdrawn(self) -> bool:
        """Whether a part that is needed was taken back by a doubtful reading."""
        return any(part.is_withdrawn for part in self.parts)

    def _combine(self, verdicts: list[Verdict]) -> Verdict:
        if ABSENT in verdicts:
            return ABSENT
        all_present = all(verdict is PRESENT for verdict in verdicts)
        return PRESENT if all_present else UNKNOWN

    def _deciding(self) -> Iterable[Condition]:
        return self.parts
