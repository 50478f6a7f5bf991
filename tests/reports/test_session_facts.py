"""Facts of invented sessions: what stands for how long, stages, gaps, restarts, alarms."""

import random
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import (
    AlarmChanged,
    BaselineSet,
    CauseNamed,
    Event,
    FalseLeave,
    StepChanged,
    StepState,
)
from linetender.core.inputs import reading
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.recording.errors import RecordingError
from linetender.recording.lines import EndReason, SegmentReason
from linetender.reports.session_facts import SegmentFact
from linetender.reports.session_files import session_files, session_name
from linetender.reports.session_reading import read_session
from linetender.reports.story import story
from linetender.reports.trace import MOST_PIECES, Trace
from reports.sessions_to_report import (
    at,
    header,
    not_worn,
    pressure,
    recorded,
    segment_bytes,
    spo2,
    worn,
)


def raised(seconds: float, n: int, priority: Priority = Priority.HIGH) -> AlarmChanged:
    states = (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)
    return AlarmChanged(at(seconds), n, "air_lost", *states, priority, 40.0)


def test_a_reading_stands_until_the_next_and_at_most_for_its_gap(tmp_path: Path) -> None:
    # 5 s is the longest that a value of the oximeter stands (core/signals.py).
    inputs = spo2([(0, 97), (1, 96), (2, 89), (4, 95), (30, 95), (31, None), (40, 88)])
    read = read_session((recorded(tmp_path / "a.jsonl", inputs, until_s=42),))
    figures = read.facts.signals["spo2_percent"]
    assert read.facts.figures_of == "session"
    # 0-1, 1-2, 2-4, 4-9 (silence), 30-31 (bad), 40-42 (end)
    assert figures.good_s == 1 + 1 + 2 + 5 + 1 + 2
    assert figures.below_s == {"90": 2 + 2}
    assert figures.coverage == pytest.approx(12 / 42)
    assert figures.mean == pytest.approx((97 + 96 + 2 * 89 + 5 * 95 + 95 + 2 * 88) / 12, abs=0.05)
    assert figures.lowest is not None and figures.lowest.value == 88
    assert figures.lowest.at_s == 40
    assert figures.not_good == {"off_finger": 1}


def test_figures_are_of_the_time_worn(tmp_path: Path) -> None:
    inputs = spo2([(second, 70 if second < 10 else 96) for second in range(30)])
    events = [worn(10.5), not_worn(25.5)]
    read = read_session((recorded(tmp_path / "a.jsonl", inputs, events, until_s=30),))
    figures = read.facts.signals["spo2_percent"]
    assert (read.facts.figures_of, read.facts.worn_s) == ("worn", 15.0)
    assert (figures.of_s, figures.good_s, figures.coverage) == (15.0, 15.0, 1.0)
    assert figures.below_s == {"90": 0.0}
    assert [(one.at_s, one.stage) for one in read.facts.stages] == [
        (0.0, "idle"),
        (10.5, "worn"),
        (25.5, "idle"),
    ]


def test_doubtful_readings_are_not_good(tmp_path: Path) -> None:
    inputs = [
        reading(at(0), Signal.SPO2_PERCENT, 97.0),
        reading(at(1), Signal.SPO2_PERCENT, 60.0, doubt="weak_pulse"),
        reading(at(2), Signal.SPO2_PERCENT, 96.0),
    ]
    read = read_session((recorded(tmp_path / "a.jsonl", inputs, until_s=3),))
    figures = read.facts.signals["spo2_percent"]
    assert (figures.good_s, figures.not_good) == (2.0, {"weak_pulse": 1})
    assert figures.lowest is not None and figures.lowest.value == 96.0


def test_airflow_is_that_of_the_plan(tmp_path: Path) -> None:
    # Q = 30 L/min · √(Δp / Pa): 64 Pa give 240, 36 Pa 180, backwards nothing.
    inputs = pressure([(0, 64), (1, 36), (2, -5), (3, 64)])
    set_ = BaselineSet(at(0.5), Signal.AIRFLOW_L_MIN, 200.0, "good_air")
    read = read_session((recorded(tmp_path / "a.jsonl", inputs, [set_], until_s=4),))
    flow = [piece.mean for piece in read.curves[Signal.AIRFLOW_L_MIN][0]]
    percent = [piece.mean for piece in read.curves[Signal.AIR_PERCENT_OF_BASELINE][0]]
    assert flow == pytest.approx([240.0, 180.0, 0.0, 240.0])
    assert percent == pytest.approx([100.0, 90.0, 0.0, 120.0])
    assert read.facts.signals["airflow_l_min"].below_s == {"170": 1.0}


