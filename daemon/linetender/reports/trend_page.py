"""The page of several sessions: a table and trends over them, then each in plain words."""

from collections.abc import Mapping, Sequence
from html import escape

from linetender.annunciation.cautions import CAUTIONS
from linetender.core.signals import Signal
from linetender.reports.durations import part_text, span
from linetender.reports.filter_trend import filter_block, filter_plots
from linetender.reports.page import document, story_block
from linetender.reports.session_facts import SessionFacts
from linetender.reports.session_reading import ReadSession
from linetender.reports.tables import Column, listed, table
from linetender.reports.trend_plot import Extent, TrendPlot, draw_trend
from linetender.reports.units import QUANTITIES, amount

_DRAWN = {
    Signal.AIRFLOW_L_MIN: "air",
    Signal.AIR_PERCENT_OF_BASELINE: "air",
    Signal.SPO2_PERCENT: "oxygen",
    Signal.PULSE_RATE_BPM: "pulse",
    Signal.FILTER_PRESSURE_PA: "other",
}

_BARS = "Dot: mean. Bar: from the lowest to the highest reading."
_LOADING = "Dot: loading as the session began. Dashed: the filter is due."

COLUMNS = (
    Column("No."),
    Column("Session"),
    Column("Worn", is_number=True),
    Column("LEAVE", is_number=True),
    Column("False", is_number=True),
    Column("LOOK", is_number=True),
    Column("Air, mean", is_number=True),
    Column("Lowest oxygen", is_number=True),
    Column("Below 90\N{NO-BREAK SPACE}%", is_number=True),
    Column("Air readings good", is_number=True),
)


def trend_page(sessions: Sequence[ReadSession]) -> str:
    """Return one page about several sessions, in the order in which they are given."""
    title = f"{len(sessions)} sessions: report"
    rows = [_row(number, one) for number, one in enumerate(sessions, 1)]
    facts = [one.facts for one in sessions]
    kind = " leave" if any(one.leaves for one in facts) else ""
    parts = [
        f"<h1>{escape(title)}</h1>",
        f'<section class="story{kind}" aria-labelledby="all"><h2 id="all">All together</h2>'
        f'<p class="first">{escape(total(facts))}</p></section>',
        "<h2>Session by session</h2>",
        table("Figures over the time for which the hood was worn, if it was", COLUMNS, rows),
        "<h2>Trends</h2>",
        *(_figure(plot, _BARS) for plot in trends_of(facts)),
        "<h2>The filter</h2>",
        *(_figure(plot, _LOADING) for plot in filter_plots(facts)),
        filter_block(facts),
        "<h2>Each session</h2>",
        *(
            story_block(one, f"session-{number}", f"{number}. {name_of(one)}")
            for number, one in enumerate(sessions, 1)
        ),
        "<h2>What holds always</h2>",
        listed(caution.full for caution in CAUTIONS),
        '<p class="muted">This page holds health data.</p>',
    ]
    return document(title, "\n".join(parts))


def total(facts: Sequence[SessionFacts]) -> str:
    """Say in a sentence what all sessions come to."""
    worn_s = sum(one.worn_s for one in facts)
    leaves = sum(one.leaves for one in facts)
    false = sum(one.false_leaves for one in facts)
    looks = sum(one.looks for one in facts)
    proofs = sum(bool(alarm.proof) for one in facts for alarm in one.alarms)
    asked = f" {proofs} of these in proof tests." if proofs else ""
    return (
        f"{len(facts)} sessions, the hood worn for {span(worn_s)}: LEAVE {leaves} ×, of which "
        f"{false} marked as false; LOOK {looks} ×.{asked}"
    )


def trends_of(facts: Sequence[SessionFacts]) -> list[TrendPlot]:
    """Return what is drawn: each quantity that any session has."""
    plots: list[TrendPlot] = []
    for signal, kind in _DRAWN.items():
        figures = {
            number: Extent(one.mean, one.lowest.value, one.highest.value)
            for number, facts_of_one in enumerate(facts, 1)
            if (one := facts_of_one.signals.get(signal)) is not None
            and one.mean is not None
            and one.lowest is not None
            and one.highest is not None
        }
        all_have_flow = all(Signal.AIRFLOW_L_MIN in one.signals for one in facts)
        if not figures or (signal is Signal.AIR_PERCENT_OF_BASELINE and all_have_flow):
            continue
        name = QUANTITIES[signal].name
        plots.append(
            TrendPlot(
                key=f"trend-{signal.value.replace('_', '-')}",
                kind=kind,
                title=f"{name[0].upper()}{name[1:]}, {QUANTITIES[signal].unit}",
                unit=QUANTITIES[signal].unit,
                about=_about(signal, figures),
                sessions=len(facts),
                figures=figures,
            )
        )
    return plots


def _about(signal: Signal, figures: Mapping[int, Extent]) -> str:
    told = [(number, amount(signal, one.mean)) for number, one in figures.items()]
    (first, at_first), (last, at_last) = told[0], told[-1]
    if len(told) == 1:
        return f"Only session {first} has it: mean {at_first}."
    return f"Mean {at_first} in session {first}, {at_last} in session {last}."


def name_of(session: ReadSession) -> str:
    """Name a session by its station and when it began, or else by its file."""
    begins = session.time_of_day(0.0)
    facts = session.facts
    return f"{facts.station}, {begins:%Y-%m-%d %H:%M}" if begins else facts.files[0]


def _row(number: int, session: ReadSession) -> list[str]:
    facts = session.facts
    air = facts.signals.get(Signal.AIRFLOW_L_MIN) or facts.signals.get(
        Signal.AIR_PERCENT_OF_BASELINE
    )
    air_unit = "L/min" if Signal.AIRFLOW_L_MIN in facts.signals else "%"
    oxygen = facts.signals.get(Signal.SPO2_PERCENT)
    return [
        str(number),
        name_of(session),
        span(facts.worn_s),
        str(facts.leaves),
        str(facts.false_leaves),
        str(facts.looks),
        "" if air is None or air.mean is None else f"{air.mean:g} {air_unit}",
        f"{oxygen.lowest.value:g} %" if oxygen and oxygen.lowest else "",
        span(oxygen.below_s.get("90", 0.0)) if oxygen else "",
        part_text(air.coverage) if air else "not watched",
    ]


def _figure(plot: TrendPlot, key: str) -> str:
    return (
        f"<figure><h3>{escape(plot.title)}</h3>\n{draw_trend(plot)}<figcaption>{key} "
        f"{escape(plot.about)}</figcaption></figure>"
    )
