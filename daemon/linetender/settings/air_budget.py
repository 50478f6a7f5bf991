"""How soon each rule about the air tells to leave, against how long the hood's air lasts.

Judged are the rules that tell to leave because of what the air does: the pressure or
flow itself, or the fan's mains. A rule that only notices silence sees no failure of
the air and has no budget.
"""

import math
from typing import NamedTuple

from linetender.airline.alarm_budget import AlarmBudget, budget_s, coast_down_s
from linetender.core.instants import to_seconds
from linetender.core.plan import (
    Above,
    AirPlan,
    AllOf,
    AnyOf,
    Below,
    Condition,
    Falls,
    Jumps,
    OnContact,
    Outside,
    Plan,
    Rises,
)
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.settings.compile_air import calibration
from linetender.settings.forwarded_spec import FORWARDED
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.station import Device
from linetender.settings.station_file import StationFile

PUBLISHED_MINIMUM_L_MIN = 170.0
"""Least airflow of a loose hood (42 CFR 84 subpart J, table 8): assumed where the line
is not calibrated. A larger flow would only begin with better air."""

UNKNOWN_PERIOD_S = 1.0
"""Between two readings of a device whose options do not say (chosen)."""

FORWARDED_LATE_S = 3.0
"""A forwarded reading may be so late before it is refused."""

PERIODS_UNTIL_SEEN = 2.0
"""One period until the next reading, and one for a reading that is lost (chosen)."""

WINDOW_S = 0.2
"""Air that jumps or falls is judged by means over such windows."""

CONTACT_S = 0.1
"""Debouncing of a switch (chosen: twice what the driver waits)."""

LEAST_FRACTION = 0.001
"""A limit under this part of the flow is none: a fan that stands still leaks as much (chosen)."""


class _Seen(NamedTuple):
    """When a condition sees a failure: at what part of the flow, and after what time (s)."""

    flow_fraction: float
    sensing_s: float


def budgets_of(
    station: StationFile, plan: Plan, devices: tuple[Device, ...]
) -> tuple[RuleBudget, ...]:
    """Return the budget of every rule that tells to leave because of the air.

    In the order of the plan's rules.
    """
    available_s = budget_s(
        least_airflow_l_min(station), station.hood.volume_l, station.hood.co2_l_min
    )
    made = []
    for rule in plan.rules:
        seen = _seen(rule.condition, plan, devices)
        if seen is None or rule.priority is not Priority.HIGH:
            continue
        coast_s = coast_down_s(seen.flow_fraction, station.fan.coast_down_s)
        parts = AlarmBudget(available_s, coast_s, seen.sensing_s, to_seconds(rule.on_delay_ns))
        made.append(RuleBudget(rule.id, seen.flow_fraction, parts))
    return tuple(made)


def judges_air(condition: Condition, plan: Plan) -> bool:
    """Whether a condition, or a part that suffices, judges pressure or flow themselves."""
    if isinstance(condition, AnyOf):
        return any(judges_air(part, plan) for part in condition.conditions)
    if isinstance(condition, AllOf):
        return all(judges_air(part, plan) for part in condition.conditions)
    return plan.air is not None and _part_of_flow(condition, plan.air) is not None


def least_airflow_l_min(station: StationFile) -> float:
    """Return the airflow (L/min) from whose steady state the air in the hood goes bad."""
    required = station.station.required_airflow_l_min
    if required is None:
        return PUBLISHED_MINIMUM_L_MIN
    if calibration(station) is None:  # nobody watches that it is reached
        return min(required, PUBLISHED_MINIMUM_L_MIN)
    return required


def _seen(condition: Condition, plan: Plan, devices: tuple[Device, ...]) -> _Seen | None:
    if isinstance(condition, AnyOf | AllOf):
        parts = [_seen(part, plan, devices) for part in condition.conditions]
        known = [part for part in parts if part is not None]
        if isinstance(condition, AnyOf):
            return max(known, key=lambda part: part.flow_fraction, default=None)
        is_whole = len(known) == len(parts)
        return min(known, key=lambda part: part.flow_fraction, default=None) if is_whole else None
    if isinstance(condition, OnContact) and condition.contact == "fan_mains":
        return _Seen(1.0, CONTACT_S)
    fraction = _part_of_flow(condition, plan.air) if plan.air else None
    if fraction is None or plan.air is None:
        return None
    window_s = WINDOW_S if isinstance(condition, Jumps | Falls | Rises) else 0.0
    return _Seen(fraction, _sensing_s(plan.air.signal, devices) + window_s)


def _part_of_flow(condition: Condition, air: AirPlan) -> float | None:
    """At what part of the normal flow a condition on the air turns present."""
    match condition:
        case Below(signal=signal, limit=level) | Outside(signal=signal, low=level):
            fraction = _fraction(signal, level, air)
            return None if fraction is None or fraction < LEAST_FRACTION else min(1.0, fraction)
        case Falls(signal=signal, by=by):
            whole = _level(signal, air)
            fraction = None if whole is None else _fraction(signal, whole - by, air)
            return None if fraction is None or fraction < LEAST_FRACTION else fraction
        case Above(signal=signal) | Jumps(signal=signal) | Rises(signal=signal):
            return None if _level(signal, air) is None else 1.0
    return None


def _fraction(signal: Signal, level: float, air: AirPlan) -> float | None:
    whole = _level(signal, air)
    if whole is None:
        return None
    if signal is air.signal:
        return float((max(0.0, level - air.zero_pa) / air.normal_pa) ** air.exponent)
    return max(0.0, level) / whole


def _level(signal: Signal, air: AirPlan) -> float | None:
    """What a signal reads at the normal flow; None for signals that are not air."""
    if signal is Signal.AIR_PERCENT_OF_BASELINE:
        return 100.0
    if signal is air.signal:
        return air.normal_pa + air.zero_pa
    if signal is Signal.AIRFLOW_L_MIN and air.k_l_min is not None:
        return float(air.k_l_min * (air.pressure_factor * air.normal_pa) ** air.exponent)
    return None


def _sensing_s(signal: Signal, devices: tuple[Device, ...]) -> float:
    """How long the slowest device of a signal takes to show it."""
    times = [math.inf]
    for device in devices:
        if signal in device.signals:
            period_s = getattr(device.options, "period_s", UNKNOWN_PERIOD_S)
            late_s = FORWARDED_LATE_S if device.driver == FORWARDED else 0.0
            times.append(PERIODS_UNTIL_SEEN * period_s + late_s)
    return min(times)
