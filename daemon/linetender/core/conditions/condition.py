"""What all conditions have in common."""

from enum import IntEnum
from typing import ClassVar

from linetender.core.instants import NEVER_NS
from linetender.core.signals import Signal


class Verdict(IntEnum):
    """What a condition thinks. Unknown holds: it neither raises nor clears."""

    ABSENT = 0
    PRESENT = 1
    UNKNOWN = 2


ABSENT, PRESENT, UNKNOWN = Verdict
"""By themselves: to look a member up in its class takes ten times as long as to compare it."""


class Condition:
    """Base of all conditions.

    Attributes:
        verdict: Its opinion now.
        why: In a word what made it so, where no value says it.
    """

    __slots__ = ("verdict", "why")

    INSTANTS: ClassVar[tuple[str, ...]] = ()
    VALUES: ClassVar[tuple[str, ...]] = ("verdict", "why")

    def __init__(self) -> None:
        self.verdict = Verdict.UNKNOWN
        self.why = ""

    @property
    def is_withdrawn(self) -> bool:
        """Whether what doubtful readings alone had made present, a doubtful one took back."""
        return False

    def refresh(self) -> None:
        """Bring the verdict up to date where it depends on other conditions."""

    def due_ns(self) -> int:
        """Return the instant at which silence alone makes it present, or NEVER_NS."""
        return NEVER_NS

    def fall_due(self) -> None:
        """Become present, because the instant of `due_ns` has come."""

    def begin(self, now_ns: int) -> None:
        """Start anew: the rule applies from now on."""

    def settle(self) -> bool:
        """End what only a person can end: the use has ended, or somebody reset it.

        Returns:
            Whether that alone ends the condition, without any reading.
        """
        return False

    def baseline_set(self) -> None:
        """A baseline was set or discarded: judgements against the old one end."""

    def lose_history(self) -> None:
        """Forget open windows: the station was blind for a while."""

    def is_sure_without(self, signal: Signal, now_ns: int) -> bool:
        """Say whether a good reading of another signal keeps it absent while this one is lost."""
        return False

    def evidence(self) -> float | None:
        """Return the value that decided, in the signal's unit, or None."""
        return None
