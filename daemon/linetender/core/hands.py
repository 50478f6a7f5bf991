"""The grammar of one button: what a press means, at the instant it is made.

Press while anything sounds: an answer. Held 2 s: a call for help (a rule of its
own). Press while nothing sounds: the next step of the stage; while worn, or in the
quiet that follows an answered killer, a sign of life that also opens a question:
slow ticks from 3 s to 10 s after it, and one press inside ends the use. A press
before the ticks takes the question back.
"""

from enum import StrEnum

from linetender.core.instants import NEVER_NS, SECOND_NS

QUESTION_FROM_NS = 3 * SECOND_NS
QUESTION_UNTIL_NS = 10 * SECOND_NS
"""When the ticks start and stop after the press that opened the question (chosen)."""

PRESS_SEES_AFTER_NS = 300_000_000
"""A press answers transitions at least this old: nobody reacts to a newer one (chosen)."""


class Meaning(StrEnum):
    """What a press means."""

    ANSWER = "answer"
    STEP = "step"
    ASKS = "asks"
    TAKES_BACK = "takes_back"
    ENDS = "ends"


class Hands:
    """The open question, if any.

    Attributes:
        asked_ns: The press that opened it; NEVER_NS when none is open.
    """

    __slots__ = ("asked_ns",)

    INSTANTS = ("asked_ns",)

    def __init__(self) -> None:
        self.asked_ns = NEVER_NS

    def press(self, now_ns: int, *, sounds: bool, can_end: bool) -> Meaning:
        """Say what a press means now.

        Args:
            now_ns: The instant of the press edge.
            sounds: Whether anything sounds (ticks do not count).
            can_end: Whether there is something to end: the hood is worn, or an answered
                killer is quiet for a while.
        """
        if sounds:
            self.asked_ns = NEVER_NS
            return Meaning.ANSWER
        if self.asked_ns != NEVER_NS and now_ns < self.asked_ns + QUESTION_UNTIL_NS:
            inside = now_ns >= self.asked_ns + QUESTION_FROM_NS
            self.asked_ns = NEVER_NS
            return Meaning.ENDS if inside else Meaning.TAKES_BACK
        if can_end:
            self.asked_ns = now_ns
            return Meaning.ASKS
        return Meaning.STEP

    def close(self) -> None:
        """Drop the question."""
        self.asked_ns = NEVER_NS

    def ticks(self, now_ns: int) -> bool:
        """Say whether the question is being asked aloud now."""
        return (
            self.asked_ns != NEVER_NS
            and self.asked_ns + QUESTION_FROM_NS <= now_ns < self.asked_ns + QUESTION_UNTIL_NS
        )

    def due_ns(self, now_ns: int) -> int:
        """Return when the ticks start or stop next, or NEVER_NS."""
        if self.asked_ns == NEVER_NS:
            return NEVER_NS
        for due_ns in (self.asked_ns + QUESTION_FROM_NS, self.asked_ns + QUESTION_UNTIL_NS):
            if due_ns > now_ns:
                return due_ns
        return NEVER_NS
