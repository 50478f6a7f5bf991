"""Where the events of one call to the core are gathered, and transitions are numbered."""

from collections import deque
from typing import Protocol

from linetender.core.alarm_table import AlarmState
from linetender.core.conditions.condition import Condition
from linetender.core.events import AlarmChanged, Event
from linetender.core.plan import RulePlan
from linetender.core.stages import Priority


class ChangedAlarm(Protocol):
    """What the journal reads of an alarm."""

    plan: RulePlan
    condition: Condition
    state: AlarmState
    priority: Priority


class Journal:
    """Events since the last `take`, oldest first.

    Attributes:
        n: Number of the last alarm transition of this run.
        events: Gathered so far.
        burst: Number of times an alarm began to sound in this run.
        starts: (instant, 1) of the alarms raised lately, oldest first.
    """

    __slots__ = ("burst", "events", "n", "starts")

    VALUES = ("n", "burst")
    SERIES = ("starts",)

    def __init__(self) -> None:
        self.n = 0
        self.burst = 0
        self.events: list[Event] = []
        self.starts: deque[tuple[int, float]] = deque()

    def take(self) -> tuple[Event, ...]:
        """Return the events gathered, and begin anew."""
        events = tuple(self.events)
        self.events.clear()
        return events

    def starts_since(self, since_ns: int) -> int:
        """Count the alarms raised since an instant; earlier ones are forgotten."""
        while self.starts and self.starts[0][0] < since_ns:
            self.starts.popleft()
        return len(self.starts)

    def alarm_changed(self, due_ns: int, alarm: ChangedAlarm, before: AlarmState, why: str) -> int:
        """Number and note a transition; return its number."""
        self.n += 1
        if alarm.state is AlarmState.UNACKNOWLEDGED:
            self.burst += 1
            if before is not AlarmState.ACKNOWLEDGED:
                self.starts.append((due_ns, 1.0))
        self.events.append(
            AlarmChanged(
                due_ns,
                self.n,
                alarm.plan.id,
                before,
                alarm.state,
                alarm.priority,
                alarm.condition.evidence(),
                why,
            )
        )
        return self.n
