"""Tidy tables of a session: one row for each reading, and one for each event.

The columns are explained in README.md beside this file.
"""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any, TextIO

from linetender.annunciation.cause_words import cause_sentence
from linetender.annunciation.words import sentence
from linetender.core.events import (
    AlarmChanged,
    BaselineSet,
    CauseNamed,
    Event,
    FalseLeave,
    StageChanged,
    StepChanged,
)
from linetender.core.inputs import Command, Contact, Fact, Input, Reading
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.watch import Watch
from linetender.recording.lines import Segment
from linetender.recording.reader import Block
from linetender.reports.air_series import AirSeries
from linetender.reports.episodes import signal_of_rule
from linetender.reports.session_clock import SessionClock
from linetender.reports.session_reading import Told, parts_of
from linetender.reports.units import unit_of

READING_COLUMNS = (
    "time_s",
    "wall_time",
    "segment",
    "signal",
    "value",
    "unit",
    "quality",
    "reason",
    "source",
    "uncertainty",
)

EVENT_COLUMNS = (
    "time_s",
    "wall_time",
    "segment",
    "kind",
    "subject",
    "before",
    "after",
    "priority",
    "value",
    "unit",
    "why",
    "text",
)

_UNITS = {signal: unit_of(signal) for signal in Signal}


def export_session(
    files: tuple[Path, ...],
    readings: TextIO,
    events: TextIO | None,
    *,
    is_derived: bool = False,
    told: Told = lambda read, size: None,
) -> None:
    """Write the tables of a session, in bounded memory.

    Args:
        files: Of one session, in order.
        readings: Gets a row for each reading.
        events: Gets a row for each event, and for each input that is no reading and
            changes something.
        is_derived: Whether air as it was judged gets rows too, of source `derived`.
        told: As for `read_session`.

    Raises:
        RecordingError: a file cannot be read or is damaged.
    """
    tables = _Tables(readings, events, is_derived=is_derived)
    for part, watch in parts_of(files, told):
        if isinstance(part, Segment):
            assert watch is not None, "a header comes with a Watch"
            tables.begin(part, watch)
        else:
            tables.take(part)


