"""What happened, in plain words: the beginning of each report, and what the terminal shows."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime

from linetender.annunciation.words import PRIORITY_WORDS
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.reports.durations import moment, part_text, span
from linetender.reports.proof_story import proof_summary
from linetender.reports.session_facts import Episode, SessionFacts
from linetender.reports.units import QUANTITIES, amount

TimeOfDay = Callable[[float], datetime | None]

MOST_TOLD = 6
"""So many alarms are told one by one; the list holds them all (chosen)."""

_UNIT = re.compile(r"(?<=\d) (?=%|/min|L/min|Pa|s\b|min\b|h\b)")
"""A space that must not end a line: between a number and its unit."""

POOR_COVERAGE = 0.95
"""Under this part of good readings the story says that much was not seen (chosen)."""

_BY = {"wearer": "by the wearer", "attendant": "by the attendant", "remote": "from afar"}


def headline(facts: SessionFacts) -> str:
    """Say in one sentence how the session went."""
    if facts.leaves:
        leaves = [one for one in facts.alarms if one.priority == Priority.HIGH]
        # What nobody asked for goes first.
        first = min(leaves, key=lambda one: bool(one.proof))
        also = f" {counted(facts.leaves, 'LEAVE')} in all." if facts.leaves > 1 else ""
        cause = f" Cause: {first.cause}" if first.cause else ""
        when = moment(first.leave_s or first.at_s)
        return f"LEAVE at {when}{in_proof(first)}: {first.say}{cause}{also}"
    if facts.looks:
        first = facts.alarms[0]
        also = f" {facts.looks} in all." if facts.looks > 1 else ""
        return f"No LEAVE. LOOK at {moment(first.at_s)}{in_proof(first)}: {first.say}{also}"
    return "Nothing happened: no alarm."


def story(facts: SessionFacts, time_of_day: TimeOfDay) -> list[str]:
    """Tell what happened, a sentence or two for each thing, in the order of weight."""
    told = list(_episodes(facts, time_of_day))
    if len(facts.alarms) > len(told):
        told.append(f"{len(facts.alarms) - len(told)} further alarms stand in the list.")
    sentences = [
        use_text(facts, time_of_day),
        *told,
        *_air(facts),
        *_oxygen(facts),
        *_check(facts),
        *_proof(facts),
        *_unseen(facts),
    ]
    return [_UNIT.sub("\N{NO-BREAK SPACE}", text) for text in sentences]


def use_text(facts: SessionFacts, time_of_day: TimeOfDay) -> str:
    """Say for how long the hood was worn, and from when to when."""
    length = f"The recording lasts {span(facts.length_s)}"
    begins = time_of_day(0.0)
    if begins is not None:
        length += f", from {begins:%Y-%m-%d %H:%M:%S}"
    if facts.figures_of != "worn":
        return f"{length}. The hood was not worn."
    first = next(stage for stage in facts.stages if stage.stage == Stage.WORN)
    return f"{length}. The hood was worn for {span(facts.worn_s)}, from {moment(first.at_s)} on."


def _episodes(facts: SessionFacts, time_of_day: TimeOfDay) -> Iterator[str]:
    before = ""
    for one in _told(facts):
        cause = f" Cause: {one.cause}" if one.cause else ""
        yield episode_text(
            one, facts, time_of_day, " Cause: the same." if cause and cause == before else cause
        )
        before = cause or before


def episode_text(one: Episode, facts: SessionFacts, time_of_day: TimeOfDay, cause: str) -> str:
    """Tell an alarm: when, what, why, and how it ended."""
    value = evidence_text(one)
    day = time_of_day(one.at_s)
    when = moment(one.at_s) + (f" ({day:%H:%M:%S})" if day else "")
    false = " The wearer marked it as false." if one.is_false else ""
    said = one.say.rstrip(".")
    end = f" {answer_text(one)}; {end_text(one, facts)}."
    return f"{one.number}. {words_at(one, when)}{in_proof(one)}: {said}{value}.{cause}{end}{false}"


def evidence_text(one: Episode) -> str:
    """Return the value that decided, in brackets, or nothing."""
    if one.evidence is None:
        return ""
    return f" ({one.evidence:g}\N{NO-BREAK SPACE}{one.evidence_unit})"


def words_at(one: Episode, when: str) -> str:
    """Say what reached the wearer, and when: of one that became more urgent, both."""
    if one.leave_s is None or one.leave_s == one.at_s:
        return f"{word_of(one)} at {when}"
    return f"LOOK at {when}, LEAVE from {moment(one.leave_s)} on"


def in_proof(one: Episode) -> str:
    """Say that an alarm was asked for by a proof test, or nothing."""
    return f", in the proof test ({one.proof.replace('_', ' ')})" if one.proof else ""


def word_of(one: Episode) -> str:
    """Return the word that reached the wearer."""
    return PRIORITY_WORDS[Priority(one.priority)]


def answer_text(one: Episode) -> str:
    """Say whether and by whom an alarm was answered."""
    if one.answered_s is None:
        return "Not answered"
    by = _BY.get(one.answered_by, "")
    return f"Answered {by} after {span(one.answered_s - one.at_s)}".replace("  ", " ")


def end_text(one: Episode, facts: SessionFacts) -> str:
    """Say when an alarm was over."""
    if one.over_s is None:
        return "not over when the recording ended"
    why = f", because {one.over_why}" if one.over_why else ""
    return f"over after {span(one.over_s - one.at_s)}{why}"


def counted(count: int, thing: str) -> str:
    """Write a number of things: 1 LEAVE, 2 LEAVEs."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def air_signal(facts: SessionFacts) -> Signal | None:
    """Return the quantity by which air is told: L/min where calibrated, else percent."""
    if facts.air is None:
        return None
    return Signal.AIRFLOW_L_MIN if facts.air.is_calibrated else Signal.AIR_PERCENT_OF_BASELINE


