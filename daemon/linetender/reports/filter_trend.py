"""How filters loaded from session to session: a trend, a table, and what follows from it."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from html import escape

from linetender.airline.filter_history import Measure
from linetender.reports.filter_story import (
    CANNOT_BE_READ,
    NOTHING,
    FilterSeen,
    due_text,
    filter_seen,
    limit_reached,
    name_of,
    percent,
    standing,
    unreadable,
)
from linetender.reports.session_facts import SessionFacts
from linetender.reports.tables import Column, listed, table
from linetender.reports.trend_plot import Extent, TrendPlot

_COLUMNS = (
    Column("No."),
    Column("Filter"),
    Column("Use", is_number=True),
    Column("Loading", is_number=True),
    Column("Due\N{NO-BREAK SPACE}at", is_number=True),
    Column("When it will be at its limit"),
    Column("Due"),
)

_NAMES = {
    True: ("resistance", "Resistance of the filter, % of that when new"),
    False: ("airflow", "Air that the filter lets through, % of that with the new one"),
}
"""Whether it is measured by resistance; else by the airflow, which falls."""


def filter_plots(facts: Sequence[SessionFacts]) -> list[TrendPlot]:
    """Return the loading over the sessions: one plot for each way in which it is measured."""
    seen = _seen(facts)
    plots = []
    for by_resistance, (key, title) in _NAMES.items():
        own = {
            number: one
            for number, one in seen.items()
            if one.loading is not None and (one.measured_by is Measure.RESISTANCE) is by_resistance
        }
        if own:
            plots.append(_plot(key, title, own, len(facts)))
    return plots


def filter_block(facts: Sequence[SessionFacts]) -> str:
    """Return the table of the filter in each session, and how it stood in the last, as HTML."""
    seen = _seen(facts)
    text = "".join(
        f"<p>Session {number}: {escape(unreadable(one))}</p>\n"
        for number, one in enumerate(facts, 1)
        if CANNOT_BE_READ in one.filter
    )
    if not seen:
        return text or f"<p>{NOTHING}</p>"
    rows = [_row(number, one) for number, one in seen.items()]
    text += table("The filter as each session began; intervals are of 90 %", _COLUMNS, rows)
    for station, number in _newest(facts, seen):
        told = standing(seen[number], facts[number - 1].begins)
        text += (
            f'<p class="lead">{escape(station)}, newest state, as session {number} began:</p>'
            f"\n{listed(told)}"
        )
    return text


def filter_summaries(facts: Sequence[SessionFacts]) -> list[str]:
    """Say in a line for each station how its filter stood last; none where nothing tells."""
    seen = _seen(facts)
    when = "the session" if len(facts) == 1 else "the last of them"
    lines = []
    for station, number in _newest(facts, seen):
        found = seen[number]
        due = due_text(found, facts[number - 1].begins)
        hours = f"{found.hours:.1f}\N{NO-BREAK SPACE}h of use"
        lines.append(f"Filter of {station}, {name_of(found)}: {hours} when {when} began. {due}")
    return lines


def _newest(
    facts: Sequence[SessionFacts], seen: Mapping[int, FilterSeen]
) -> Iterator[tuple[str, int]]:
    """Yield each station that tells of a filter, and the session with its newest state."""
    for station in dict.fromkeys(one.station for one in facts):
        own = [n for n, one in enumerate(facts, 1) if one.station == station and n in seen]
        if own:
            yield station, max(own, key=lambda n: _age(seen[n]))


def _seen(facts: Sequence[SessionFacts]) -> dict[int, FilterSeen]:
    """Return the filter by the number of the session; those that tell of none are left out."""
    found = {
        number: filter_seen(one.calibrations)
        for number, one in enumerate(facts, 1)
        if CANNOT_BE_READ not in one.filter
    }
    return {number: one for number, one in found.items() if one is not None}


def _age(seen: FilterSeen) -> tuple[datetime, float]:
    """Sort by when it was fitted, then by its hours: sessions are given in any order."""
    return datetime.fromisoformat(seen.made_at), seen.hours


def _plot(key: str, title: str, own: Mapping[int, FilterSeen], sessions: int) -> TrendPlot:
    values = {n: 100.0 * one.loading for n, one in own.items() if one.loading is not None}
    limits = {round(100.0 * one.limit) for one in own.values() if one.limit is not None}
    told = ", ".join(
        f"{values[n]:.0f} at {one.hours:.1f} h in session {n}" for n, one in list(own.items())[:20]
    )
    return TrendPlot(
        key=f"trend-filter-{key}",
        kind="other",
        title=title,
        unit="%",
        about=f"In percent: {told}.",
        sessions=sessions,
        figures={number: Extent(value) for number, value in values.items()},
        limits=tuple(float(limit) for limit in sorted(limits)),
    )


def _row(number: int, seen: FilterSeen) -> list[str]:
    return [
        str(number),
        name_of(seen),
        f"{seen.hours:.1f}\N{NO-BREAK SPACE}h",
        "not known" if seen.loading is None else percent(seen.loading),
        "" if seen.limit is None else percent(seen.limit),
        limit_reached(seen),
        seen.due_at[:10] or "not known",
    ]
