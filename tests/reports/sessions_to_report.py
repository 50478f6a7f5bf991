"""Invented sessions of an oximeter and a pressure sensor, for what is reported of them."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from linetender.core.events import Event, StageChanged
from linetender.core.inputs import Input, Reading, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import AirPlan, Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, Segment, SegmentReason, segment_of

PLAN = Plan(
    station="bench",
    arrangement=Arrangement.WEARER_SIDE,
    air=AirPlan(
        signal=Signal.DUCT_PRESSURE_PA,
        normal_pa=64.0,
        exponent=0.5,
        k_l_min=30.0,
        relative_uncertainty=0.05,
        required_l_min=170.0,
    ),
    signals=(Signal.DUCT_PRESSURE_PA, Signal.SPO2_PERCENT),
    contacts=(),
    rules=(
        RulePlan(
            id="air_lost",
            condition=Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0, 10.0),
            priority=Priority.HIGH,
            on_delay_ns=2 * SECOND_NS,
            off_delay_ns=5 * SECOND_NS,
            stages=(Stage.WORN,),
            say="Air lost. Leave, then take the hood off.",
        ),
    ),
    exceptions=("no_siren: the bench is indoors",),
)
"""An invented station."""


def at(seconds: float) -> int:
    """Return an instant (ns)."""
    return round(seconds * SECOND_NS)


def header(
    why: SegmentReason = SegmentReason.START,
    started_s: float = 0.0,
    wall: str = "2031-05-01T08:00:00+00:00",
    *,
    synchronised: bool = True,
    plan: Plan = PLAN,
    settings: dict[str, Any] | None = None,
    calibrations: tuple[dict[str, Any], ...] = (),
) -> Segment:
    """Return the header of a segment."""
    return segment_of(
        plan,
        at(started_s),
        why=why,
        wall=wall,
        synchronised=synchronised,
        boot="demo",
        settings=settings or {},
        calibrations=calibrations,
    )


def spo2(pairs: Iterable[tuple[float, float | None]]) -> list[Reading]:
    """Return readings of the blood oxygen; None for one that is bad."""
    return [
        reading(at(s), Signal.SPO2_PERCENT, value, None if value is not None else "off_finger")
        for s, value in pairs
    ]


def pressure(pairs: Iterable[tuple[float, float | None]]) -> list[Reading]:
    """Return readings of the pressure (Pa); None for one that is bad."""
    return [
        reading(at(s), Signal.DUCT_PRESSURE_PA, value, None if value is not None else "timeout")
        for s, value in pairs
    ]


def worn(from_s: float) -> StageChanged:
    """Return the event that the hood goes on."""
    return StageChanged(at(from_s), Stage.IDLE, Stage.WORN, "wearer")


def not_worn(from_s: float) -> StageChanged:
    """Return the event that it comes off."""
    return StageChanged(at(from_s), Stage.WORN, Stage.IDLE, "wearer")


def segment_bytes(
    segment: Segment,
    inputs: Sequence[Input],
    events: Sequence[Event],
    until_s: float,
    *,
    end: EndReason | None = EndReason.STOPPED,
) -> bytes:
    """Form a recording of one segment, with a check line for each second."""
    stream = LineStream()
    pieces = [stream.segment(segment)]
    start_s = segment.started_ns / SECOND_NS
    waiting_inputs = sorted(inputs, key=lambda item: item.arrived_ns)
    waiting_events = sorted(events, key=lambda event: event.due_ns)
    seconds = int(until_s - start_s)
    for second in range(1, seconds + 1):
        until_ns = at(start_s + second)
        block = [item for item in waiting_inputs[:200] if item.arrived_ns <= until_ns]
        made = [event for event in waiting_events if event.due_ns <= until_ns]
        waiting_inputs = waiting_inputs[len(block) :]
        waiting_events = waiting_events[len(made) :]
        stream.inputs(block)
        stream.events(tuple(made))
        pieces.append(stream.advance(until_ns))
    if end is not None:
        pieces.append(stream.end(at(until_s), end))
    assert not waiting_inputs and not waiting_events, "the session ends before its last line"
    return b"".join(pieces)


def recorded(
    path: Path,
    inputs: Sequence[Input],
    events: Sequence[Event] = (),
    *,
    until_s: float,
    plan: Plan = PLAN,
    synchronised: bool = True,
) -> Path:
    """Write a recording of one segment."""
    first = header(synchronised=synchronised, plan=plan)
    path.write_bytes(segment_bytes(first, inputs, events, until_s))
    return path