def _told(facts: SessionFacts) -> list[Episode]:
    by_weight = sorted(facts.alarms, key=lambda one: one.priority != Priority.HIGH)
    return sorted(by_weight[:MOST_TOLD], key=lambda one: one.number)


def _air(facts: SessionFacts) -> Iterator[str]:
    signal = air_signal(facts)
    if signal is None:
        yield "Air was NOT watched: no air sensor."
        return
    figures = facts.signals[signal]
    if figures.mean is None or figures.lowest is None:
        yield "There is no good reading of the air."
        return
    of = " of this session's normal" if signal is Signal.AIR_PERCENT_OF_BASELINE else ""
    yield (
        f"Air: {amount(signal, figures.mean)}{of} on average, lowest "
        f"{amount(signal, figures.lowest.value)} at {moment(figures.lowest.at_s)}{_doubt(facts)}."
    )


def _doubt(facts: SessionFacts) -> str:
    """How sure an airflow is; nothing where air is told in percent."""
    relative = facts.air.relative_uncertainty if facts.air is not None else None
    return "" if relative is None else f" (each within ±{200.0 * relative:.0f} %, 95 %)"


def _oxygen(facts: SessionFacts) -> Iterator[str]:
    figures = facts.signals.get(Signal.SPO2_PERCENT)
    if figures is None:
        return
    if figures.mean is None or figures.lowest is None:
        yield "There is no good reading of the oxygen in the blood."
        return
    below = figures.below_s.get("90", 0.0)
    drops = facts.desaturations[0].count if facts.desaturations else 0
    yield (
        f"Oxygen: {figures.mean:g} % on average, lowest {figures.lowest.value:g} % at "
        f"{moment(figures.lowest.at_s)}; {span(below) if below else 'no time'} below 90 %; "
        f"{counted(drops, 'drop') if drops else 'no drop'} of 3 points or more."
    )


def _check(facts: SessionFacts) -> Iterator[str]:
    if not facts.steps:
        if facts.worn_s:
            yield "No pre-use check was made."
        return
    refused = [step for step in facts.steps if step.state == "failed"]
    skipped = [step for step in facts.steps if step.state == "skipped"]
    if refused:
        yield f"Pre-use check: {refused[-1].step.replace('_', ' ')} failed."
    elif skipped:
        yield f"Pre-use check: {counted(len(skipped), 'step')} overridden."
    else:
        hands = facts.steps[-1].why
        yield f"Pre-use check: every step was met{f', {hands}' if hands else ''}."


def _proof(facts: SessionFacts) -> Iterator[str]:
    """Tell of proof tests in one line; the page has them step by step, and says if none was."""
    summary = proof_summary(facts.calibrations)
    if summary:
        yield summary


def _unseen(facts: SessionFacts) -> Iterator[str]:
    for signal in (air_signal(facts), Signal.SPO2_PERCENT):
        figures = facts.signals.get(signal) if signal else None
        if figures and figures.coverage < POOR_COVERAGE:
            yield (
                f"Not everything was seen: {QUANTITIES[Signal(signal or '')].name} had good "
                f"readings for only {part_text(figures.coverage)} of that time."
            )
    for segment in facts.segments[1:]:
        if segment.blind_s is None:
            yield f"At {moment(segment.at_s)} the station was blind, nobody knows for how long."
        elif segment.blind_s > 0.0:
            blind = span(segment.blind_s)
            yield f"At {moment(segment.at_s)} the station had been blind for {blind}."
    if facts.false_leaves:
        yield f"{counted(facts.false_leaves, 'LEAVE')} marked as false by the wearer."
    if not facts.ended:
        lost = f" ({counted(facts.lines_lost, 'line')} lost)" if facts.lines_lost else ""
        yield f"The recording breaks off{lost}: what came after is not known."
