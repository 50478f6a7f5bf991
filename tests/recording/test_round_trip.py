"""What is written comes back, and the same calls give the same bytes."""

import math
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from linetender import __version__
from linetender.core.events import (
    AlarmChanged,
    BaselineSet,
    CauseNamed,
    DemandChanged,
    Event,
    FalseLeave,
    StageChanged,
    StepChanged,
)
from linetender.core.inputs import Command, Contact, Fact, Input, Reading, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Below
from linetender.core.signals import Signal
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, SegmentReason, segment_of
from linetender.recording.writer import RecordingWriter
from recording.sessions import (
    PLAN,
    RAISED,
    Content,
    flat,
    header,
    pressure,
    seconds_of_pressure,
    small_recording,
)

instants = st.integers(0, 10**15)
finite = st.floats(allow_nan=False, allow_infinity=False)
# JSON has no lone surrogates; Python's text may hold them, and no driver makes them.
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


def structs(kind: type, **fields: Any) -> st.SearchStrategy[Any]:
    """Return a strategy for any value of a struct, with its numbers finite."""
    for field in msgspec.structs.fields(kind):
        if field.name in fields:
            continue
        if field.type is str:
            fields[field.name] = texts
        elif field.type is int:
            fields[field.name] = instants
        elif field.type is float or field.type == (float | None):
            fields[field.name] = finite if field.type is float else finite | st.none()
        else:
            fields[field.name] = st.from_type(field.type)
    return st.builds(kind, **fields)


readings = st.builds(
    reading, instants, st.sampled_from(Signal), finite, doubt=texts | st.none(), source=texts
) | st.builds(reading, instants, st.sampled_from(Signal), st.none(), texts)
inputs = st.one_of(readings, structs(Contact), structs(Fact), structs(Command))
demands = structs(
    DemandChanged.__annotations__["demand"],
    tell=st.lists(texts).map(tuple),
    code=st.lists(st.integers(1, 4)).map(tuple),
)
events = st.one_of(
    structs(AlarmChanged),
    structs(StageChanged),
    structs(StepChanged),
    structs(BaselineSet),
    structs(DemandChanged, demand=demands),
    structs(CauseNamed),
    structs(FalseLeave),
)


@dataclass
class Step:
    """One turn of the loop."""

    inputs: list[Input]
    events: list[Event]
    length_ns: int


steps = st.lists(
    st.builds(
        Step,
        st.lists(inputs, max_size=4),
        st.lists(events, max_size=3),
        st.integers(0, 3 * SECOND_NS),
    ),
    max_size=8,
)


def test_the_strategies_above_know_every_kind_of_line() -> None:
    assert set(get_args(Input)) == {Reading, Contact, Fact, Command}
    assert set(get_args(Event)) == {
        AlarmChanged,
        StageChanged,
        StepChanged,
        BaselineSet,
        DemandChanged,
        CauseNamed,
        FalseLeave,
    }


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(turns=steps, start_ns=st.integers(0, 10**12))
@example(turns=[Step([], [], SECOND_NS)] * 3, start_ns=0)
def test_what_is_written_comes_back(tmp_path: Path, turns: list[Step], start_ns: int) -> None:
    stream = LineStream()
    head = header(start_ns)
    written = stream.segment(head)
    now_ns = start_ns
    for turn in turns:
        stream.inputs(turn.inputs)
        stream.events(tuple(turn.events))
        now_ns += turn.length_ns
        written += stream.advance(now_ns)
    written += stream.end(now_ns, EndReason.STOPPED)
    path = tmp_path / "any.jsonl"
    path.write_bytes(written)
    content = Content(path)
    assert content.headers == [head]
    assert content.inputs == [item for turn in turns for item in turn.inputs]
    assert content.events == [item for turn in turns for item in turn.events]
    assert (content.ended, content.tail) == (True, None)
    assert content.until_ns[-1] == now_ns


