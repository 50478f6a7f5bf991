"""A recording gives the same events again; another core, other events, side by side."""

import dataclasses
from collections.abc import Iterable
from pathlib import Path

import msgspec
import pytest

from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, Event
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Plan
from linetender.core.watch import Watch
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.replay import DIFFERENCES_KEPT, replay_file
from recording.live_sessions import SECONDS, inputs_of_session, recorded_live
from recording.sessions import (
    RAISED,
    Content,
    header,
    pressure,
    seconds_of_pressure,
    small_recording,
    with_right_digits,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "session.jsonl"


@pytest.mark.parametrize("seed", range(1, 6))
def test_what_was_recorded_live_replays_exactly(path: Path, seed: int) -> None:
    path.write_bytes(recorded_live(seed=seed))
    events = Content(path).events
    raised = [e.rule for e in events if isinstance(e, AlarmChanged) and e.before == "normal"]
    assert {"air_lost", "oxygen_low"} <= set(raised)
    outcome = replay_file(path)
    assert outcome.differences == ()
    assert outcome.differing == 0
    assert outcome.events == len(events)
    assert outcome.inputs == len(list(inputs_of_session(seed=seed)))
    assert (outcome.segments, outcome.session_s) == (1, SECONDS)
    assert (outcome.ended, outcome.tail) == (True, None)


def test_a_rotated_session_says_what_the_unrotated_one_says(path: Path) -> None:
    path.write_bytes(recorded_live())
    whole = Content(path).events
    path.write_bytes(recorded_live(rotate_at_s=(3, 33, 72, 81)))
    assert Content(path).events == whole
    outcome = replay_file(path)
    assert (outcome.segments, outcome.session_s) == (5, SECONDS)
    assert (outcome.differing, outcome.events) == (0, len(whole))


def test_a_torn_session_replays_up_to_its_last_check_line(path: Path) -> None:
    data = recorded_live()
    for cut in range(1, 6_000, 371):
        path.write_bytes(data[:-cut])
        outcome = replay_file(path)
        assert (outcome.differing, outcome.ended) == (0, False)
        assert SECONDS - 3 <= outcome.session_s <= SECONDS


class ScriptedWatch:
    """Says what it was told to say, each at its time."""

    def __init__(self, script: tuple[Event, ...]) -> None:
        self.script = list(script)
        self.fed: list[object] = []

    def put_aside(self, block: Iterable[object]) -> Iterable[object]:
        return block

    def take(self, item: object) -> tuple[Event, ...]:
        self.fed.append(item)
        return ()

    def advance(self, now_ns: int) -> tuple[Event, ...]:
        due = tuple(event for event in self.script if event.due_ns <= now_ns)
        self.script = self.script[len(due) :]
        return due


def at(second: int, rule: str = "air_lost") -> AlarmChanged:
    return msgspec.structs.replace(RAISED, due_ns=second * SECOND_NS, rule=rule)


@pytest.mark.parametrize(
    ("script", "expected"),
    [
        pytest.param([RAISED], [], id="the same"),
        pytest.param([], [(2, RAISED, None)], id="missing"),
        pytest.param([at(1), RAISED], [(1, None, at(1))], id="one too early"),
        pytest.param([RAISED, at(3)], [(3, None, at(3))], id="one too many"),
        pytest.param([at(3)], [(2, RAISED, None), (3, None, at(3))], id="late"),
        pytest.param([at(2, "other")], [(2, RAISED, at(2, "other"))], id="another at that time"),
    ],
)
def test_differences_are_set_side_by_side_by_time(
    path: Path,
    script: list[Event],
    expected: list[tuple[int, Event | None, Event | None]],
) -> None:
    path.write_bytes(small_recording())
    watches = [ScriptedWatch(tuple(script)), ScriptedWatch(())]
    made: list[tuple[Plan, int, Carryover | None]] = []

    def make_watch(plan: Plan, started_ns: int, carryover: Carryover | None) -> Watch:
        made.append((plan, started_ns, carryover))
        return watches[len(made) - 1]  # type: ignore[return-value]

    outcome = replay_file(path, make_watch=make_watch)
    found = [(d.since_start_ns // SECOND_NS, d.recorded, d.replayed) for d in outcome.differences]
    assert found == expected
    assert outcome.differing == len(expected)
    assert made == [(header().plan, 0, None), (header().plan, 3 * SECOND_NS, None)]
    assert [item for watch in watches for item in watch.fed] == Content(path).inputs


def test_only_the_first_differences_are_kept(path: Path) -> None:
    path.write_bytes(small_recording())
    script = tuple(at(1, f"rule_{k}") for k in range(50))
    outcome = replay_file(path, make_watch=lambda *_: ScriptedWatch(script))  # type: ignore[arg-type,return-value]
    assert outcome.differing == 50 + 1 + 50
    assert len(outcome.differences) == DIFFERENCES_KEPT
    assert {difference.segment for difference in outcome.differences} == {1}


def test_progress_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linetender.recording.reader.PIECE_BYTES", 1_000)
    path.write_bytes(small_recording())
    size = path.stat().st_size
    told: list[tuple[int, int]] = []
    replay_file(path, told=lambda *progress: told.append(progress))
    assert told == [(min(k, size), size) for k in range(1_000, size + 1_000, 1_000)]


def test_an_input_that_goes_back_in_time_is_named(path: Path) -> None:
    data = small_recording().replace(b'"arrived_ns":333333333', b'"arrived_ns":3')
    first = b'"arrived_ns":0,'
    assert first in data
    path.write_bytes(with_right_digits(data.replace(first, b'"arrived_ns":9,', 1)))
    with pytest.raises(RecordingError, match="cannot have been a session's") as caught:
        replay_file(path)
    assert (caught.value.fault, caught.value.line) == (Fault.BAD_LINE, 3)


def test_a_carryover_of_another_make_is_named(path: Path) -> None:
    data = small_recording().replace(b'"carryover":null', b'"carryover":{"parts":{"alarms":7}}')
    path.write_bytes(with_right_digits(data))
    with pytest.raises(RecordingError) as caught:
        replay_file(path)
    assert (caught.value.fault, caught.value.line) == (Fault.BAD_LINE, 1)


def test_an_outcome_is_plain_data(path: Path) -> None:
    path.write_bytes(small_recording())
    outcome = replay_file(path, make_watch=lambda *_: ScriptedWatch((RAISED,)))  # type: ignore[arg-type,return-value]
    assert dataclasses.asdict(outcome)["station"] == "bench"
    assert pressure(0) in Content(path).inputs
    assert len(seconds_of_pressure(2)) == 2
