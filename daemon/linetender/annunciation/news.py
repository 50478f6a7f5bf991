"""Which transitions of alarms are told to people in a line: what they do not know yet."""

from linetender.annunciation.words import is_left_behind
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged


class News:
    """Tells news from what is none; asked of each transition once, in their order.

    An alarm that another one suppresses is the same hazard in a lesser form: with the LEAVE
    told, a LOOK beside it helps nobody, nor does its end.
    """

    def __init__(self) -> None:
        self._withheld: set[str] = set()

    def is_news(self, event: AlarmChanged) -> bool:
        """Return whether people are told of a transition."""
        if event.after is AlarmState.SUPPRESSED and not is_left_behind(event):
            self._withheld.add(event.rule)
            return False
        was_withheld = event.rule in self._withheld
        self._withheld.discard(event.rule)
        return not (was_withheld and event.after is AlarmState.NORMAL)