class _Tables:
    def __init__(self, readings: TextIO, events: TextIO | None, *, is_derived: bool) -> None:
        self._row: Callable[[list[Any]], Any] = csv.writer(readings).writerow
        self._row(list(READING_COLUMNS))
        self._event_row = None if events is None else csv.writer(events).writerow
        if self._event_row is not None:
            self._event_row(EVENT_COLUMNS)
        self._is_derived = is_derived
        self._clock = SessionClock()
        self._segment = 0
        self._air: AirSeries | None = None
        self._plan: Plan | None = None
        self._known: dict[tuple[str, str], object] = {}

    def begin(self, header: Segment, watch: Watch) -> None:
        """Begin a segment."""
        self._clock.place(header)
        self._segment += 1
        self._plan = header.plan
        self._air = AirSeries(watch.air) if watch.air is not None and self._is_derived else None

    def take(self, block: Block) -> None:
        """Write what one check line covers, in the order of time."""
        events = sorted(block.events, key=lambda event: event.due_ns)
        for event in events:
            if isinstance(event, BaselineSet) and self._air is not None:
                self._air.take(event)
        rows = [(item.arrived_ns, item) for item in block.inputs if type(item) is not Reading]
        for item in block.inputs:
            if type(item) is Reading:
                self._reading(item)
        both = [*((event.due_ns, event) for event in events), *rows]
        for at_ns, each in sorted(both, key=lambda pair: pair[0]):
            self._other(at_ns, each)
        self._clock.reach(block.until_ns)

    def _head(self, at_ns: int) -> list[Any]:
        session_ns = at_ns + self._clock.shift_ns
        day = self._clock.time_of_day(to_seconds(session_ns))
        return [
            f"{session_ns // SECOND_NS}.{session_ns % SECOND_NS:09}",
            "" if day is None else day.isoformat(timespec="milliseconds"),
            self._segment,
        ]

    def _reading(self, item: Reading) -> None:
        head = self._head(item.arrived_ns)
        signal, value = item.signal, item.value
        quality, reason = item.quality.value, item.reason or item.doubt or ""
        row = [signal.value, value, _UNITS[signal], quality, reason, item.source, ""]
        self._row(head + row)
        air = self._air
        if air is None or signal is not air.signal:
            return
        percent, flow = (None, None) if value is None else air.percent_and_flow(value)
        derived = {Signal.AIR_PERCENT_OF_BASELINE: percent}
        if air.is_calibrated:
            derived[Signal.AIRFLOW_L_MIN] = flow
        for signal, found in derived.items():
            value = None if found is None else round(found, SIGNAL_FACTS[signal].decimals)
            doubt = self._uncertainty(signal, value)
            row = [signal.value, value, _UNITS[signal], quality, reason, "derived", doubt]
            self._row(head + row)

    def _uncertainty(self, signal: Signal, value: float | None) -> float | str:
        """Standard uncertainty of a value, in its unit; "" where it is not known."""
        air = None if self._plan is None else self._plan.air
        if air is None or value is None or signal is not Signal.AIRFLOW_L_MIN:
            return ""
        return round(value * air.relative_uncertainty, SIGNAL_FACTS[signal].decimals)

    def _other(self, at_ns: int, item: Input | Event) -> None:
        if self._event_row is None or self._plan is None:
            return
        row = _event_row(item, self._plan) or self._input_row(item)
        if row is not None:
            named = dict.fromkeys(EVENT_COLUMNS[3:], "") | row
            self._event_row([*self._head(at_ns), *named.values()])

    def _input_row(self, item: Input | Event) -> dict[str, Any] | None:
        """Drivers repeat contacts and facts: only a change is worth a row."""
        if isinstance(item, Command):
            return {"kind": "command", "subject": item.verb.value, "why": item.by.value}
        if isinstance(item, Contact):
            key, now = ("contact", item.contact), item.state.value
        elif isinstance(item, Fact):
            subject = f"{item.fact} {item.subject}".strip()
            key, now = ("fact", subject), "active" if item.active else "over"
        else:
            return None
        before = self._known.get(key, "")
        self._known[key] = now
        if before == now:
            return None
        return {"kind": key[0], "subject": key[1], "before": before, "after": now}


def _event_row(item: Input | Event, plan: Plan) -> dict[str, Any] | None:
    match item:
        case AlarmChanged():
            return _alarm_row(item, plan)
        case CauseNamed():
            kind = {"kind": "cause", "subject": item.rule, "after": str(item.cause)}
            return kind | {"value": item.confidence, "text": cause_sentence(item)}
        case StageChanged():
            stages = {"before": item.before.value, "after": item.after.value}
            return {"kind": "stage", "why": item.why} | stages
        case StepChanged():
            return {
                "kind": "step",
                "subject": item.step,
                "after": item.state.value,
                "why": item.why,
            }
        case BaselineSet():
            value = "" if item.value is None else item.value
            set_to = {"value": value, "unit": unit_of(item.signal), "why": item.source}
            return {"kind": "baseline", "subject": item.signal} | set_to
        case FalseLeave():
            return {"kind": "false_leave", "subject": item.rule}
    return None


def _alarm_row(event: AlarmChanged, plan: Plan) -> dict[str, Any]:
    signal = None if event.evidence is None else signal_of_rule(event.rule, plan)
    return {
        "kind": "alarm",
        "subject": event.rule,
        "before": event.before.value,
        "after": event.after.value,
        "priority": event.priority.value,
        "value": "" if event.evidence is None else event.evidence,
        "unit": "" if signal is None else unit_of(signal),
        "why": event.why,
        "text": sentence(plan, event.rule),
    }