@pytest.mark.parametrize("piece_bytes", [1, 7, 100, 1 << 18])
def test_the_size_of_the_pieces_read_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, piece_bytes: int
) -> None:
    monkeypatch.setattr("linetender.recording.reader.PIECE_BYTES", piece_bytes)
    path = tmp_path / "small.jsonl"
    path.write_bytes(small_recording())
    content = Content(path)
    assert content.headers == [header(), header(3 * SECOND_NS, SegmentReason.RELOAD)]
    assert content.inputs == [
        *flat(seconds_of_pressure(2)),
        pressure(2 * SECOND_NS - 1, None),
        *flat(seconds_of_pressure(1, first_s=2)),
        Fact(3 * SECOND_NS + 5, "device_failed", True, "air"),
    ]
    assert content.events == [RAISED]
    assert content.until_ns == [k * SECOND_NS for k in (1, 2, 3, 3, 4)]
    assert (content.ended, content.tail) == (True, None)


def test_the_lines_are_as_the_manual_shows_them() -> None:
    lines = small_recording().splitlines()
    assert lines[0].startswith(
        b'{"is":"segment","schema":1,"software":"%b","station":"bench","started_ns":0,'
        b'"why":"start","wall":"2020-01-01T00:00:00+00:00","synchronised":false,"boot":"demo",'
        % __version__.encode()
    )
    assert [msgspec.json.decode(line)["is"] for line in lines] == (
        ["segment", "check"]
        + ["reading"] * 3
        + ["check"]
        + ["reading"] * 4
        + ["alarm_changed", "check"]
        + ["reading"] * 3
        + ["check", "end", "check", "segment", "check", "fact", "end", "check"]
    )
    assert lines[2] == (
        b'{"is":"reading","arrived_ns":0,"signal":"duct_pressure_pa","value":60.0,"source":"air"}'
    )
    assert lines[-2] == b'{"is":"end","until_ns":4000000000,"why":"stopped"}'


def test_the_digits_are_the_crc_of_all_before_them() -> None:
    """By definition; `zlib.crc32` is the independent witness for a file as a whole."""
    written = small_recording()
    checks = 0
    start = 0
    while (found := written.find(b'"crc32":"', start)) >= 0:
        start = found + len(b'"crc32":"')
        assert written[start : start + 8] == b"%08x" % zlib.crc32(written[:start])
        checks += 1
    assert checks == 7


def test_a_check_line_comes_once_a_second_of_watch_time() -> None:
    stream = LineStream()
    stream.segment(header(started_ns=500_000_000))
    at = [t for t in range(0, 4 * SECOND_NS, SECOND_NS // 4) if stream.advance(t)]
    assert at == [SECOND_NS, 2 * SECOND_NS, 3 * SECOND_NS]


def test_a_segment_seals_what_was_left_of_the_one_before(tmp_path: Path) -> None:
    stream = LineStream()
    written = stream.segment(header())
    stream.inputs([pressure(10)])
    written += stream.advance(20)
    written += stream.segment(header(30, SegmentReason.GAP))
    path = tmp_path / "gap.jsonl"
    path.write_bytes(written)
    content = Content(path)
    assert (content.inputs, content.until_ns) == ([pressure(10)], [20])
    assert [head.why for head in content.headers] == [SegmentReason.START, SegmentReason.GAP]
    assert (content.ended, content.tail) == (False, None)


@pytest.mark.parametrize("limit", [math.nan, math.inf, -math.inf])
def test_a_plan_that_json_would_lose_is_refused(limit: float) -> None:
    rule = msgspec.structs.replace(PLAN.rules[0], condition=Below(Signal.SPO2_PERCENT, limit))
    plan = msgspec.structs.replace(PLAN, rules=(rule,))
    with pytest.raises(
        ValueError, match=r"bench: rules\[air_lost\].condition.limit is -?(nan|inf)"
    ):
        segment_of(plan, 0, why=SegmentReason.START, wall="", synchronised=False, boot="demo")


def test_the_writer_brings_the_same_bytes_to_the_disk(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path)
    stream = LineStream()
    expected = stream.segment(header())
    writer.segment(header())
    for second, block in enumerate(seconds_of_pressure(3), 1):
        for target in (stream, writer):
            target.inputs(block)
            target.events((RAISED,))
        expected += stream.advance(second * SECOND_NS)
        writer.advance(second * SECOND_NS)
    expected += stream.end(3 * SECOND_NS, EndReason.STOPPED)
    writer.close(3 * SECOND_NS)
    assert writer.fault is None
    assert path.read_bytes() == expected
    assert path.stat().st_mode & 0o777 == 0o600
