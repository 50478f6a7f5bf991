"""Judges what a station told against what truly happened in a scenario."""

from collections.abc import Iterable
from dataclasses import dataclass

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.instants import to_seconds
from linetender.core.stages import PRIORITY_RANK, Priority
from linetender.simulation.scenario import Expected, Scenario


@dataclass(frozen=True)
class Told:
    """An alarm that began to sound, or rose in priority.

    Attributes:
        rule: Id of the rule.
        priority: Its priority.
        at_s: When (s).
    """

    rule: str
    priority: Priority
    at_s: float


@dataclass(frozen=True)
class Verdict:
    """How a run of a scenario compares with its truth.

    Attributes:
        scenario: The scenario.
        told: Everything that sounded, in order.
        delay_s: From the hazard to the first of the expected alarms (s), or None.
        faults: What should not be so; empty where the station did what it must.
    """

    scenario: Scenario
    told: tuple[Told, ...]
    delay_s: float | None
    faults: tuple[str, ...]

    @property
    def false_leaves(self) -> tuple[Told, ...]:
        """Each LEAVE that nobody expects and no truth allows, or before the hazard."""
        return tuple(
            each
            for each in self.told
            if each.priority is Priority.HIGH and not _is_allowed(each, self.scenario)
        )


def judge(scenario: Scenario, events: Iterable[Event]) -> Verdict:
    """Compare the events of a run with the scenario's truth."""
    told = _told(events)
    faults = [fault for each in scenario.expected if (fault := _fault(each, told))]
    faults += [
        f"{each.rule} ({each.priority.value}) sounded at {each.at_s:.1f} s and must not"
        for each in told
        if not _is_allowed(each, scenario)
    ]
    return Verdict(scenario, told, _delay_s(scenario, told), tuple(faults))


def _delay_s(scenario: Scenario, told: tuple[Told, ...]) -> float | None:
    hazard_s = scenario.hazard_s
    if hazard_s is None:
        return None
    first = [
        at_s
        for each in scenario.expected
        if (at_s := _when(each, told)) is not None and at_s >= hazard_s
    ]
    return min(first) - hazard_s if first else None


def _told(events: Iterable[Event]) -> tuple[Told, ...]:
    """Return what began to sound; an answered alarm that sounds again is no news."""
    sounded: dict[str, Priority] = {}
    told = []
    for event in events:
        if not isinstance(event, AlarmChanged):
            continue
        if event.after is AlarmState.NORMAL or event.before is AlarmState.NORMAL:
            sounded.pop(event.rule, None)
        if event.after is not AlarmState.UNACKNOWLEDGED:
            continue
        before = sounded.get(event.rule)
        if before is None or PRIORITY_RANK[event.priority] > PRIORITY_RANK[before]:
            sounded[event.rule] = event.priority
            told.append(Told(event.rule, event.priority, to_seconds(event.due_ns)))
    return tuple(told)


def _fits(told: Told, expected: Expected) -> bool:
    return (
        told.rule == expected.rule
        and PRIORITY_RANK[told.priority] >= PRIORITY_RANK[expected.priority]
        and told.at_s >= expected.from_s
    )


def _when(expected: Expected, told: tuple[Told, ...]) -> float | None:
    return next((each.at_s for each in told if _fits(each, expected)), None)


def _fault(expected: Expected, told: tuple[Told, ...]) -> str | None:
    at_s = _when(expected, told)
    what = f"{expected.rule} ({expected.priority.value})"
    if at_s is None:
        return f"{what} did not sound; it must by {expected.by_s:g} s"
    if at_s > expected.by_s:
        return f"{what} sounded at {at_s:.1f} s; it must by {expected.by_s:g} s"
    return None


def _is_allowed(told: Told, scenario: Scenario) -> bool:
    return told.rule in scenario.may_sound or any(
        told.rule == each.rule and told.at_s >= each.from_s for each in scenario.expected
    )
