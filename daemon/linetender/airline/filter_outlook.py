"""When a filter will be due, and how sure that is.

A straight line through the loading over the hours of use, fitted so that wild points do not
pull it; the hours at which it meets the limit, with Fieller's interval. The date follows
from how much the line was used so far, whose irregularity widens the interval. What the
points do not say is not said: too few of them, or no rise that stands out, give no date.
"""

import enum
import math
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

from linetender.airline.filter import LOADED_INDEX
from linetender.airline.filter_flow import USUAL_SHARE, Trend, flow_trend
from linetender.airline.filter_history import FilterHistory, Measure, Series, series_of
from linetender.airline.robust_fit import CannotSolve, Crossing, crossing, fit_robustly

CONFIDENCE = 0.90

DUE_AIRFLOW_PART = 0.8
"""Airflow over that with the new filter at which it is due (1): a pre-use check takes no less
than 80 % of the taught normal as good air."""

LEAST_POINTS = 6
LEAST_FREEDOM = 4
LEAST_HOURS = 5.0
"""Fewer points, or fewer hours of use, give no projection (chosen): with less the scatter is
not known, and an interval is as long as the life of the filter."""

LEAST_DAYS = 14.0
LEAST_STRETCHES = 4
PACE_DAYS = 90.0
"""The pace of use is taken from so many days at least and at most (chosen): two weekends, and a
season."""

GREATEST_DAYS = 3650.0
"""Beyond ten years no date is told."""

DAY_S = 86_400.0
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class FilterCare:
    """When a filter counts as due.

    Attributes:
        resistance: Resistance over that when new (1, > 1).
        airflow_part: Airflow over that with the new filter (1, 0 to 1).
        share: Part of the fan's pressure that the new filter takes (1, 0 to 1).
        least_element_pa: Pressure across the flow element at the least permitted airflow
            (Pa), or None.
        good_for_hours: Hours of use after which it is due whatever it shows, or None.
        good_for_days: Likewise days since it was fitted, or None.
    """

    resistance: float = LOADED_INDEX
    airflow_part: float = DUE_AIRFLOW_PART
    share: float = USUAL_SHARE
    least_element_pa: float | None = None
    good_for_hours: float | None = None
    good_for_days: float | None = None


class Why(enum.Enum):
    """Why there is no projection, or what it rests on."""

    PROJECTED = "projected"
    FEW_POINTS = "few_points"
    FEW_HOURS = "few_hours"
    NO_RISE = "no_rise"
    NO_AIR_READINGS = "no_air_readings"


class Pace(NamedTuple):
    """How much the line is used.

    Attributes:
        hours_per_day: Mean (h/d).
        variance: Of the hours of one day ((h/d)²·d).
        days: Over which it was seen.
    """

    hours_per_day: float
    variance: float
    days: float


class Span(NamedTuple):
    """A date with its interval (s since 1970, UTC); an end is None where nothing bounds it."""

    at_s: float
    low_s: float | None
    high_s: float | None


@dataclass(frozen=True, slots=True)
class FilterOutlook:
    """How a filter stands.

    Attributes:
        history: What was seen of it.
        series: Its loading.
        why: Whether there is a projection, or why not.
        hours: Hours of use so far.
        trend: Its loading now and at the limit; None where nothing is fitted.
        pace: How much the line is used; None where that is not known yet.
        projected: When its loading will be at the limit; None where that is not known.
        due_s: From when on it is due (s since 1970, UTC), by whatever comes first; None where
            nothing says.
    """

    history: FilterHistory
    series: Series
    why: Why
    hours: float
    trend: Trend | None = None
    pace: Pace | None = None
    projected: Span | None = None
    due_s: float | None = None


def outlook_of(
    history: FilterHistory, care: FilterCare, exponent: float, now_s: float
) -> FilterOutlook:
    """Return how a filter stands.

    Args:
        history: What was seen of it.
        care: When it counts as due.
        exponent: n of Q = k·Δp^n of the flow element (1).
        now_s: The present (s since 1970, UTC).
    """
    series = series_of(history.points, exponent)
    pace = _pace(history, now_s)
    why, trend = _judged(history, series, care, exponent)
    projected = None
    if trend is not None and why is Why.PROJECTED:
        projected = _date(trend.due_hours, history, pace, now_s)
    dates = list(_calendar(history, care, pace, now_s))
    if projected is not None:
        dates.append(projected.at_s)
    due_s = min(dates, default=None)
    return FilterOutlook(history, series, why, history.hours, trend, pace, projected, due_s)


