"""Base of the conditions that are made of others."""

from abc import ABC, abstractmethod
from collections.abc import Iterable

from linetender.core.conditions.condition import Condition, Verdict


class CombinedCondition(Condition, ABC):
    """A verdict made from the verdicts of its parts.

    Attributes:
        parts: The conditions it combines.
    """

    __slots__ = ("parts",)

    def __init__(self, parts: tuple[Condition, ...]) -> None:
        super().__init__()
        self.parts = parts

    def refresh(self) -> None:
        """Combine the parts' verdicts."""
        for part in self.parts:
            part.refresh()
        self.verdict = self._combine([part.verdict for part in self.parts])
        self.why = next((part.why for part in self._deciding() if part.why), "")

    def begin(self, now_ns: int) -> None:
        """Start every part anew."""
        for part in self.parts:
            part.begin(now_ns)

    def evidence(self) -> float | None:
        """Return the evidence of the first deciding part that has any."""
        values = (part.evidence() for part in self._deciding())
        return next((value for value in values if value is not None), None)

    @abstractmethod
    def _combine(self, verdicts: list[Verdict]) -> Verdict:
        """Make one verdict of several."""

    @abstractmethod
    def _deciding(self) -> Iterable[Condition]:
        """Return the parts that decide."""
