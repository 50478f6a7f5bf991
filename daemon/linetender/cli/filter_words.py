"""How the filter stands, in words and as a small plot of 80 columns at most."""

from collections.abc import Iterator
from itertools import pairwise
from statistics import median

from linetender.airline.filter_flow import Trend
from linetender.airline.filter_history import Measure, Series
from linetender.airline.filter_outlook import (
    LEAST_DAYS,
    LEAST_HOURS,
    LEAST_POINTS,
    FilterOutlook,
    Why,
)
from linetender.settings.filter_care import date_text
from linetender.settings.station import FilterStanding

_ROWS = 12
_WIDTH = 46

_MEANT = {
    Measure.RESISTANCE: "Measured: pressure across the filter over airflow. The fan's speed does "
    "not matter to it.",
    Measure.FLOW_AT_SPEED: "Measured: airflow at the fan's speed. A kinked hose or a dirty fan "
    "looks the same\nas a loaded filter.",
    Measure.FLOW: "Measured: airflow alone. A jump is taken for another fan speed; anything else "
    "that\nslowly takes air looks the same as a loaded filter.",
}
_NOT_YET = {
    Why.NO_AIR_READINGS: "Nothing was measured yet: no date can be foretold.",
    Why.FEW_POINTS: f"Not enough yet to foretell a date: {LEAST_POINTS} uses or more are needed, "
    "four more\nafter each jump of the airflow.",
    Why.FEW_HOURS: f"Not enough yet to foretell a date: {LEAST_HOURS:g} h of use are needed.",
    Why.NO_RISE: "No loading stands out from the scatter yet: no date can be foretold.",
}


def standing_lines(standing: FilterStanding, now_s: float) -> Iterator[str]:
    """Yield how a filter stands, line by line.

    Args:
        standing: The filter.
        now_s: The present (s since 1970, UTC).
    """
    outlook = standing.outlook
    if outlook is None:
        yield "Nothing is kept of the filter yet: its hours count from the next run on."
        yield "When you fit a new one: linetender filter changed"
        return
    history = outlook.history
    what = f" ({history.label})" if history.label else ""
    if history.is_new:
        yield f"Filter{what}, new on {_day(history.fitted_s)}: {outlook.hours:.1f} h of use."
    else:
        since = f"{outlook.hours:.1f} h since"
        yield f"Filter{what}, found in place on {_day(history.fitted_s)}: {since}."
        yield "How old it was then is not known: it may be due sooner than what follows says."
    if outlook.pace is not None:
        yield f"Used {7.0 * outlook.pace.hours_per_day:.1f} h a week."
    yield from _foretold(outlook)
    if outlook.due_s is not None:
        is_due = outlook.due_s <= now_s
        yield f"DUE since {_day(outlook.due_s)}." if is_due else f"Due on {_day(outlook.due_s)}."
    if outlook.trend is not None:
        yield ""
        yield from _plot(outlook.series, outlook.trend)
    yield "Particle filters only: no pressure shows when charcoal is spent."


def _foretold(outlook: FilterOutlook) -> Iterator[str]:
    trend = outlook.trend
    if trend is not None:
        yield _MEANT[outlook.series.measure]
        yield f"{_level(outlook.series.measure, trend.loading)}; due at {_percent(trend.limit)}."
    for jump in outlook.series.jumps:
        yield f"The airflow jumped on {_day(jump)}: another fan speed, or the line was changed."
    if outlook.why is not Why.PROJECTED or trend is None or trend.due_hours.at is None:
        yield _NOT_YET.get(outlook.why, "")
        low = None if trend is None else trend.due_hours.low
        if low is not None and low > outlook.hours:
            yield f"Not before {low:.0f} h of use (95 %)."
        return
    due_h = trend.due_hours
    assert due_h.low is not None and due_h.high is not None
    yield f"At its limit at {due_h.at:.0f} h of use (90 %: {due_h.low:.0f} to {due_h.high:.0f} h)."
    projected = outlook.projected
    if projected is None:
        yield f"No date yet: {LEAST_DAYS:.0f} days of use under a clock that was set are needed."
    elif projected.low_s is not None:
        until = "open" if projected.high_s is None else _day(projected.high_s)
        yield f"That is about {_day(projected.at_s)} (90 %: {_day(projected.low_s)} to {until})."


def _level(measure: Measure, loading: float) -> str:
    if measure is Measure.RESISTANCE:
        return f"Its resistance is {_percent(loading)} of that when new"
    return f"It lets {_percent(loading)} of the new filter's air through"


def _plot(series: Series, trend: Trend) -> Iterator[str]:
    """One row for each stretch of hours: the median of its points, `|` the limit."""
    hours, seen = series.hours, trend.seen
    low = min(1.0, trend.limit, *seen)
    high = max(1.0, trend.limit, *seen)
    reach = high - low or 1.0
    end = hours[-1] * 1.0001
    edges = [end * place / min(_ROWS, len(hours)) for place in range(min(_ROWS, len(hours)) + 1)]
    name = "resistance" if series.measure is Measure.RESISTANCE else "airflow"
    ends = _percent(high).rjust(_WIDTH - len(_percent(low)))
    yield f"{'h of use':>9} {name:>11}  {_percent(low)}{ends}"
    for begin, until in pairwise(edges):
        inside = [s for h, s in zip(hours, seen, strict=True) if begin <= h < until]
        if not inside:
            continue
        value = median(inside)
        cells = [" "] * _WIDTH
        cells[round((trend.limit - low) / reach * (_WIDTH - 1))] = "|"
        cells[round((value - low) / reach * (_WIDTH - 1))] = "*"
        yield f"{until:9.1f} {_percent(value):>11}  {''.join(cells).rstrip()}"


def _percent(part: float) -> str:
    return f"{100.0 * part:.0f} %"


def _day(at_s: float) -> str:
    return date_text(at_s)[:10]
