"""Which cause the evidence speaks for, per family of alarms."""

from functools import cache
from typing import NamedTuple

from linetender.core.air_evidence import AirEvidence
from linetender.core.air_pattern import Pattern
from linetender.core.cause import Cause, tells_again
from linetender.core.cause_family import Family
from linetender.core.cause_table import NEAR_PERCENT, TABLE, Pace, Row, Sign, TaughtState
from linetender.core.channel import Channel
from linetender.core.plan import AirPlan, Arrangement

OFF_FINGER = frozenset({"finger_out"})
OUT_OF_RANGE = frozenset({"", "silent", "not_found", "timeout", "closed"})
"""Reasons of readings without a value: the driver's own words; none where nothing came."""

MOST_ALSO = 2
"""So many further causes are named as also possible."""


class Diagnosis(NamedTuple):
    """What probably happened.

    Attributes:
        cause: The likeliest.
        confidence: 0 to 1.
        also: Causes that the evidence does not rule out, the likelier first.
        evidence: What speaks for it, each `source=value`.
    """

    cause: Cause
    confidence: float
    also: tuple[Cause, ...] = ()
    evidence: tuple[str, ...] = ()


NOT_CLEAR = Diagnosis(Cause.NOT_CLEAR, 0.0)


def of_air(
    evidence: AirEvidence, side: Arrangement, air: AirPlan | None, *, is_trend: bool = False
) -> Diagnosis:
    """Name the cause of too little air, or too much, from the table.

    Args:
        evidence: What the air looks like.
        side: Where the box stands.
        air: How the air is derived, and what was taught of it.
        is_trend: Whether minutes of slow loss have raised the alarm: however little is lost
            yet, and whoever steps on the hose meanwhile.
    """
    pattern = evidence.pattern() or Pattern(Pace.STEADY, 100.0)
    if is_trend:
        pattern = pattern._replace(pace=Pace.SLOW)
    signs = evidence.signs(pattern)
    rows = _rows(side, pattern.pace)
    fitting = [row for row in rows if _fits(row, pattern.level, signs, air)]
    seen: tuple[str, ...] = (f"air={pattern.level:.0f}%", f"pace={pattern.pace.value}")
    if pattern.fell_s:
        seen += (f"fell_within_s={pattern.fell_s}",)
    if not fitting:
        return Diagnosis(Cause.NOT_CLEAR, 0.0, (), seen)
    first = fitting[0]
    seen += tuple(signs[sign] for sign in first.signs)
    also = () if first.confidence >= 0.9 else _also(fitting)
    return Diagnosis(first.cause, first.confidence, also, seen)


def _also(fitting: list[Row]) -> tuple[Cause, ...]:
    """Return what else fits, each thing once: one name may hold several causes."""
    told: list[Cause] = [fitting[0].cause]
    for row in fitting[1:]:
        if not tells_again(row.cause, told):
            told.append(row.cause)
    return tuple(told[1 : MOST_ALSO + 1])


@cache
def _rows(side: Arrangement, pace: Pace) -> tuple[Row, ...]:
    """The rows of the table for this arrangement, by how the air went."""
    return tuple(
        row for row in TABLE if row.side in (None, side) and (not row.paces or pace in row.paces)
    )


def _fits(row: Row, level: float, signs: dict[Sign, str], air: AirPlan | None) -> bool:
    if row.taught is None:
        is_level = row.low <= level < row.high
    else:
        taught = _taught_percent(row.taught, air)
        is_level = taught is not None and abs(level - taught) <= NEAR_PERCENT
    return is_level and all(sign in signs for sign in row.signs)


def _taught_percent(state: TaughtState, air: AirPlan | None) -> float | None:
    if air is None:
        return None
    return air.pinched_percent if state is TaughtState.PINCHED else air.duct_off_percent


def of_air_sensor(evidence: AirEvidence, *, is_stuck: bool, reason: str) -> Diagnosis:
    """Name why the air is not seen; what takes the air itself away comes first."""
    if evidence.mains_open:
        return Diagnosis(Cause.MAINS_LOST, 0.9, (), ("fan_mains=open",))
    if is_stuck:
        return Diagnosis(Cause.SENSOR_FROZEN, 0.9, (), ("air=unmoved",))
    return Diagnosis(Cause.SENSOR_SILENT, 0.9, (), (f"air={reason or 'silent'}",))


def of_oximeter(channel: Channel) -> Diagnosis:
    """Name why oxygen is not seen; only asked where the air is seen and well."""
    reason = channel.reason or ""
    if channel.doubt is not None:
        return Diagnosis(Cause.OXIMETER_WEAK_PULSE, 0.8, (), (f"oximeter={channel.doubt}",))
    seen = (f"oximeter={reason or 'silent'}",)
    if reason in OFF_FINGER:
        return Diagnosis(Cause.OXIMETER_OFF_FINGER, 0.9, (), seen)
    if reason in OUT_OF_RANGE:
        return Diagnosis(Cause.OXIMETER_OUT_OF_RANGE, 0.8, (Cause.OXIMETER_OFF_FINGER,), seen)
    also = (Cause.OXIMETER_WEAK_PULSE, Cause.OXIMETER_OUT_OF_RANGE)
    return Diagnosis(Cause.OXIMETER_OFF_FINGER, 0.6, also, seen)


def while_air_flows(family: Family, side: Arrangement, level: float) -> Diagnosis:
    """Name why the wearer is not well, or the hood's air not good, while air is seen to flow."""
    seen = (f"air={level:.0f}%",)
    if family is Family.HOOD_CO2:
        return Diagnosis(Cause.HOSE_OFF_HOOD, 0.6, (), seen)
    if side is Arrangement.FAN_SIDE:
        # Beside the fan nobody sees whether the air arrives.
        return Diagnosis(Cause.WEARER_DETERIORATING, 0.7, (Cause.HOSE_OFF_HOOD,), seen)
    return Diagnosis(Cause.WEARER_DETERIORATING, 0.8, (Cause.HOSE_OFF_HOOD,), seen)
