"""Alarms from raise to end, out of the events of a session."""

import msgspec

from linetender.annunciation.cause_words import cause_sentence, thing_to_do
from linetender.annunciation.words import matter, sentence
from linetender.core.alarm_table import RETURNED, AlarmState
from linetender.core.events import AlarmChanged, CauseNamed, FalseLeave
from linetender.core.instants import to_seconds
from linetender.core.plan import AllOf, AnyOf, Condition, Plan
from linetender.core.stages import PRIORITY_RANK, Priority
from linetender.reports.session_facts import Episode
from linetender.reports.units import unit_of

_SILENT = frozenset({AlarmState.NORMAL, AlarmState.SUPPRESSED, AlarmState.SHELVED})
_WHY_WORDS = {"out": "the wearer got out", "end": "the use was ended"}


class Episodes:
    """Gathers the alarms of one session, over all its segments."""

    def __init__(self) -> None:
        self.found: list[Episode] = []
        self._open: dict[str, int] = {}  # rule: index in found

    def begin_run(self) -> None:
        """Begin with a core that announces its alarms anew."""
        self._open.clear()

    def alarm(self, event: AlarmChanged, plan: Plan, at_ns: int) -> None:
        """Take a transition."""
        at_s = to_seconds(at_ns)
        if event.after is AlarmState.UNACKNOWLEDGED and (
            event.rule not in self._open or event.before in RETURNED
        ):
            # Of one whose condition was gone it is another alarm, though the first still stands.
            self._raise(event, plan, at_s)
        index = self._open.get(event.rule)
        if index is None:
            return
        old = self.found[index]
        changes: dict[str, object] = {}
        if PRIORITY_RANK[event.priority] > PRIORITY_RANK[Priority(old.priority)]:
            changes["priority"] = event.priority.value
            if event.priority is Priority.HIGH:
                changes["leave_s"] = at_s
        if event.why in _WHO and old.answered_s is None and event.after not in _UNANSWERED:
            changes |= {"answered_s": at_s, "answered_by": event.why}
        if event.after in RETURNED:
            changes["over_s"] = at_s
        elif event.after in _SILENT:
            if old.over_s is None:
                changes |= {"over_s": at_s, "over_why": _WHY_WORDS.get(event.why, "")}
            del self._open[event.rule]
        self.found[index] = msgspec.structs.replace(old, **changes)

    def cause(self, event: CauseNamed) -> None:
        """Take a cause, or its revision."""
        index = self._open.get(event.rule)
        if index is None:
            return
        old = self.found[index]
        say = cause_sentence(event)
        causes = old.causes if old.causes[-1:] == (say,) else (*old.causes, say)
        do = thing_to_do(event, Priority(old.priority))
        self.found[index] = msgspec.structs.replace(old, cause=say, do=do, causes=causes)

    def false_leave(self, event: FalseLeave) -> None:
        """Mark the last alarm of the rule that told to leave."""
        for index in reversed(range(len(self.found))):
            old = self.found[index]
            if old.rule == event.rule and old.n <= event.n:
                self.found[index] = msgspec.structs.replace(old, is_false=True)
                return

    def _raise(self, event: AlarmChanged, plan: Plan, at_s: float) -> None:
        signal = signal_of_rule(event.rule, plan)
        has_value = signal is not None and event.evidence is not None
        self._open[event.rule] = len(self.found)
        self.found.append(
            Episode(
                number=len(self.found) + 1,
                n=event.n,
                rule=event.rule,
                priority=event.priority.value,
                at_s=at_s,
                say=matter(sentence(plan, event.rule)),
                evidence=event.evidence if has_value else None,
                evidence_unit=unit_of(signal) if has_value and signal else "",
                leave_s=at_s if event.priority is Priority.HIGH else None,
            )
        )


_WHO = frozenset({"wearer", "attendant", "remote"})
_UNANSWERED = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED, AlarmState.RETURNED})


def signal_of_rule(rule: str, plan: Plan) -> str | None:
    """Return the signal whose value is the evidence, where it is one value of one signal."""
    condition: Condition | None = next(
        (one.condition for one in plan.rules if one.id == rule), None
    )
    if condition is None or isinstance(condition, AnyOf | AllOf):
        return None
    signal = getattr(condition, "signal", None)
    return None if signal is None else str(signal)
