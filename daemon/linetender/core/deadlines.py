"""What falls due by silence alone: the next instant, and what happens at it."""

from linetender.core.alarm import Alarm
from linetender.core.channel import Channel
from linetender.core.conditions.check_in_missed import CheckInMissedCondition
from linetender.core.conditions.condition import PRESENT, Condition
from linetender.core.conditions.fact_stale import FactStaleCondition
from linetender.core.conditions.held import HeldCondition
from linetender.core.conditions.stale import StaleCondition
from linetender.core.instants import NEVER_NS
from linetender.core.stages import Stage
from linetender.core.telling import Telling
from linetender.core.use import Use
from linetender.core.wiring import Wiring

_SILENCES = (StaleCondition, CheckInMissedCondition)
_WAITING = (FactStaleCondition, HeldCondition)


class Deadlines:
    """All that can happen without an input. Only raising and telling has deadlines."""

    __slots__ = ("_alarms", "_silences", "_standing_ns", "_telling", "_timed", "_use", "_waiting")

    def __init__(self, wiring: Wiring, telling: Telling, use: Use) -> None:
        self._alarms = wiring.alarms
        # What good readings put off, and what only facts and contacts do.
        self._timed = _of(wiring, _SILENCES + _WAITING)
        self._silences = _of(wiring, _SILENCES)
        self._waiting = _of(wiring, _WAITING)
        self._telling = telling
        self._use = use
        # The first that no good reading moves, except to a later instant.
        self._standing_ns = -NEVER_NS

    def next_ns(self, now_ns: int) -> int:
        """Return the first instant, not before `now_ns`, at which something falls due."""
        due_ns = min(self._telling.due_ns(self._use.stage), self._use.due_ns())
        self._standing_ns = _first_due_ns(self._waiting, _first_ns(self._alarms, due_ns))
        return self._with_silences(now_ns)

    def next_after_readings_ns(self, now_ns: int, until_ns: int) -> int:
        """Return `next_ns`, where it lies after `until_ns` without looking at everything.

        Since it was asked for last, only good readings have come. Most often they put
        off a silence; in the pre-use check they may move a step on, and end a delay.
        """
        if self._standing_ns <= until_ns or self._use.stage is Stage.PRE_USE:
            return self.next_ns(now_ns)
        due_ns = self._with_silences(now_ns)
        return due_ns if due_ns < self._standing_ns else self.next_ns(now_ns)

    def note(self, channel: Channel) -> int:
        """Take in what a look at a channel began; return its first deadline."""
        due_ns = self._standing_ns = _first_ns(channel.alarms, self._standing_ns)
        for silence in channel.silences:
            silence_due_ns = silence.due_ns()
            if silence_due_ns < due_ns:
                due_ns = silence_due_ns
        return due_ns

    def _with_silences(self, now_ns: int) -> int:
        due_ns = _first_due_ns(self._silences, self._standing_ns)
        return due_ns if due_ns > now_ns else now_ns

    def fall_due(self, due_ns: int) -> None:
        """Do all that falls due at this instant."""
        for leaf, alarm in self._timed:
            waits = alarm.applies and leaf.verdict is not PRESENT
            if waits and leaf.due_ns() <= due_ns:
                leaf.fall_due()
                alarm.judge(due_ns, good=False)
        for alarm in self._alarms:
            if alarm.due_ns() <= due_ns:
                alarm.fall_due(due_ns)
        if self._use.due_ns() <= due_ns:
            self._use.fall_due(due_ns)


def _of(wiring: Wiring, kinds: tuple[type[Condition], ...]) -> list[tuple[Condition, Alarm]]:
    return [(leaf, alarm) for leaf, alarm in wiring.leaves if isinstance(leaf, kinds)]


def _first_due_ns(leaves: list[tuple[Condition, Alarm]], due_ns: int) -> int:
    """Return the first of an instant and those at which conditions become present."""
    for leaf, alarm in leaves:
        if alarm.applies and leaf.verdict is not PRESENT:
            leaf_due_ns = leaf.due_ns()
            if leaf_due_ns < due_ns:
                due_ns = leaf_due_ns
    return due_ns


def _first_ns(alarms: list[Alarm], due_ns: int) -> int:
    """Return the first of an instant and the deadlines of alarms."""
    for alarm in alarms:
        # As `alarm.due_ns` says, without a call for each alarm at every turn.
        if alarm.raise_due_ns < due_ns:
            due_ns = alarm.raise_due_ns
        if alarm.rise_due_ns < due_ns:
            due_ns = alarm.rise_due_ns
        if alarm.realarm_due_ns < due_ns:
            due_ns = alarm.realarm_due_ns
    return due_ns
