"""Base of the conditions that compare each value with a limit, with hysteresis.

A level also says within which values it would not change its mind. The channel
intersects those intervals: one chained comparison then passes nearly every
reading by all its rules at once.
"""

from abc import ABC, abstractmethod
from typing import Protocol

from linetender.core.conditions.condition import ABSENT, PRESENT, UNKNOWN, Condition
from linetender.core.signals import Signal, rounded

INFINITY = float("inf")
NOWHERE, ANYWHERE = (INFINITY, -INFINITY), (-INFINITY, INFINITY)


class ValueSource(Protocol):
    """Who knows the last value of a signal, judged or passed by the guard."""

    value: float | None


class LevelCondition(Condition, ABC):
    """A comparison of the value with a limit.

    Attributes:
        signal: The quantity it judges.
        source: Whose value it judges, once it is wired.
        quiet: Lowest and highest value for which the verdict stays as it is.
    """

    __slots__ = ("_is_doubtful", "_last", "_present", "_withdrawn", "quiet", "signal", "source")

    VALUES = (*Condition.VALUES, "_present", "_is_doubtful", "_withdrawn", "_last", "quiet")

    def __init__(self, signal: Signal) -> None:
        super().__init__()
        self.signal = signal
        self.source: ValueSource | None = None
        self.quiet = NOWHERE
        self._present = False
        self._is_doubtful = False
        self._withdrawn = False
        self._last: float | None = None

    @property
    def is_withdrawn(self) -> bool:
        """Whether what doubtful readings alone had made present, a doubtful one took back."""
        return self._withdrawn

    def see(self, value: float) -> None:
        """Judge a good value."""
        self._last = value
        self._is_doubtful = self._withdrawn = False
        low, high = self.quiet
        if low <= value <= high:
            return
        self._present = self._begins(value) or (self._present and self._stays(value))
        self.verdict = PRESENT if self._present else ABSENT
        self.quiet = self._quiet_while_present() if self._present else self._quiet_while_absent()

    def note(self, value: float) -> None:
        """Note a good value that leaves the verdict as it is."""
        self._last = value

    def doubt(self, value: float) -> None:
        """Judge a degraded value: it may make the condition present, never absent.

        What rests on degraded values alone, one beyond the clear limit takes back.
        """
        if self._begins(value):
            was_sure = self._present and not self._is_doubtful
            self.see(value)
            self._is_doubtful = not was_sure
            return
        takes_back = self._present and self._is_doubtful and not self._stays(value)
        self.lose()
        if takes_back:
            self._present, self._withdrawn = False, True

    def lose(self) -> None:
        """Note a bad reading: the verdict is unknown until the next good one."""
        self._last = self._latest()
        self._withdrawn = False
        self.verdict = UNKNOWN
        self.quiet = NOWHERE

    def evidence(self) -> float | None:
        """Return the last value, rounded to the signal's resolution."""
        return rounded(self.signal, self._latest())

    def _latest(self) -> float | None:
        """The last value, also where the guard passed it; else the last before it was lost."""
        value = None if self.source is None else self.source.value
        return self._last if value is None else value

    @abstractmethod
    def _begins(self, value: float) -> bool:
        """Say whether this value makes an absent condition present."""

    @abstractmethod
    def _stays(self, value: float) -> bool:
        """Say whether this value leaves a present condition present."""

    @abstractmethod
    def _quiet_while_absent(self) -> tuple[float, float]:
        """Return the lowest and highest value that would change nothing."""

    @abstractmethod
    def _quiet_while_present(self) -> tuple[float, float]:
        """Return the lowest and highest value that would change nothing."""
