"""Compile a station file with its rules and devices into the core's Plan."""

from linetender.core.instants import from_seconds
from linetender.core.plan import AirPlan, CheckInPlan, FarEndPlan, Plan, RisesTo, RulePlan, Stale
from linetender.core.plan_faults import fault_of_plan
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.settings.air_budget import budgets_of
from linetender.settings.compile_air import air_plan
from linetender.settings.compile_condition import Fitted, condition_of
from linetender.settings.leave_sentence import with_time_to_leave
from linetender.settings.looser import default_realarm_s
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.rule_copies import copies_of
from linetender.settings.rule_file import RuleEntry
from linetender.settings.rules import Rules, arrangements_of
from linetender.settings.station import Device
from linetender.settings.station_file import FarEndTable, StationFile
from linetender.settings.toml_file import TomlFile

CHECK_IN_WARN_S = 30.0
"""The pre-alert before a check-in is due (chosen: time to find the button with gloves on)."""


def compile_plan(
    station: StationFile, rules: Rules, devices: tuple[Device, ...], toml: TomlFile
) -> Plan:
    """Make the Plan; rules whose parts are not fitted are not in it.

    Raises:
        StationFileError: two rules come to have the same id, or a number is not finite.
    """
    air = air_plan(station, devices)
    fitted = fitted_parts(station, devices, air)
    check_in = station.check_in
    plan = Plan(
        station=station.station.id,
        arrangement=station.station.arrangement,
        air=air,
        signals=tuple(signal for device in devices for signal in device.signals),
        contacts=tuple(device.contact for device in devices if device.contact is not None),
        rules=_rule_plans(station, rules, fitted, devices),
        check_in=CheckInPlan(
            every_ns=from_seconds(check_in.every_min * 60.0), warn_ns=from_seconds(CHECK_IN_WARN_S)
        )
        if check_in
        else None,
        far_ends=tuple(FarEndPlan(box.name, box.role) for box in station.far_end),
        contact_names=tuple(contact.name for contact in station.contacts),
        exit_time_s=station.station.exit_time_s,
        exceptions=(
            *(f"{granted.finding}: {granted.reason}" for granted in station.exceptions),
            *rules.looser,
        ),
    )
    fault = fault_of_plan(plan)
    if fault:
        problem = Problem(toml.file, None, "", "", fault, "change the numbers it is made of")
        raise StationFileError([problem])
    return with_time_to_leave(plan, budgets_of(station, plan, devices))


def fitted_parts(station: StationFile, devices: tuple[Device, ...], air: AirPlan | None) -> Fitted:
    """Say what the station has that a rule could need."""
    signals = [signal for device in devices for signal in device.signals]
    if air is not None:
        signals.append(Signal.AIR_PERCENT_OF_BASELINE)
        if air.k_l_min is not None:
            signals.append(Signal.AIRFLOW_L_MIN)
    return Fitted(
        station=station,
        air=air,
        signals=tuple(signals),
        contacts=tuple(device.contact for device in devices if device.contact is not None),
    )


def _rule_plans(
    station: StationFile, rules: Rules, fitted: Fitted, devices: tuple[Device, ...]
) -> tuple[RulePlan, ...]:
    made: list[RulePlan] = []
    for rule in rules.rules:
        if station.station.arrangement not in arrangements_of(rule.entry):
            continue
        plans = [
            _rule_plan(copy.id, copy.entry, fitted, copy.box)
            for copy in copies_of(rule.id, rule.entry, fitted, devices)
        ]
        made += [plan for plan in plans if plan is not None]
    made = _without_unfollowable(made)
    ids = {plan.id for plan in made}
    return tuple(_without_absent(plan, ids) for plan in made)


def _without_unfollowable(made: list[RulePlan]) -> list[RulePlan]:
    """Drop rules that follow a rule which does not exist on this station."""
    ids = {plan.id for plan in made}
    kept = [
        plan
        for plan in made
        if not isinstance(plan.condition, Stale) or plan.condition.followed in ids | {""}
    ]
    return kept if len(kept) == len(made) else _without_unfollowable(kept)


def _without_absent(plan: RulePlan, ids: set[str]) -> RulePlan:
    """Drop suppressing rules that do not exist on this station."""
    kept = tuple(rule_id for rule_id in plan.suppressed_by if rule_id in ids)
    if kept == plan.suppressed_by:
        return plan
    fields = {name: getattr(plan, name) for name in plan.__struct_fields__}
    return RulePlan(**{**fields, "suppressed_by": kept})


def _rule_plan(
    rule_id: str, entry: RuleEntry, fitted: Fitted, box: FarEndTable | None
) -> RulePlan | None:
    condition = condition_of(entry, fitted, box)
    if condition is None:
        return None
    realarm_s = default_realarm_s(entry) if entry.realarm_s is None else entry.realarm_s
    rise = entry.rises_to
    return RulePlan(
        id=rule_id,
        condition=condition,
        priority=entry.priority,
        on_delay_ns=from_seconds(entry.on_delay_s or 0.0),
        off_delay_ns=from_seconds(entry.off_delay_s or 0.0),
        stages=tuple(stage for stage in Stage if stage in entry.stages),
        latching=bool(entry.latching),
        killer=bool(entry.killer),
        loss_of_air=bool(entry.loss_of_air),
        technical=bool(entry.technical),
        suppressed_by=entry.suppressed_by or (),
        rises_to=RisesTo(rise.priority, from_seconds(rise.after_s)) if rise else None,
        realarm_ns=from_seconds(realarm_s),
        calls=entry.calls or (),
        say=entry.say,
    )
