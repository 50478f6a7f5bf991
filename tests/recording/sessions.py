"""Small invented sessions and the recordings made of them."""

import zlib
from collections.abc import Iterable
from pathlib import Path

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import Fact, Input, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import AirPlan, Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, Segment, SegmentReason, segment_of
from linetender.recording.reader import RecordingReader, TornTail

PLAN = Plan(
    station="bench",
    arrangement=Arrangement.WEARER_SIDE,
    air=AirPlan(signal=Signal.DUCT_PRESSURE_PA, normal_pa=60.0, exponent=0.54),
    signals=(Signal.DUCT_PRESSURE_PA,),
    contacts=(),
    rules=(
        RulePlan(
            id="air_lost",
            condition=Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0, 10.0),
            priority=Priority.HIGH,
            on_delay_ns=2 * SECOND_NS,
            off_delay_ns=5 * SECOND_NS,
            stages=(Stage.WORN,),
            killer=True,
            loss_of_air=True,
            say="Air lost. Leave, then take the hood off.",
        ),
    ),
)
"""An invented station: one pressure sensor, one rule."""

RAISED = AlarmChanged(
    due_ns=2 * SECOND_NS,
    n=1,
    rule="air_lost",
    before=AlarmState.NORMAL,
    after=AlarmState.UNACKNOWLEDGED,
    priority=Priority.HIGH,
    evidence=12.5,
)


def header(started_ns: int = 0, why: SegmentReason = SegmentReason.START) -> Segment:
    """Return the header of an invented session."""
    return segment_of(
        PLAN,
        started_ns,
        why=why,
        wall="2020-01-01T00:00:00+00:00",
        synchronised=False,
        boot="demo",
        settings={"station": {"id": "bench"}},
        private=("broker.password",),
    )


def pressure(arrived_ns: int, value: float | None = 60.0) -> Input:
    """Return a reading of the duct's pressure, bad where there is no value."""
    reason = "timeout" if value is None else None
    return reading(arrived_ns, Signal.DUCT_PRESSURE_PA, value, reason, source="air")


def seconds_of_pressure(seconds: int, first_s: int = 0, per_second: int = 3) -> list[list[Input]]:
    """Return one block of readings for each second."""
    step_ns = SECOND_NS // per_second
    return [
        [pressure(second * SECOND_NS + k * step_ns, 60.0 + k / 8) for k in range(per_second)]
        for second in range(first_s, first_s + seconds)
    ]


def small_recording() -> bytes:
    """Return a whole recording: two segments, four seconds, one event, a bad reading, a fact."""
    stream = LineStream()
    pieces = [stream.segment(header())]
    for second, block in enumerate(seconds_of_pressure(3), 1):
        stream.inputs(block)
        if second == 2:
            stream.inputs([pressure(2 * SECOND_NS - 1, None)])
            stream.events((RAISED,))
        pieces.append(stream.advance(second * SECOND_NS))
    pieces.append(stream.end(3 * SECOND_NS, EndReason.RELOAD))
    pieces.append(stream.segment(header(3 * SECOND_NS, SegmentReason.RELOAD)))
    stream.inputs([Fact(3 * SECOND_NS + 5, "device_failed", True, "air")])
    pieces.append(stream.end(4 * SECOND_NS, EndReason.STOPPED))
    return b"".join(pieces)


def with_right_digits(damaged: bytes) -> bytes:
    """Return the lines with counts and digits that fit them: damage that no check line shows."""
    out = bytearray()
    count = 0
    for line in damaged.splitlines(keepends=True):
        if not line.startswith(b'{"is":"check",'):
            out += line
            count += 1
            continue
        until = line[line.find(b'"until_ns":') : line.find(b',"crc32"')]
        out += b'{"is":"check","lines":%d,%b,"crc32":"' % (count, until)
        out += b'%08x"}\n' % zlib.crc32(out)
        count = 0
    return bytes(out)


class Content:
    """All that a reader gave of a file."""

    def __init__(self, path: Path) -> None:
        reader = RecordingReader(path)
        self.headers: list[Segment] = []
        self.inputs: list[Input] = []
        self.events: list[Event] = []
        self.until_ns: list[int] = []
        for part in reader.parts():
            if isinstance(part, Segment):
                self.headers.append(part)
            else:
                self.inputs += part.inputs
                self.events += part.events
                self.until_ns.append(part.until_ns)
        self.ended = reader.ended
        self.tail: TornTail | None = reader.tail


def flat(blocks: Iterable[Iterable[Input]]) -> list[Input]:
    """Return the inputs of all blocks in one list."""
    return [item for block in blocks for item in block]
