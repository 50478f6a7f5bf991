"""The trend of a filter that is seen by the airflow alone.

Of the fan's pressure T, as fan and line share it, the filter takes what is linear in the
airflow q and all the rest, the fan's own curve with it, what is square in it:

    T = (1 - s)·q² + s·(1 + β·h)·q

with q over the airflow and s the filter's share of the pressure when it was new, and β the
rise of its resistance in each hour h of use. Fitted are β and ln T, to ln q: where the fan's
speed is known T goes with its square, where it is not there is one T from jump to jump.
So a fan that is turned down neither looks like a loaded filter, nor does it change what the
airflow lost before tells of the filter.
"""

import math
from typing import NamedTuple

from linetender.airline.filter_history import Series
from linetender.airline.robust_fit import Crossing, RobustFit, Vector, crossing, fit_robustly

USUAL_SHARE = 1.0 / 3.0
"""Share of the fan's pressure of a new filter where the line is not drawn (chosen: lines with
a panel before an inline fan have 0.15 to 0.6). A wrong one bends the line a little."""

SHARE_DOUBT = 1.25
"""The share may be so many times more or less (chosen)."""

GREATEST_SHARE = 0.9

_LEAST_RESISTANCE = 0.1
_ROUNDS = 6
_OF_REFERENCE = 3


class Trend(NamedTuple):
    """Where a loading stands, and when it is at its limit.

    Attributes:
        due_hours: Hours of use at which it will be there, with its interval.
        loading: Now: resistance over that when new, or airflow over that with the new
            filter at the same fan speed (1).
        limit: What it is when the filter is due.
        seen: The loading at each point as it was seen.
    """

    due_hours: Crossing
    loading: float
    limit: float
    seen: Vector = ()


def flow_trend(
    series: Series,
    share: float,
    due_part: float,
    least_log: float | None,
    hours: float,
    confidence: float,
) -> Trend:
    """Return the trend of an airflow.

    Args:
        series: Of airflows; its `values` are their logarithms.
        share: Part of the pressure that the new filter takes (1, above 0 and below 1).
        due_part: Airflow over that with the new filter at which it is due (1).
        least_log: ln of the least permitted airflow, as in `series`, or None.
        hours: Hours of use so far.
        confidence: Of the interval (0 to 1).

    Raises:
        CannotSolve: The points do not determine it.
    """
    reference = sorted(series.values[:_OF_REFERENCE])[_OF_REFERENCE // 2]
    least = 0.0 if least_log is None else math.exp(least_log - reference)
    fit = _fit(series, share, reference)
    trend = _trend_of(fit, share, (due_part, least), hours, confidence)
    trend = trend._replace(seen=_seen(series, fit, share, reference))
    if not series.others[0] or trend.due_hours.high is None:
        return trend
    # Across a change of speed the share matters, and it is never well known: the
    # interval takes in those of other shares.
    low, high = [trend.due_hours.low], [trend.due_hours.high]
    for factor in (1.0 / SHARE_DOUBT, SHARE_DOUBT):
        other = min(GREATEST_SHARE, share * factor)
        refit = _fit(series, other, reference, fit)
        found = _trend_of(refit, other, (due_part, least), hours, confidence).due_hours
        if found.high is not None:
            low.append(found.low)
            high.append(found.high)
    ends = min(each for each in low if each is not None), max(high)
    return trend._replace(due_hours=Crossing(trend.due_hours.at, *ends))


def _trend_of(
    fit: RobustFit, share: float, due_parts: tuple[float, float], hours: float, confidence: float
) -> Trend:
    """Return the trend; of `due_parts` one counts from the new filter's airflow, one from 1."""
    pressure, rise = math.exp(fit.coefficients[0]), fit.coefficients[1]
    new = _airflow(pressure, 1.0, share)
    due = max(due_parts[0] * new, due_parts[1])
    resistance = (pressure - (1.0 - share) * due * due) / (share * due)
    more = (0.0,) * (len(fit.coefficients) - 2)
    found = crossing(fit, (0.0, 0.0, *more), (0.0, 1.0, *more), resistance - 1.0, confidence)
    now = _airflow(pressure, max(_LEAST_RESISTANCE, 1.0 + rise * hours), share)
    return Trend(found, now / new, due / new)


def _seen(series: Series, fit: RobustFit, share: float, reference: float) -> Vector:
    """Return each airflow over that with the new filter at the fan's pressure of the time."""
    found: list[float] = []
    for value, drive, others in zip(series.values, series.drive, series.others, strict=True):
        along = zip(fit.coefficients, (1.0, 0.0, *others), strict=True)
        pressure = math.exp(drive + sum(a * b for a, b in along))
        found.append(math.exp(value - reference) / _airflow(pressure, 1.0, share))
    return tuple(found)


def _fit(
    series: Series, share: float, reference: float, begin: RobustFit | None = None
) -> RobustFit:
    """Fit by Gauss and Newton: a line to the model's slopes, some times over."""
    found: Vector = begin.coefficients if begin else (0.0,) * (2 + len(series.others[0]))
    weights = begin.weights if begin else None
    for _ in range(_ROUNDS):
        rows: list[Vector] = []
        responses: list[float] = []
        for hours, value, drive, others in zip(
            series.hours, series.values, series.drive, series.others, strict=True
        ):
            log_pressure = drive + sum(
                a * b for a, b in zip(found, (1.0, 0.0, *others), strict=True)
            )
            pressure = math.exp(max(-5.0, min(5.0, log_pressure)))
            resistance = max(_LEAST_RESISTANCE, 1.0 + found[1] * hours)
            airflow = _airflow(pressure, resistance, share)
            steep = 2.0 * (1.0 - share) * airflow + share * resistance
            by_pressure = pressure / (airflow * steep)
            row = (by_pressure, -share * hours / steep, *(by_pressure * each for each in others))
            rows.append(row)
            along = sum(a * b for a, b in zip(found, row, strict=True))
            responses.append(value - reference - math.log(airflow) + along)
        fit = fit_robustly(rows, responses, weights)
        before, found, weights = found, fit.coefficients, fit.weights
        if all(abs(a - b) < 1e-5 * max(1.0, abs(a)) for a, b in zip(found, before, strict=True)):
            break
    return fit


def _airflow(pressure: float, resistance: float, share: float) -> float:
    """Solve the balance for q; written so that no share makes it lose digits."""
    linear = share * resistance
    root = math.sqrt(linear * linear + 4.0 * (1.0 - share) * pressure)
    return 2.0 * pressure / (linear + root)