def test_the_story_says_how_sure_an_airflow_is(tmp_path: Path) -> None:
    """5 % is one standard deviation of the plan's airflow: ±10 % is the 95 % interval."""
    inputs = pressure([(0, 64), (1, 64)])
    read = read_session((recorded(tmp_path / "a.jsonl", inputs, [], until_s=2),))
    (air,) = [text for text in story(read.facts, lambda _: None) if text.startswith("Air: ")]
    assert air.replace("\N{NO-BREAK SPACE}", " ") == (
        "Air: 240 L/min on average, lowest 240 L/min at 0:00 min (each within ±10 %, 95 %)."
    )


def test_a_latched_alarm_that_rises_again_is_another(tmp_path: Path) -> None:
    """As the station counts: what came back is told as a LEAVE of its own, with its cause."""
    unacknowledged, acknowledged = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
    latched, high = AlarmState.LATCHED_ACKNOWLEDGED, Priority.HIGH
    events: list[Event] = [
        worn(1),
        raised(10, 1),
        CauseNamed(at(10), "air_lost", Cause.DUCT_OR_TAP_TUBE_OFF, 0.9),
        AlarmChanged(at(14), 2, "air_lost", unacknowledged, acknowledged, high, why="wearer"),
        AlarmChanged(at(20), 3, "air_lost", acknowledged, latched, high),
        AlarmChanged(at(50), 4, "air_lost", latched, unacknowledged, high, 10.0),
        CauseNamed(at(50), "air_lost", Cause.FAN_STOPPED, 0.8),
        AlarmChanged(at(55), 5, "air_lost", unacknowledged, AlarmState.NORMAL, high, why="out"),
    ]
    facts = read_session((recorded(tmp_path / "a.jsonl", [], events, until_s=60),)).facts
    assert facts.leaves == 2
    told = [(one.number, one.n, one.at_s, one.answered_s, one.over_s) for one in facts.alarms]
    assert told == [(1, 1, 10.0, 14.0, 20.0), (2, 4, 50.0, None, 55.0)]
    first, second = facts.alarms
    assert "duct" in first.cause.lower()
    assert "fan" in second.cause.lower() and first.cause != second.cause
    assert second.causes == (second.cause,)


def test_an_alarm_from_raise_to_end(tmp_path: Path) -> None:
    unacknowledged, acknowledged = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
    events: list[Event] = [
        worn(1),
        raised(10, 1, Priority.MEDIUM),
        CauseNamed(at(10), "air_lost", Cause.LINE_BLOCKED, 0.9),
        AlarmChanged(at(12), 2, "air_lost", unacknowledged, unacknowledged, Priority.HIGH),
        CauseNamed(at(12), "air_lost", Cause.FAN_STOPPED, 0.9),
        AlarmChanged(
            at(14), 3, "air_lost", unacknowledged, acknowledged, Priority.HIGH, None, "wearer"
        ),
        AlarmChanged(
            at(20), 4, "air_lost", acknowledged, AlarmState.SUPPRESSED, Priority.HIGH, None, "out"
        ),
        FalseLeave(due_ns=at(25), rule="air_lost", n=2),
        raised(27, 5),
    ]
    facts = read_session((recorded(tmp_path / "a.jsonl", [], events, until_s=30),)).facts
    first, second = facts.alarms
    assert (first.at_s, first.leave_s, first.priority) == (10.0, 12.0, "high")
    assert (first.answered_s, first.answered_by) == (14.0, "wearer")
    assert (first.over_s, first.over_why, first.is_false) == (20.0, "the wearer got out", True)
    assert (first.evidence, first.evidence_unit, first.say) == (40.0, "%", "Air lost.")
    assert first.causes == ("The line is kinked or crushed.", "The fan has stopped.")
    assert first.cause == "The fan has stopped."
    assert (second.at_s, second.over_s, second.is_false, second.cause) == (27.0, None, False, "")
    assert (facts.leaves, facts.looks, facts.false_leaves) == (2, 0, 1)
    assert facts.exceptions == ("no_siren: the bench is indoors",)


def test_steps_of_the_check_that_ended(tmp_path: Path) -> None:
    events = [
        StepChanged(at(1), "air", StepState.WAITING),
        StepChanged(at(3), "air", StepState.MET),
        StepChanged(at(4), "heard", StepState.SKIPPED, "siren is at the mender's"),
    ]
    facts = read_session((recorded(tmp_path / "a.jsonl", [], events, until_s=5),)).facts
    assert [(one.step, one.state, one.why) for one in facts.steps] == [
        ("air", "met", ""),
        ("heard", "skipped", "siren is at the mender's"),
    ]


