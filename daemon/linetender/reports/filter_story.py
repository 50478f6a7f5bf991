"""What a recording tells of the filter as its session began, in sentences."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

import msgspec

from linetender.airline.filter_history import Measure
from linetender.airline.filter_outlook import LEAST_DAYS, LEAST_HOURS, LEAST_POINTS, Why
from linetender.reports.session_facts import SessionFacts
from linetender.settings.remembered import FILTER

_NBSP = "\N{NO-BREAK SPACE}"

NOTHING = "Nothing is recorded of the filter."

CANNOT_BE_READ = "cannot_be_read"
"""Key under which the facts of a filter say why what is recorded is no state of one."""

_SETTINGS = {
    "efficiency_class": "class {}",
    "medium": "medium {}",
    "width_mm": f"{{:g}}{_NBSP}mm wide",
    "height_mm": f"{{:g}}{_NBSP}mm high",
    "rated_pa": f"{{:g}}{_NBSP}Pa when new",
    "rated_airflow_l_min": f"rated at {{:g}}{_NBSP}L/min",
    "due_at_resistance": "due at {:g} times its resistance when new",
    "due_at_airflow_percent": f"due at {{:g}}{_NBSP}% of the new filter's airflow",
    "good_for_hours": f"due after {{:g}}{_NBSP}h of use in any case",
    "good_for_days": "due after {:g} days in any case",
}

NOT_YET = {
    Why.NO_AIR_READINGS: "nothing was measured of it yet",
    Why.FEW_POINTS: f"too few uses yet, {LEAST_POINTS} at least are needed",
    Why.FEW_HOURS: f"too few hours yet, {LEAST_HOURS:g}{_NBSP}h at least are needed",
    Why.NO_RISE: "no loading stands out from the scatter yet",
}
"""Why nobody can say when it will be loaded."""


class FilterSeen(msgspec.Struct, frozen=True, kw_only=True):
    """How a filter stood when a session began, as a header has it.

    Attributes:
        made_at: Since when it is in place (ISO 8601).
        was_new: Whether it was new then.
        hours: Hours of use since then (h).
        measured_by: What its loading is measured by.
        outlook: Whether it can be foretold when it will be loaded.
        label: Its class, or what its owner noted.
        loading: Resistance over that when new, or airflow over that with the new filter (1).
        limit: What it is when the filter is due.
        due_hours, due_hours_from, due_hours_to: Hours of use at which it will be there, with
            the 90 % interval.
        projected_at, projected_from, projected_to: When that will be (ISO 8601), or empty.
        due_at: From when on it is due, by whatever comes first (ISO 8601), or empty.
    """

    made_at: str
    was_new: bool
    hours: float
    measured_by: Measure
    outlook: Why
    label: str = ""
    loading: float | None = None
    limit: float | None = None
    due_hours: float | None = None
    due_hours_from: float | None = None
    due_hours_to: float | None = None
    projected_at: str = ""
    projected_from: str = ""
    projected_to: str = ""
    due_at: str = ""

    def __post_init__(self) -> None:
        """Refuse times that are none."""
        for text in (self.made_at, *filter(None, self._later())):
            if _instant(text).utcoffset() is None:
                raise ValueError(f"{text} tells no offset from UTC")

    def _later(self) -> tuple[str, ...]:
        return self.projected_at, self.projected_from, self.projected_to, self.due_at


def filter_seen(entries: Iterable[Mapping[str, Any]]) -> FilterSeen | None:
    """Return how the filter stood; None where the station keeps no ledger of it.

    Args:
        entries: What the station's memory had in force, out of the header.

    Raises:
        ValueError: the entry lacks something, or is of the wrong kind.
    """
    found = [entry for entry in entries if entry.get("kind") == FILTER]
    return msgspec.convert(found[-1], FilterSeen) if found else None


def filter_lines(facts: SessionFacts) -> list[str]:
    """Return what is told of the filter of a session, a sentence each."""
    if CANNOT_BE_READ in facts.filter:
        return [unreadable(facts)]
    lines = []
    words = [
        text.format(facts.filter[key]) for key, text in _SETTINGS.items() if key in facts.filter
    ]
    if words:
        lines.append(f"Filter, by the station file: {', '.join(words)}.")
    seen = filter_seen(facts.calibrations)
    if seen is not None:
        return lines + list(standing(seen, facts.begins))
    return [*lines, "Nothing is kept of its hours." if words else NOTHING]


def unreadable(facts: SessionFacts) -> str:
    """Say that a header has what is no state of a filter."""
    return f"What is recorded of the filter cannot be read: {facts.filter[CANNOT_BE_READ]}."


def standing(seen: FilterSeen, begins: str) -> Iterator[str]:
    """Yield how a filter stood.

    Args:
        seen: The filter.
        begins: When the session began (ISO 8601), or empty where that was not known.
    """
    hours = f"{seen.hours:.1f}{_NBSP}h of use"
    yield f"Filter, {name_of(seen)}: {hours} when the session began."
    if not seen.was_new:
        yield "How old it was then is not known: it may be due sooner than what follows says."
    if seen.loading is not None and seen.limit is not None:
        limit = percent(seen.limit)
        if seen.measured_by is Measure.RESISTANCE:
            yield f"Its resistance: {percent(seen.loading)} of that when new; due at {limit}."
        else:
            by = "at the fan's speed" if seen.measured_by is Measure.FLOW_AT_SPEED else "by itself"
            yield (
                f"It lets {percent(seen.loading)} of the new filter's air through; due at {limit}. "
                f"Measured is the airflow {by}: what else takes air looks the same."
            )
    yield f"{limit_reached(seen)}."
    yield due_text(seen, begins)


def due_text(seen: FilterSeen, begins: str) -> str:
    """Say when a filter is due; the arguments are those of `standing`."""
    if not seen.due_at:
        return "When it is due is not known."
    is_past = bool(begins) and _instant(seen.due_at) <= _instant(begins)
    return f"{'It was due since' if is_past else 'Due on'} {seen.due_at[:10]}."


def name_of(seen: FilterSeen) -> str:
    """Name a filter by its label and the day since which it is in place."""
    label = f"{seen.label}, " if seen.label else ""
    return f"{label}{'new on' if seen.was_new else 'found in place on'} {seen.made_at[:10]}"


def limit_reached(seen: FilterSeen) -> str:
    """Say when its loading will be at the limit, with the 90 % interval, or why nobody knows."""
    low, high = seen.due_hours_from, seen.due_hours_to
    if seen.due_hours is None or low is None or high is None:
        why = NOT_YET.get(seen.outlook, "not known")
        return f"No date can be foretold: {why}"
    interval = f"90{_NBSP}%: {low:.0f} to {high:.0f}{_NBSP}h"
    hours = f"At its limit at {seen.due_hours:.0f}{_NBSP}h of use ({interval})"
    if not seen.projected_at:
        return f"{hours}; no date yet, {LEAST_DAYS:.0f} days under a clock that is right are needed"
    day = seen.projected_at[:10]
    if not seen.projected_from:
        return f"{hours}: since {day}" if seen.hours >= seen.due_hours else f"{hours}: {day}"
    until = seen.projected_to[:10] or "open"
    return f"{hours}, about {day} (90{_NBSP}%: {seen.projected_from[:10]} to {until})"


def percent(part: float) -> str:
    """Write a loading."""
    return f"{100.0 * part:.0f}{_NBSP}%"


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)
