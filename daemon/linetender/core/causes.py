"""A cause for each alarm: named with its raise, revised for a while as evidence comes.

Looked at when an alarm's state changes, and once a second while an alarm is active: never
per reading. Bad air is never called a fault of the oximeter: as long as the air is not
seen to flow well, what befalls the oximeter or the wearer is put down to the air.
"""

from typing import Any

from linetender.core.air_evidence import AirEvidence
from linetender.core.air_pattern import RISEN_FROM_PERCENT
from linetender.core.alarm import Alarm
from linetender.core.alarm_table import ACTIVE, RETURNED, AlarmState
from linetender.core.cause import Cause
from linetender.core.cause_family import Family, family_of
from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.stuck import StuckCondition
from linetender.core.diagnosis import (
    NOT_CLEAR,
    Diagnosis,
    of_air,
    of_air_sensor,
    of_oximeter,
    while_air_flows,
)
from linetender.core.events import CauseNamed
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.wiring import Wiring

LOOKS_EVERY_NS = SECOND_NS
REVISES_FOR_NS = 30 * SECOND_NS
"""A cause is revised for so long after the raise (chosen: a fan's run-down and more)."""
BLAMED_FOR_NS = 120 * SECOND_NS
"""Oxygen that falls so long after bad air still falls because of it (chosen: the finger lags
by half a minute, and recovers as slowly)."""
FLOWS_FROM_PERCENT = 80.0
"""From here on, and below a rise, air flows well."""

_FAULTS_OF_AIR = (Family.AIR, Family.AIR_SENSOR, Family.BLIND)


class Causes:
    """Names causes.

    Attributes:
        named: Per rule whose alarm is not normal: its cause, the confidence, what it may
            be besides.
        over: The rules of `named` whose condition went since; the name of what is over is
            shown on, but says nothing of what raises the alarm again.
        first_out: The rule whose alarm came first of those that now stand; empty if none.
        due_ns: When a look is due, if a reading comes.
        air_cause: What the air last suffered from.
        air_wrong_ns: When it last did.
    """

    __slots__ = (
        "_channels",
        "_evidence",
        "_families",
        "_journal",
        "_plan",
        "_stuck",
        "air_cause",
        "air_wrong_ns",
        "due_ns",
        "first_out",
        "named",
        "over",
    )

    INSTANTS = ("due_ns", "air_wrong_ns")
    VALUES = ("named", "over", "first_out", "air_cause")

    def __init__(self, plan: Plan, wiring: Wiring, evidence: AirEvidence, journal: Journal) -> None:
        self._plan = plan
        self._channels = wiring.channels
        self._evidence = evidence
        self._journal = journal
        families = ((alarm, family_of(alarm.plan.condition)) for alarm in wiring.alarms)
        self._families = [(alarm, family) for alarm, family in families if family is not None]
        self._stuck = [leaf for leaf, _ in wiring.leaves if isinstance(leaf, StuckCondition)]
        self.named: dict[str, list[Any]] = {}
        self.over: dict[str, bool] = {}
        self.first_out = ""
        self.due_ns = NEVER_NS
        self.air_cause = ""
        self.air_wrong_ns = -NEVER_NS

    def look(self, now_ns: int) -> None:
        """Name the causes of new alarms, and revise those of alarms that stand lately."""
        revises = now_ns >= self.due_ns
        standing = False
        normal = AlarmState.NORMAL
        for alarm, family in self._families:
            if alarm.state is normal:
                self._forget(alarm.plan.id)
            elif alarm.state in RETURNED:
                if alarm.plan.id in self.named:
                    self.over[alarm.plan.id] = True
            elif alarm.state in ACTIVE:
                if alarm.plan.id in self.over:
                    self._forget(alarm.plan.id)
                standing = standing or now_ns - alarm.since_ns <= REVISES_FOR_NS
                if alarm.plan.id not in self.named or revises:
                    self._name(now_ns, alarm, family)
        if not self.named:
            self.first_out = ""
        self.due_ns = now_ns + LOOKS_EVERY_NS if standing else NEVER_NS

    def _forget(self, rule: str) -> None:
        self.named.pop(rule, None)
        self.over.pop(rule, None)

    def _name(self, now_ns: int, alarm: Alarm, family: Family) -> None:
        rule = alarm.plan.id
        before = self.named.get(rule, [None])[0]
        is_late = now_ns - alarm.since_ns > REVISES_FOR_NS
        if before is not None and (is_late or alarm.condition.verdict is not Verdict.PRESENT):
            return
        found = self._diagnose(now_ns, family)
        if family in _FAULTS_OF_AIR:
            self.air_wrong_ns = now_ns
            if found.cause is not Cause.NOT_CLEAR:
                self.air_cause = found.cause.value
        if before is not None and found.cause.value in (before, Cause.NOT_CLEAR.value):
            return
        self.first_out = self.first_out or rule
        self.named[rule] = [found.cause.value, found.confidence, *found.also]
        self._journal.events.append(
            CauseNamed(
                now_ns,
                rule,
                found.cause,
                found.confidence,
                found.also,
                found.evidence,
                self.first_out,
            )
        )

    def _diagnose(self, now_ns: int, family: Family) -> Diagnosis:
        match family:
            case Family.AIR:
                return self._of_air()
            case Family.AIR_TREND:
                return self._of_air(is_trend=True)
            case Family.AIR_SENSOR | Family.BLIND:
                return self._of_air_sensor()
        wrong = self._wrong_with_air(now_ns)
        if wrong is not None:
            return wrong
        if family is Family.OXIMETER:
            spo2 = self._channels.get(Signal.SPO2_PERCENT)
            return of_oximeter(spo2 or self._channels[Signal.PULSE_RATE_BPM])
        pattern = self._evidence.pattern()
        if pattern is None:
            return NOT_CLEAR
        return while_air_flows(family, self._plan.arrangement, pattern.level)

    def _of_air(self, *, is_trend: bool = False) -> Diagnosis:
        plan = self._plan
        return of_air(self._evidence, plan.arrangement, plan.air, is_trend=is_trend)

    def _of_air_sensor(self) -> Diagnosis:
        air = self._plan.air
        channel = None if air is None else self._channels[air.signal]
        is_stuck = any(leaf.verdict is Verdict.PRESENT for leaf in self._stuck)
        reason = "" if channel is None else channel.reason or ""
        return of_air_sensor(self._evidence, is_stuck=is_stuck, reason=reason)

    def _wrong_with_air(self, now_ns: int) -> Diagnosis | None:
        """Say what is wrong with the air, or was lately, or that it is not seen."""
        if self._plan.air is None:
            return None
        for alarm, family in self._families:
            if family in _FAULTS_OF_AIR:
                if alarm.present or alarm.condition.verdict is Verdict.PRESENT:
                    return self._of_air() if family is Family.AIR else self._of_air_sensor()
        pattern = self._evidence.pattern()
        if pattern is None or not self._evidence.is_seen(now_ns):
            return NOT_CLEAR
        if not FLOWS_FROM_PERCENT <= pattern.level < RISEN_FROM_PERCENT:
            return self._of_air()
        if self.air_cause and now_ns - self.air_wrong_ns <= BLAMED_FOR_NS:
            return Diagnosis(Cause(self.air_cause), 0.6, (), ("air=was_wrong",))
        return None
