"""One of several things is wrong."""

from linetender.core.conditions.condition import Condition, Verdict


class AnyOfCondition(Condition):
    """Present if any part is; absent if all are; else unknown."""

    __slots__ = ("parts",)

    def __init__(self, parts: tuple[Condition, ...]) -> None:
        super().__init__()
        self.parts = parts

    def refresh(self) -> None:
        """Combine the parts' verdicts."""
        for part in self.parts:
            part.refresh()
        verdicts = [part.verdict for part in self.parts]
        self.why = next((p.why for p in self.parts if p.verdict is Verdict.PRESENT), self.why)
        if Verdict.PRESENT in verdicts:
            self.verdict = Verdict.PRESENT
        elif all(verdict is Verdict.ABSENT for verdict in verdicts):
            self.verdict = Verdict.ABSENT
        else:
            self.verdict = Verdict.UNKNOWN

    def begin(self, now_ns: int) -> None:
        """Start every part anew."""
        for part in self.parts:
            part.begin(now_ns)

    def evidence(self) -> float | None:
        """Return the evidence of the first part that is present."""
        return next((p.evidence() for p in self.parts if p.verdict is Verdict.PRESENT), None)
