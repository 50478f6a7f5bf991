"""The page of one session: one HTML file that needs nothing else."""

from html import escape

from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.stages import Priority
from linetender.reports.durations import moment, part_text, span
from linetender.reports.filter_story import filter_lines
from linetender.reports.plot import Plot, draw
from linetender.reports.proof_story import proof_lines
from linetender.reports.session_facts import Episode, Limit, SessionFacts
from linetender.reports.session_reading import ReadSession
from linetender.reports.story import (
    TimeOfDay,
    air_signal,
    answer_text,
    end_text,
    evidence_text,
    headline,
    in_proof,
    story,
    word_of,
    words_at,
)
from linetender.reports.style import STYLE
from linetender.reports.tables import Column, Html, listed, table
from linetender.reports.trace import Piece
from linetender.reports.units import QUANTITIES, amount, unit_of
from linetender.settings.remembered import CALIBRATED, TAUGHT

_KINDS = {Signal.SPO2_PERCENT: "oxygen", Signal.PULSE_RATE_BPM: "pulse"}
_SPANS = {
    Signal.SPO2_PERCENT: (84.0, 100.0),
    Signal.PULSE_RATE_BPM: (50.0, 120.0),
    Signal.AIR_PERCENT_OF_BASELINE: (0.0, 110.0),
}
_OTHERS = (Signal.HOOD_CO2_PPM, Signal.INTAKE_CO_PPM, Signal.FILTER_PRESSURE_PA)


def page(session: ReadSession) -> str:
    """Return the page of a session."""
    facts = session.facts
    begins = session.time_of_day(0.0)
    day = f", {begins:%Y-%m-%d %H:%M}" if begins else ""
    title = f"{facts.station}{day}: session report"
    parts = [
        f"<h1>{escape(title)}</h1>",
        story_block(session, "story"),
        "<h2>When it happened</h2>",
        _legend(facts),
        *(_figure(plot) for plot in plots_of(session)),
        "<h2>Alarms</h2>",
        _alarms(facts, session.time_of_day),
        "<h2>Figures</h2>",
        _figures(facts),
        _below(facts),
        _desaturations(facts),
        "<h2>Pre-use check</h2>",
        _check(facts),
        "<h2>Air, filter, calibration</h2>",
        _line(facts),
        "<h2>Exceptions granted</h2>",
        listed(facts.exceptions) if facts.exceptions else "<p>None.</p>",
        "<h2>What holds always</h2>",
        listed(facts.cautions),
        _source(facts),
    ]
    return document(title, "\n".join(parts))