def test_files_of_a_session_are_one_axis_of_time(tmp_path: Path) -> None:
    name = "bench-2031-05-01T080000"
    first, second = tmp_path / f"{name}.jsonl", tmp_path / f"{name}.2.jsonl"
    first.write_bytes(
        segment_bytes(
            header(), spo2([(1, 97)]), [worn(2), raised(3, 1)], 10, end=EndReason.ROTATION
        )
    )
    goes_on = header(SegmentReason.ROTATION, 10, "2031-05-01T08:00:10+00:00")
    second.write_bytes(segment_bytes(goes_on, spo2([(12, 96)]), [], 20))
    assert session_files([second, first]) == [(first, second)]
    assert session_name(second) == name
    facts = read_session((first, second)).facts
    assert (facts.length_s, facts.files) == (20.0, (first.name, second.name))
    assert [one.blind_s for one in facts.segments] == [0.0, 0.0]
    assert [one.at_s for one in facts.alarms] == [3.0]


@pytest.mark.parametrize(
    ("synchronised", "second"),
    [
        (True, SegmentFact(40.0, "restart", 30.0, "2031-05-01T08:00:40+00:00")),
        (False, SegmentFact(10.0, "restart", None, "")),
    ],
)
def test_a_restart_is_placed_by_the_time_of_day(
    tmp_path: Path, synchronised: bool, second: SegmentFact
) -> None:
    path = tmp_path / "a.jsonl"
    first = segment_bytes(header(), [], [], 10)
    path.write_bytes(first)
    later = tmp_path / "b.jsonl"
    again = header(SegmentReason.RESTART, 0, "2031-05-01T08:00:40+00:00", synchronised=synchronised)
    later.write_bytes(segment_bytes(again, [], [], 5))
    read = read_session((path, later))
    assert read.facts.segments[1] == second
    assert read.facts.length_s == second.at_s + 5
    day = read.time_of_day(second.at_s + 1)
    assert (day is not None and f"{day:%H:%M:%S}") == ("08:00:41" if synchronised else False)


def test_a_recording_that_breaks_off_says_so(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    whole = segment_bytes(header(), spo2([(1, 97), (4.5, 96)]), [], 5)
    path.write_bytes(whole[: whole.rindex(b'{"is":"check"')])
    facts = read_session((path,)).facts
    assert (facts.ended, facts.lines_lost > 0) == (False, True)


def test_a_damaged_file_is_refused(tmp_path: Path) -> None:
    path = recorded(tmp_path / "a.jsonl", spo2([(1, 97)]), until_s=5)
    path.write_bytes(path.read_bytes().replace(b'"value":97', b'"value":87'))
    with pytest.raises(RecordingError, match=r"a\.jsonl"):
        read_session((path,))


# The curve


@given(st.lists(st.tuples(st.integers(0, 10**12), st.floats(-1e6, 1e6)), min_size=1, max_size=300))
def test_a_curve_loses_no_extreme(values: list[tuple[int, float]]) -> None:
    trace = Trace()
    for at_ns, value in sorted(values):
        trace.take(at_ns, value)
    pieces = trace.pieces()
    assert min(piece.low for piece in pieces) == min(value for _, value in values)
    assert max(piece.high for piece in pieces) == max(value for _, value in values)
    assert all(piece.low <= piece.mean + 1e-6 for piece in pieces)
    assert all(piece.mean <= piece.high + 1e-6 for piece in pieces)


def test_a_long_curve_takes_no_more_memory_than_a_short_one() -> None:
    trace, chance = Trace(), random.Random(1)
    tracemalloc.start()
    sizes = []
    for sample in range(400_000):  # 11 h at 10 Hz
        trace.take(sample * 10**8, chance.random() if sample != 250_000 else -7.0)
        if sample in (100_000, 399_999):
            sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    pieces = trace.pieces()
    assert len(pieces) <= MOST_PIECES + 1
    assert min(piece.low for piece in pieces) == -7.0
    assert sizes[1] < 2 * sizes[0]


@pytest.mark.parametrize(
    ("lowest", "told"), [(97, "no drop of 3 points or more."), (93, "1 drop of 3 points or more.")]
)
def test_a_drop_of_oxygen_is_told_without_a_foreign_word(
    tmp_path: Path, lowest: int, told: str
) -> None:
    inputs = spo2((second, lowest if 100 <= second < 120 else 97) for second in range(200))
    path = recorded(tmp_path / "a.jsonl", inputs, [worn(0)], until_s=200)
    session = read_session((path,))
    (line,) = [
        line for line in story(session.facts, session.time_of_day) if line.startswith("Oxygen")
    ]
    assert line.replace("\N{NO-BREAK SPACE}", " ").endswith(told)
