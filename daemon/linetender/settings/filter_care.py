"""When a station's filter is due, from its file and from what its memory holds."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from linetender.airline.filter_outlook import FilterCare, FilterOutlook, Why, outlook_of
from linetender.core.plan import AirPlan
from linetender.settings.remembered import FILTER, Remembered
from linetender.settings.station import FilterStanding
from linetender.settings.station_file import StationFile

DEFAULT_EXPONENT = 0.5
"""Where the station has no flow element: nothing is reckoned with it then."""


def care_of(station: StationFile, air: AirPlan | None) -> FilterCare | None:
    """Return when the filter counts as due; None where the file has no `[filter]`.

    Args:
        station: The station file.
        air: How air is derived: where it is calibrated the least permitted airflow, twice
            its uncertainty over it, is a limit as well.
    """
    table = station.filter
    if table is None:
        return None
    least_element_pa = None
    if air is not None and air.k_l_min is not None and air.required_l_min is not None:
        least_l_min = air.required_l_min / (1.0 - 2.0 * air.relative_uncertainty)
        least_element_pa = (least_l_min / air.k_l_min) ** (1.0 / air.exponent)
    return FilterCare(
        resistance=table.due_at_resistance,
        airflow_part=table.due_at_airflow_percent / 100.0,
        least_element_pa=least_element_pa,
        good_for_hours=table.good_for_hours,
        good_for_days=table.good_for_days,
    )


def exponent_of(air: AirPlan | None) -> float:
    """Return n of Q = k·Δp^n of the station's flow element."""
    return DEFAULT_EXPONENT if air is None else air.exponent


def with_filter(
    remembered: Remembered, station: StationFile, air: AirPlan | None
) -> tuple[Remembered, FilterStanding | None]:
    """Return what is remembered with the date of the filter, and how that filter stands.

    Out of a recording's header the date comes with it; out of a memory it is reckoned.
    """
    care = care_of(station, air)
    if care is None:
        return remembered, None
    if remembered.filter is None:
        return remembered, FilterStanding(care, None)
    outlook = outlook_of(remembered.filter, care, exponent_of(air), remembered.at_s)
    entry = filter_entry(outlook)
    shown = (*remembered.shown, entry)
    kept = FilterStanding(care, outlook)
    return replace(remembered, shown=shown, filter_due=entry["due_at"]), kept


def filter_entry(outlook: FilterOutlook) -> dict[str, Any]:
    """Return how a filter stands as plain data, for headers, reports and `--json`.

    Hours are h; `loading` and `limit` are resistance over that when new, or airflow over
    that with the new filter; dates are ISO 8601, empty where they are not known.
    """
    trend, projected, pace = outlook.trend, outlook.projected, outlook.pace
    is_told = trend is not None and outlook.why is Why.PROJECTED
    due = trend.due_hours if trend is not None else None
    return {
        "kind": FILTER,
        "made_at": date_text(outlook.history.fitted_s),
        "was_new": outlook.history.is_new,
        "label": outlook.history.label,
        "hours": _rounded(outlook.hours, 2),
        "uses": len(outlook.history.points),
        "measured_by": outlook.series.measure.value,
        "outlook": outlook.why.value,
        "loading": _rounded(trend.loading, 4) if trend is not None else None,
        "limit": _rounded(trend.limit, 4) if trend is not None else None,
        "due_hours": _rounded(due.at, 1) if due is not None and is_told else None,
        "due_hours_from": _rounded(due.low, 1) if due is not None else None,
        "due_hours_to": _rounded(due.high, 1) if due is not None and is_told else None,
        "jumps_at": [date_text(each) for each in outlook.series.jumps],
        "hours_per_week": None if pace is None else _rounded(7.0 * pace.hours_per_day, 2),
        "projected_at": "" if projected is None else date_text(projected.at_s),
        "projected_from": "" if projected is None else date_text(projected.low_s),
        "projected_to": "" if projected is None else date_text(projected.high_s),
        "due_at": date_text(outlook.due_s),
    }


def date_text(at_s: float | None) -> str:
    """Return an instant (s since 1970, UTC) as local time of day (ISO 8601), empty for none."""
    if at_s is None:
        return ""
    return datetime.fromtimestamp(at_s, UTC).astimezone().isoformat(timespec="seconds")


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals)