def document(title: str, body: str) -> str:
    """Return a whole HTML file. It may load nothing, from anywhere."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'; img-src data:\">"
        '<link rel="icon" href="data:,">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head>\n"
        f"<body>{_HATCH}<main>\n{body}\n</main></body></html>\n"
    )


_HATCH = (
    '<svg width="0" height="0" style="position:absolute;width:0;height:0" aria-hidden="true">'
    '<defs><pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<path class="hatch-line" d="M0 8L8 0"/></pattern></defs></svg>'
)


def story_block(session: ReadSession, key: str, heading: str = "What happened") -> str:
    """Return what happened in plain words, with a frame that a LEAVE makes heavier."""
    facts = session.facts
    kind = " leave" if facts.leaves else ""
    sentences = "".join(f"<p>{escape(text)}</p>\n" for text in story(facts, session.time_of_day))
    return (
        f'<section class="story{kind}" aria-labelledby="{key}"><h2 id="{key}">'
        f'{escape(heading)}</h2><p class="first">{escape(headline(facts))}</p>\n'
        f"{sentences}</section>"
    )


def plots_of(session: ReadSession) -> list[Plot]:
    """Return what is drawn: air, oxygen, pulse, and what else matters and was measured."""
    air = air_signal(session.facts)
    wanted = [air, Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM, *_OTHERS]
    drawn = [signal for signal in wanted if signal is not None and signal in session.curves]
    return [_plot(session, signal, is_last=signal is drawn[-1]) for signal in drawn]


def _plot(session: ReadSession, signal: Signal, *, is_last: bool) -> Plot:
    facts = session.facts
    pieces, piece_ns = session.curves[signal]
    quantity = QUANTITIES[signal]
    is_flow = signal is Signal.AIRFLOW_L_MIN
    u = (facts.air.relative_uncertainty or 0.0) if facts.air and is_flow else 0.0
    highest = max((piece.high for piece in pieces), default=1.0)
    name = quantity.name[0].upper() + quantity.name[1:]
    return Plot(
        key=f"plot-{signal.value.replace('_', '-')}",
        kind=_KINDS.get(signal, "air" if signal is air_signal(facts) else "other"),
        title=f"{name}, {quantity.unit}",
        unit=quantity.unit,
        about=_about(facts, signal, pieces),
        pieces=pieces,
        piece_ns=piece_ns,
        gap_ns=SIGNAL_FACTS[signal].gap_ns,
        length_s=facts.length_s,
        span=_SPANS.get(signal, (0.0, highest)),
        relative_uncertainty=u,
        limits=_limits(facts, signal),
        alarms=facts.alarms,
        stages=facts.stages if is_last else (),
    )


def _about(facts: SessionFacts, signal: Signal, pieces: list[Piece]) -> str:
    if not pieces:
        return "No good reading."
    low = min(pieces, key=lambda piece: piece.low)
    high = max(pieces, key=lambda piece: piece.high)
    marks = ", ".join(
        f"{one.number} {word_of(one)} at {moment(one.at_s)}" for one in facts.alarms[:20]
    )
    return (
        f"From {amount(signal, round(low.low, 1))} at {moment(low.at_ns / 1e9)} to "
        f"{amount(signal, round(high.high, 1))} at {moment(high.at_ns / 1e9)}, over "
        f"{span(facts.length_s)}. Alarms: {marks or 'none'}."
    )


def _limits(facts: SessionFacts, signal: Signal) -> tuple[tuple[float, str], ...]:
    found = [one for one in facts.limits if one.signal == signal]
    lines = [(one.value, _limit_name(one)) for one in found]
    if facts.air and signal is Signal.AIRFLOW_L_MIN and facts.air.required_l_min:
        required = facts.air.required_l_min
        lines.append((required, f"required {required:g}\N{NO-BREAK SPACE}L/min"))
    return tuple(lines)


def _limit_name(limit: Limit) -> str:
    value = f"{limit.value:.4g}\N{NO-BREAK SPACE}{unit_of(limit.signal)}"
    return f"{limit.rule.replace('_', ' ')} {value}"


def _figure(plot: Plot) -> str:
    return (
        f"<figure><h3>{escape(plot.title)}</h3>\n{draw(plot)}"
        f"<figcaption>{escape(_caption(plot))}</figcaption></figure>"
    )


def _caption(plot: Plot) -> str:
    told = "Line: mean. Shaded: from the lowest to the highest reading."
    if plot.relative_uncertainty:
        u = part_text(2.0 * plot.relative_uncertainty)
        told += f" Between the dotted edges: two standard uncertainties ({u}) up and down."
    elif plot.key == "plot-air-percent-of-baseline":
        told += " Its uncertainty is not known: this line is not calibrated."
    if plot.limits:
        told += f" Dashed: limits, {', '.join(name for _, name in plot.limits)}."
    return told


def _legend(facts: SessionFacts) -> str:
    if not facts.alarms:
        return '<p class="muted">No alarm to mark.</p>'
    return (
        '<p class="muted">Numbers over the plots are those of the alarms: a filled square on a '
        "whole line is a LEAVE, a ring on a dashed line is a LOOK.</p>"
    )


def _alarms(facts: SessionFacts, time_of_day: TimeOfDay) -> str:
    if not facts.alarms:
        return "<p>None.</p>"
    columns = (
        Column("No."),
        Column("When"),
        Column("What"),
        Column("Cause named"),
        Column("What to do"),
        Column("Answer and end"),
    )
    rows = [_alarm_row(one, facts, time_of_day) for one in facts.alarms]
    return table("Alarms in the order of time, since the beginning", columns, rows)


def _alarm_row(one: Episode, facts: SessionFacts, time_of_day: TimeOfDay) -> list[str]:
    day = time_of_day(one.at_s)
    kind = "leave" if one.priority == Priority.HIGH else "look"
    value = evidence_text(one)
    risen = "" if one.leave_s in (None, one.at_s) else f"; {words_at(one, moment(one.at_s))}"
    what = (
        f'<span class="word {kind}">{word_of(one)}</span> '
        f"{escape(one.say)}{escape(value)}{escape(risen)}{escape(in_proof(one))}"
    )
    false = ". Marked as false" if one.is_false else ""
    before = "".join(f" First thought: {text}" for text in one.causes[:-1])
    return [
        str(one.number),
        moment(one.at_s) + (f" ({day:%H:%M:%S})" if day else ""),
        Html(what),
        (one.cause + before) or "not named",
        one.do,
        f"{answer_text(one)}; {end_text(one, facts)}{false}",
    ]


def _figures(facts: SessionFacts) -> str:
    over = (
        f"while the hood was worn, {span(facts.worn_s)}"
        if facts.figures_of == "worn"
        else f"the whole recording, {span(facts.length_s)}"
    )
    columns = (
        Column("Quantity"),
        Column("Good readings", is_number=True),
        Column("Mean", is_number=True),
        Column("Lowest", is_number=True),
        Column("Highest", is_number=True),
        Column("Not good"),
    )
    rows = []
    for name, one in facts.signals.items():
        lowest = (
            f"{amount(name, one.lowest.value)} at {moment(one.lowest.at_s)}" if one.lowest else ""
        )
        rows.append(
            [
                QUANTITIES[Signal(name)].name,
                f"{part_text(one.coverage)} of the time",
                "" if one.mean is None else amount(name, one.mean),
                lowest,
                amount(name, one.highest.value) if one.highest else "",
                ", ".join(f"{n} × {why.replace('_', ' ')}" for why, n in one.not_good.items()),
            ]
        )
    return table(f"Over the time looked at: {over}", columns, rows)


def _below(facts: SessionFacts) -> str:
    rows = [
        [QUANTITIES[Signal(name)].name, amount(name, float(limit)), span(below), share]
        for name, one in facts.signals.items()
        for limit, below in one.below_s.items()
        for share in [part_text(below / one.good_s) if one.good_s else ""]
    ]
    columns = (
        Column("Quantity"),
        Column("Below", is_number=True),
        Column("Time", is_number=True),
        Column("Of the good time", is_number=True),
    )
    return table("Time below limits", columns, rows) if rows else ""


def _desaturations(facts: SessionFacts) -> str:
    if not facts.desaturations:
        return ""
    good_s = facts.signals[Signal.SPO2_PERCENT].good_s
    rows = [
        [
            f"{depth.points:g} points or more",
            str(depth.count),
            f"{depth.per_hour:g} /h" if depth.per_hour is not None and good_s >= 3600 else "",
            ", ".join(moment(one.at_s) for one in depth.each[:10])
            + (" …" if depth.count > 10 else ""),
        ]
        for depth in facts.desaturations
    ]
    columns = (
        Column("Depth"),
        Column("Number", is_number=True),
        Column("Per hour", is_number=True),
        Column("When"),
    )
    caption = (
        "Desaturations: oxygen so far below the mean of the last 120 good seconds for 10 s or "
        "longer; per hour only from one hour of good readings on"
    )
    return table(caption, columns, rows)


def _check(facts: SessionFacts) -> str:
    if not facts.steps:
        return "<p>No pre-use check stands in this recording.</p>"
    columns = (Column("Step"), Column("When"), Column("Result"), Column("Why"))
    rows = [
        [step.step.replace("_", " "), moment(step.at_s), step.state, step.why]
        for step in facts.steps
    ]
    return table("Steps and how they ended", columns, rows)


def _line(facts: SessionFacts) -> str:
    told: list[str] = []
    if facts.air is None:
        told.append("Air was NOT watched: no air sensor.")
    elif facts.air.is_calibrated:
        u = part_text(facts.air.relative_uncertainty or 0.0)
        told.append(f"Air is told in L/min; standard uncertainty {u}.")
    else:
        told.append("Air is told in percent of this session's normal: not calibrated.")
    if facts.air:
        told.append(f"Normal pressure taught or stated: {facts.air.normal_pa:g} Pa.")
    told += [
        f"Normal of this session, from {moment(one.at_s)} on: "
        f"{QUANTITIES[Signal(one.signal)].name} {amount(one.signal, one.value)} "
        f"({one.source.replace('_', ' ')})."
        for one in facts.baselines
    ]
    told += filter_lines(facts)
    known = [one for one in facts.calibrations if one["kind"] in (TAUGHT, CALIBRATED)]
    told.append(f"Calibrations in the recording: {len(known)}.")
    told += proof_lines(facts.calibrations)
    told.append(f"LEAVEs marked as false by the wearer: {facts.false_leaves}.")
    return listed(told)


def _source(facts: SessionFacts) -> str:
    files = ", ".join(facts.files)
    return (
        f'<p class="muted">From {escape(files)}, recorded by linetender '
        f"{escape(facts.software)}. This page holds health data.</p>"
    )
