"""What must hold of a Plan that its types cannot say.

The constructors of msgspec structs check nothing, and JSON written by msgspec turns
nan and inf into null: a limit lost that way would switch an alarm off. So plans are
checked when they are compiled, before they are written and after they are decoded.
"""

from collections.abc import Iterator
from math import isfinite

import msgspec

from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.plan import (
    AirPlan,
    AllOf,
    AnyOf,
    Condition,
    Drift,
    Heading,
    Plan,
    Side,
)

GREATEST_ZERO_PA = 2500.0
"""No calibration takes more for a zero: a normal of 5000 Pa, the most that a station file
states, is ten times the sensor's limit of zero, and a zero at most five times it."""


def fault_of_plan(plan: Plan) -> str | None:
    """Say what is wrong with a plan (key, value, what was expected), or None."""
    for key, value in _numbers(plan, ""):
        if isinstance(value, float) and not isfinite(value):
            return f"{key} is {value}; a finite number was expected"
        if isinstance(value, int) and not 0 <= value <= NEVER_NS and key.endswith("_ns"):
            return f"{key} is {value}; a duration from 0 to {NEVER_NS} ns was expected"
    ids = [rule.id for rule in plan.rules]
    for rule_id in ids:
        if ids.count(rule_id) > 1:
            return f"rules: the id {rule_id!r} stands twice; each rule needs its own"
    for rule in plan.rules:
        fault = _fault_of_windows(rule.condition, f"rules[{rule.id}].condition")
        if fault:
            return fault
    return None if plan.air is None else _fault_of_air(plan.air)


def _fault_of_windows(condition: Condition, key: str) -> str | None:
    """What a drift divides by, and a heading makes points of, must be more than 0."""
    match condition:
        case AnyOf() | AllOf():
            faults = (
                _fault_of_windows(part, f"{key}.conditions[{place}]")
                for place, part in enumerate(condition.conditions)
            )
            return next((fault for fault in faults if fault), None)
        case Drift() if condition.sigma <= 0.0 or condition.h <= 0.0 or condition.k < 0.0:
            return f"{key}: sigma and h over 0 and k of 0 or more were expected"
        case Heading() if condition.over_ns < SECOND_NS:
            return f"{key}.over_ns is {condition.over_ns}; at least {SECOND_NS} ns was expected"
        case Heading() if not 0.0 < condition.smoothing <= 1.0:
            return f"{key}.smoothing is {condition.smoothing}; over 0, to 1, was expected"
        case Heading() if condition.side is Side.BOTH:
            return f"{key}.side is both; up or down was expected"
    return None


def _fault_of_air(air: AirPlan) -> str | None:
    for key, value in (
        ("normal_pa", air.normal_pa),
        ("exponent", air.exponent),
        ("pressure_factor", air.pressure_factor),
        ("k_l_min", air.k_l_min),
    ):
        if value is not None and value <= 0:
            return f"air.{key} is {value}; more than 0 was expected"
    if abs(air.zero_pa) > GREATEST_ZERO_PA:
        return f"air.zero_pa is {air.zero_pa}; within ±{GREATEST_ZERO_PA:g} Pa was expected"
    return None


def _numbers(part: object, key: str) -> Iterator[tuple[str, int | float]]:
    """Every number of a struct with its dotted key, depth first, in the order of the fields."""
    if isinstance(part, msgspec.Struct):
        for name in part.__struct_fields__:
            yield from _numbers(getattr(part, name), f"{key}.{name}" if key else name)
    elif isinstance(part, tuple):
        for place, item in enumerate(part):
            yield from _numbers(item, f"{key}[{getattr(item, 'id', place)}]")
    elif isinstance(part, (int, float)):
        yield key, part