def _judged(
    history: FilterHistory, series: Series, care: FilterCare, exponent: float
) -> tuple[Why, Trend | None]:
    count = len(series.values)
    if count == 0:
        return Why.NO_AIR_READINGS, None
    if count < max(LEAST_POINTS, 2 + len(series.others[0]) + LEAST_FREEDOM):
        return Why.FEW_POINTS, None
    if history.hours < LEAST_HOURS:
        return Why.FEW_HOURS, None
    try:
        trend = _trend(series, care, exponent, history.hours)
    except CannotSolve:
        return Why.NO_RISE, None
    is_seen = trend.due_hours.at is not None and trend.due_hours.high is not None
    return (Why.PROJECTED if is_seen else Why.NO_RISE), trend


def _trend(series: Series, care: FilterCare, exponent: float, hours: float) -> Trend:
    if series.measure is not Measure.RESISTANCE:
        least_log = None
        if care.least_element_pa is not None:
            least_log = exponent * math.log(care.least_element_pa)
        return flow_trend(series, care.share, care.airflow_part, least_log, hours, CONFIDENCE)
    fit = fit_robustly([(1.0, each) for each in series.hours], series.values)
    new, slope = fit.coefficients
    if new <= 0.0:
        raise CannotSolve("the new filter has no resistance")
    due = crossing(fit, (1.0 - care.resistance, 0.0), (0.0, 1.0), 0.0, CONFIDENCE)
    seen = tuple(value / new for value in series.values)
    return Trend(due, (new + slope * hours) / new, care.resistance, seen)


def _pace(history: FilterHistory, now_s: float) -> Pace | None:
    known = [point for point in history.points if point.synchronised]
    if len(known) < LEAST_STRETCHES:
        return None
    begin_s = max(min(history.fitted_s, known[0].began_s), now_s - PACE_DAYS * DAY_S)
    days = (now_s - begin_s) / DAY_S
    if days < LEAST_DAYS:
        return None
    used = [0.0] * math.ceil(days)
    for point in known:
        if point.began_s >= begin_s:
            day = int((point.began_s - begin_s) / DAY_S)
            used[min(day, len(used) - 1)] += point.hours
    mean = sum(used) / days
    if mean <= 0.0:
        return None
    return Pace(mean, sum((each - mean) ** 2 for each in used) / (len(used) - 1), days)


def _date(found: Crossing, history: FilterHistory, pace: Pace | None, now_s: float) -> Span | None:
    """Turn hours of use into a date; one that is past is looked up, not reckoned."""
    assert found.at is not None
    left_h = found.at - history.hours
    if left_h <= 0.0:
        then = _reached_at(history, found.at)
        return None if then is None else Span(then, None, None)
    if pace is None or left_h / pace.hours_per_day > GREATEST_DAYS:
        return None
    days = left_h / pace.hours_per_day
    of_future = pace.variance * left_h / pace.hours_per_day**3
    of_mean = left_h**2 * pace.variance / pace.days / pace.hours_per_day**4
    of_use = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2.0) ** 2 * (of_future + of_mean)
    ends: list[float | None] = []
    for end, sign in ((found.low, -1.0), (found.high, 1.0)):
        assert end is not None
        away = math.sqrt(((end - found.at) / pace.hours_per_day) ** 2 + of_use)
        total = days + sign * away
        ends.append(now_s + max(0.0, total) * DAY_S if total <= GREATEST_DAYS else None)
    return Span(now_s + days * DAY_S, ends[0], ends[1])


def _calendar(
    history: FilterHistory, care: FilterCare, pace: Pace | None, now_s: float
) -> Iterator[float]:
    """Yield the dates that do not come from the loading."""
    if care.good_for_days is not None:
        yield history.fitted_s + care.good_for_days * DAY_S
    if care.good_for_hours is None:
        return
    reached = _reached_at(history, care.good_for_hours)
    if reached is not None:
        yield reached
    elif pace is not None:
        days = (care.good_for_hours - history.hours) / pace.hours_per_day
        yield now_s + min(days, GREATEST_DAYS) * DAY_S


def _reached_at(history: FilterHistory, hours: float) -> float | None:
    """Return when so many hours of use were full; None while they are not."""
    run_h = 0.0
    for point in history.points:
        if run_h + point.hours >= hours:
            return point.began_s + max(0.0, hours - run_h) * HOUR_S
        run_h += point.hours
    return None
