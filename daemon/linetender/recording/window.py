"""A part of a session, for comparing."""

from collections.abc import Iterable
from typing import NamedTuple

from linetender.core.events import Event
from linetender.core.instants import NEVER_NS


class Window(NamedTuple):
    """From one instant to another, since the start of the session.

    What comes before it is fed all the same: a Watch has to have seen it.

    Attributes:
        from_ns: First instant that counts.
        until_ns: First instant that no longer does.
    """

    from_ns: int = 0
    until_ns: int = NEVER_NS

    def is_over(self, reached_ns: int) -> bool:
        """Whether nothing that comes after an instant counts."""
        return reached_ns >= self.until_ns

    def of(self, events: Iterable[Event], began_ns: int) -> list[Event]:
        """Return the events that count, of a session that began at an instant."""
        if self == _ALL:
            return list(events)
        return [
            event for event in events if self.from_ns <= event.due_ns - began_ns < self.until_ns
        ]

    def length_ns(self, session_ns: int) -> int:
        """Return how much of a session of some length counts."""
        return max(0, min(session_ns, self.until_ns) - self.from_ns)


_ALL = Window()
