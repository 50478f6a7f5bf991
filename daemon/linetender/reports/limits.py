"""The fixed limits of a station's rules, and those that are published."""

from linetender.core.plan import Above, Below, Condition, Outside, Plan
from linetender.core.signals import Signal
from linetender.reports.session_facts import Limit

PUBLISHED_BELOW = {Signal.SPO2_PERCENT: (90.0,)}
"""Time under 90 % (T90) is a usual figure of night oximetry."""


def limits_of(plan: Plan) -> tuple[Limit, ...]:
    """Return the limits that a rule compares one signal with at every reading."""
    return tuple(
        Limit(rule.condition.signal.value, value, rule.id)
        for rule in plan.rules
        if isinstance(rule.condition, Below | Above | Outside)
        for value in _values(rule.condition)
    )


def low_limits_of(plan: Plan, signal: Signal) -> tuple[float, ...]:
    """Return the lower limits of a signal, the published ones included, highest first."""
    found = set(PUBLISHED_BELOW.get(signal, ()))
    for rule in plan.rules:
        condition = rule.condition
        if isinstance(condition, Below) and condition.signal is signal:
            found.add(condition.limit)
        elif isinstance(condition, Outside) and condition.signal is signal:
            found.add(condition.low)
    if signal is Signal.AIRFLOW_L_MIN and plan.air is not None and plan.air.required_l_min:
        found.add(plan.air.required_l_min)
    return tuple(sorted(found, reverse=True))


def _values(condition: Condition) -> tuple[float, ...]:
    if isinstance(condition, Below | Above):
        return (condition.limit,)
    return (condition.low, condition.high) if isinstance(condition, Outside) else ()
