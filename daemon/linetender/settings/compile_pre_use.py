"""Which steps the pre-use check of a station has: one for each part that is fitted."""

from collections.abc import Iterator
from typing import Any

import msgspec

from linetender.core.instants import from_seconds
from linetender.core.plan import AirPlan, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.step_plan import StepKind, StepPlan
from linetender.settings.remembered import Remembered
from linetender.settings.station import Device
from linetender.settings.station_file import StationFile

LIMIT_S: dict[StepKind, float] = {
    StepKind.CHECKLIST: 300.0,
    StepKind.ZERO: 240.0,
    StepKind.AIR: 240.0,
    StepKind.PURGE: 420.0,
    StepKind.BASELINE: 300.0,
    StepKind.HEARD: 180.0,
    StepKind.LAMP: 300.0,
}
"""Unmet for so long, a step ends the check (s, chosen): time for a walk to the fan and
back, and to mend a loose hose; three test sounds may pass unheard."""

OTHER_LIMIT_S = 90.0
"""Of steps that need nobody's hand (s, chosen): three turns of the slowest of them."""

_WEARER = (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
_LAMPS = frozenset({"lamp_red", "lamp_yellow", "lamp_green"})


def with_steps(
    plan: Plan, station: StationFile, devices: tuple[Device, ...], remembered: Remembered
) -> Plan:
    """Return a plan with its pre-use check, and with the reminder of the time worn."""
    reminder = station.reminder
    return msgspec.structs.replace(
        plan,
        steps=steps_of(station, devices, plan.air, plan.rules, remembered),
        remind_ns=from_seconds(reminder.every_min * 60.0) if reminder else 0,
    )


def steps_of(
    station: StationFile,
    devices: tuple[Device, ...],
    air: AirPlan | None,
    rules: tuple[RulePlan, ...],
    remembered: Remembered,
) -> tuple[StepPlan, ...]:
    """Return the steps in the order in which they are shown.

    Args:
        station: The station file.
        devices: Its devices.
        air: How air is derived, or None.
        rules: As compiled: the alarm about the supply knows its limit.
        remembered: What the memory holds: dates of calibration and filter.
    """
    return (
        _step(StepKind.CHECKLIST),
        *_of_air(air),
        *_of_parts(devices, rules),
        *_of_house(station, remembered),
        *((_step(StepKind.HEARD),) if _has(devices, frozenset({"buzzer"})) else ()),
    )


def _of_air(air: AirPlan | None) -> Iterator[StepPlan]:
    if air is not None:
        for kind in (StepKind.ZERO, StepKind.AIR, StepKind.PURGE):
            yield _step(kind)


def _of_parts(devices: tuple[Device, ...], rules: tuple[RulePlan, ...]) -> Iterator[StepPlan]:
    signals = {signal for device in devices for signal in device.signals}
    for signal in _WEARER:
        if signal in signals:
            yield _step(StepKind.BASELINE, signal.value, subject=signal.value)
    if _has(devices, _LAMPS):
        yield _step(StepKind.LAMP)
    if any(device.contact == "arm" for device in devices):
        yield _step(StepKind.ARMED)
    for rule in rules:
        condition = rule.condition
        if isinstance(condition, Below) and condition.signal is Signal.SUPPLY_VOLTAGE_V:
            yield _step(StepKind.SUPPLY, least=condition.limit + condition.deadband)
            return


def _of_house(station: StationFile, remembered: Remembered) -> Iterator[StepPlan]:
    for box in station.far_end:
        yield _step(StepKind.FAR_END, f"{StepKind.FAR_END}_{box.name}", subject=box.name)
    if station.broker is not None:
        yield _step(StepKind.BROKER)
    if station.recording is not None:
        yield _step(StepKind.RECORDING)
        yield _step(StepKind.DISK)
    expiries = [str(entry["expires_at"]) for entry in remembered.shown if "expires_at" in entry]
    if expiries:
        yield _step(StepKind.CALIBRATION, due=min(expiries))
    if remembered.filter_due:
        yield _step(StepKind.FILTER, due=remembered.filter_due)


def _has(devices: tuple[Device, ...], roles: frozenset[str]) -> bool:
    return any(device.output in roles for device in devices)


def _step(kind: StepKind, name: str = "", **more: Any) -> StepPlan:
    limit_ns = from_seconds(LIMIT_S.get(kind, OTHER_LIMIT_S))
    return StepPlan(name or kind.value, kind, limit_ns, **more)
