"""When steps of a proof test went on: what sounded meanwhile was asked for."""

from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.instants import from_seconds


class ProofTimes:
    """Gathers them, out of the facts of one session in their order."""

    def __init__(self) -> None:
        self._steps: list[tuple[str, int, int | None]] = []  # step, from, until (ns)

    def see(self, fact: Fact, at_ns: int) -> None:
        """Take a fact; any but that of a step is passed over."""
        if fact.fact == FactName.PROOF_STEP:
            self.end(at_ns)
            if fact.active:
                self._steps.append((fact.subject, at_ns, None))

    def end(self, at_ns: int) -> None:
        """End the step that goes on, if any: also where a restart broke it off."""
        if self._steps and self._steps[-1][2] is None:
            step, from_ns, _ = self._steps[-1]
            self._steps[-1] = step, from_ns, at_ns

    def step_at(self, at_s: float) -> str:
        """Return the step that went on at an instant of the session (s), or nothing."""
        at_ns = from_seconds(at_s)
        for step, from_ns, until_ns in self._steps:
            if from_ns <= at_ns and (until_ns is None or at_ns <= until_ns):
                return step
        return ""
