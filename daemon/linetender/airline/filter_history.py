"""What was seen of a filter since it was fitted, and what its loading is measured by.

Fine media resist in proportion to airflow, Δp = r·μ·Q, and dust adds to r in proportion to its
mass (the drag of a filter, S = S_e + K2·W, in handbooks of dust filters). So r rises in a
straight line with the hours of use where the air's dust and the airflow stay about the same.
How well that is seen depends on what is fitted:

- `RESISTANCE`: pressure across the filter over airflow, Δp/Q. The fan's speed drops out.
- `FLOW_AT_SPEED`: airflow at the fan's speed: by the fan laws the fan's pressure goes with N².
  A kinked hose or a dirty fan lowers it just as a filter does.
- `FLOW`: airflow alone. A filter never jumps, so a jump from one use to the next is taken for
  another fan speed or a change of the line, and only what happens between jumps counts.
  Slow changes of anything else look like the filter.

Airflow enters as Δp^n of the flow element, relative, so that an uncalibrated line will do.
"""

import enum
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median, median_high, median_low

from linetender.airline.filter import REFERENCE_VISCOSITY_PA_S
from linetender.airline.viscosity import viscosity_pa_s

_KELVIN = 273.15
_REFERENCE_K = 293.15

SPEED_SPREAD = 0.02
"""Fan speeds that differ by less, over their mean, are one speed (chosen: a tachometer's own
scatter and the mains' frequency)."""

JUMP = 0.04
JUMP_SCALES = 5.0
"""Airflow jumps from one use to the next when it changes by this part and by so many times the
usual scatter between uses (chosen). A filter of 60 h loses about 1 % in a use of two hours."""

SHORTEST_LEVEL = 3
AROUND = 5
"""A level lasts for so many uses at least, and is the median of so many at most (chosen): two
wild uses in five change it little."""


class Measure(enum.Enum):
    """What a filter's loading is measured by."""

    RESISTANCE = "resistance"
    FLOW_AT_SPEED = "flow_at_speed"
    FLOW = "flow"


@dataclass(frozen=True, slots=True)
class FilterPoint:
    """One stretch in which air went through the filter.

    Attributes:
        began_s: When (s since 1970, UTC).
        synchronised: Whether that clock was known to be right.
        hours: How long (h, >= 0).
        element_pa: Mean true pressure across the flow element (Pa, > 0), or None.
        filter_pa: Mean pressure across the filter (Pa), or None.
        fan_rpm: Mean speed of the fan (1/min), or None.
        temperature_c: Mean temperature of the air (°C), or None.
    """

    began_s: float
    synchronised: bool
    hours: float
    element_pa: float | None = None
    filter_pa: float | None = None
    fan_rpm: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class FilterHistory:
    """A filter since it was fitted.

    Attributes:
        fitted_s: When (s since 1970, UTC).
        is_new: Whether it was new then; False: it was found in place, of unknown age.
        points: Oldest first.
        label: What its label says, or what its owner noted; may be empty.
    """

    fitted_s: float
    is_new: bool
    points: tuple[FilterPoint, ...] = ()
    label: str = ""

    @property
    def hours(self) -> float:
        """For how long air went through it (h)."""
        return sum(point.hours for point in self.points)


@dataclass(frozen=True, slots=True)
class Series:
    """The loading over the hours of use, ready to be fitted.

    Attributes:
        measure: What it is measured by.
        hours: Hours of use at the middle of each stretch.
        values: Δp/Q in Pa per Pa^n, or the natural logarithm of the airflow (of 1 at 1 Pa).
        others: What else is fitted along at each point: ln of fan speed, or one flag for
            each jump; each 0 as things are now.
        drive: ln of the fan's pressure over that now, as far as it is known (0 without fan
            speeds).
        jumps: When the airflow jumped (s since 1970, UTC).
    """

    measure: Measure
    hours: tuple[float, ...]
    values: tuple[float, ...]
    others: tuple[tuple[float, ...], ...]
    drive: tuple[float, ...] = ()
    jumps: tuple[float, ...] = ()


