"""When a condition held last, for rules that ask what came before."""

from linetender.core.conditions.condition import ABSENT, PRESENT, Condition
from linetender.core.instants import NEVER_NS


class Recent:
    """Remembers until when another rule's condition held.

    Attributes:
        ended_ns: When it was last seen to end; -NEVER_NS if never.
    """

    __slots__ = ("_condition", "_was_present", "ended_ns")

    INSTANTS = ("ended_ns",)
    VALUES = ("_was_present",)

    def __init__(self, condition: Condition) -> None:
        self._condition = condition
        self._was_present = False
        self.ended_ns = -NEVER_NS

    def note(self, now_ns: int) -> None:
        """Look at the condition after each judgement."""
        if self._condition.verdict is PRESENT:
            self._was_present = True
        elif self._was_present and self._condition.verdict is ABSENT:
            self._was_present = False
            self.ended_ns = now_ns

    def forget(self) -> None:
        """Start anew: the use has ended, and the next one is another wearer's or day's."""
        self._was_present = False
        self.ended_ns = -NEVER_NS

    def held_before(self, last_good_ns: int, within_ns: int) -> bool:
        """Say whether it held at, or within `within_ns` before, the last good reading."""
        return self._was_present or last_good_ns - self.ended_ns <= within_ns
