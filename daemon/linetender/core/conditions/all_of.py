"""Several things are wrong together."""

from linetender.core.conditions.condition import Condition, Verdict


class AllOfCondition(Condition):
    """Present if all parts are; absent if any is; else unknown."""

    __slots__ = ("parts",)

    def __init__(self, parts: tuple[Condition, ...]) -> None:
        super().__init__()
        self.parts = parts

    def refresh(self) -> None:
        """Combine the parts' verdicts."""
        for part in self.parts:
            part.refresh()
        verdicts = [part.verdict for part in self.parts]
        self.why = next((part.why for part in self.parts if part.why), "")
        if Verdict.ABSENT in verdicts:
            self.verdict = Verdict.ABSENT
        elif all(verdict is Verdict.PRESENT for verdict in verdicts):
            self.verdict = Verdict.PRESENT
        else:
            self.verdict = Verdict.UNKNOWN

    def begin(self, now_ns: int) -> None:
        """Start every part anew."""
        for part in self.parts:
            part.begin(now_ns)

    def evidence(self) -> float | None:
        """Return the evidence of the first part that has any."""
        return next((value for p in self.parts if (value := p.evidence()) is not None), None)