def series_of(points: Sequence[FilterPoint], exponent: float) -> Series:
    """Return the loading by the best measure that at least half of the points have.

    Args:
        points: Of one filter, oldest first.
        exponent: n of Q = k·Δp^n of the flow element.
    """
    seen: list[tuple[float, FilterPoint]] = []
    run_h = 0.0
    for point in points:
        if point.element_pa is not None and point.element_pa > 0.0:
            seen.append((run_h + point.hours / 2.0, point))
        run_h += point.hours
    by_filter = [(h, p) for h, p in seen if p.filter_pa is not None and p.filter_pa > 0.0]
    if seen and 2 * len(by_filter) >= len(seen):
        values = [_resistance(point, exponent) for _, point in by_filter]
        return _series(Measure.RESISTANCE, by_filter, values, [()] * len(by_filter))
    by_speed = [(h, p) for h, p in seen if p.fan_rpm is not None and p.fan_rpm > 0.0]
    if seen and 2 * len(by_speed) >= len(seen):
        return _at_speed(by_speed, exponent)
    return _of_flow(seen, exponent)


def _series(
    measure: Measure,
    seen: Sequence[tuple[float, FilterPoint]],
    values: Sequence[float],
    others: Sequence[tuple[float, ...]],
) -> Series:
    hours = tuple(hours for hours, _ in seen)
    return Series(measure, hours, tuple(values), tuple(others))


def flow_log(point: FilterPoint, exponent: float) -> float:
    """Return ln of the relative airflow, 0 at 1 Pa and 20 °C.

    At one pressure warm, thin air flows faster: Q goes with the square root of the
    absolute temperature.
    """
    assert point.element_pa is not None
    flow = exponent * math.log(point.element_pa)
    if point.temperature_c is not None:
        flow += 0.5 * math.log((point.temperature_c + _KELVIN) / _REFERENCE_K)
    return flow


def _resistance(point: FilterPoint, exponent: float) -> float:
    assert point.filter_pa is not None
    resistance = point.filter_pa / math.exp(flow_log(point, exponent))
    if point.temperature_c is not None:
        resistance *= REFERENCE_VISCOSITY_PA_S / viscosity_pa_s(point.temperature_c)
    return resistance


def _at_speed(seen: Sequence[tuple[float, FilterPoint]], exponent: float) -> Series:
    speeds = [math.log(point.fan_rpm) for _, point in seen if point.fan_rpm is not None]
    values = [flow_log(point, exponent) for _, point in seen]
    others: list[tuple[float, ...]] = [()] * len(seen)
    if max(speeds) - min(speeds) > SPEED_SPREAD:
        others = [(speed - speeds[-1],) for speed in speeds]
    series = _series(Measure.FLOW_AT_SPEED, seen, values, others)
    return replace(series, drive=tuple(2.0 * (speed - speeds[-1]) for speed in speeds))


def _of_flow(seen: Sequence[tuple[float, FilterPoint]], exponent: float) -> Series:
    values = [flow_log(point, exponent) for _, point in seen]
    jumps = _jumps(values)
    stretch = [sum(place >= jump for jump in jumps) for place in range(len(values))]
    others = [tuple(float(own == each) for each in range(len(jumps))) for own in stretch]
    when = tuple(seen[jump][1].began_s for jump in jumps)
    series = _series(Measure.FLOW, seen, values, others)
    return replace(series, drive=(0.0,) * len(values), jumps=when)


def _jumps(values: Sequence[float]) -> list[int]:
    """Return the places at which a new level begins that lasts, of values that change slowly."""
    changes = [after - before for before, after in itertools.pairwise(values)]
    if not changes:
        return []
    usual = median(changes)
    scatter = median(abs(change - usual) for change in changes) / 0.6745
    least = max(JUMP, JUMP_SCALES * scatter / math.sqrt(2.0))
    jumps: list[int] = []
    for place in range(SHORTEST_LEVEL, len(values) - 1):
        first = jumps[-1] if jumps else 0
        if place - first < SHORTEST_LEVEL or abs(changes[place - 1]) <= least:
            continue
        before = median(values[max(first, place - AROUND) : place])
        after = values[place : place + AROUND]
        # Of two uses after it the nearer counts: one alone may be a hose that was stood on.
        level = median_low(after) if changes[place - 1] > 0.0 else median_high(after)
        if abs(level - before) > least:
            jumps.append(place)
    return jumps
