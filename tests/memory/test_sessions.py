"""Uses and pre-use checks in the memory, and what a live station keeps of them."""

from pathlib import Path

import msgspec
import pytest

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand, StageChanged
from linetender.core.snapshot import AlarmView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.memory.sessions import (
    CheckRecord,
    SessionRecord,
    begin_session,
    checks_in,
    sessions_in,
    store_check,
    update_session,
)
from linetender.memory.store import open_store
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.session_index import SessionIndex
from linetender.runtime.session_tally import SessionTally
from runtime.demo_sessions import Deed, Hand, S, play

AT, LATER = "2026-01-02T03:04:05+00:00", "2026-01-02T04:04:05+00:00"
USE = SessionRecord(started_at=AT, synchronised=True, recording="a.jsonl", check="passed")
CHECK = CheckRecord(
    ended_at=AT,
    synchronised=False,
    recording="a.jsonl",
    outcome="refused",
    why="heard: not done in time",
    steps=(("heard", "failed", "not done in time"),),
    overrides=(("disk", "short job"),),
)


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    ended = SessionRecord(
        started_at=AT,
        synchronised=True,
        ended_at=LATER,
        check="passed",
        overrides=(("disk", "short job"),),
        leaves=2,
        looks=1,
        false_leaves=1,
        summary="Worn for 60 min.",
        stood=(("supply_low", False),),
    )
    with open_store(tmp_path) as store:
        row = begin_session(store, USE)
        assert sessions_in(store) == [(row, USE)]
        update_session(store, row, ended)
        store_check(store, CHECK)
    with open_store(tmp_path) as store:
        assert sessions_in(store) == [(row, ended)]
        assert checks_in(store) == [CHECK]


DEEDS: tuple[Deed, ...] = (
    (0.0, Hand.fan_start),
    (10.0, Hand.start),
    (80.0, Hand.fan_stop),
    (95.0, lambda hand: hand.rig.press("answer")),
    (95.3, lambda hand: hand.rig.release("answer")),
    (97.0, lambda hand: hand.rig.press("answer")),
    (97.3, lambda hand: hand.rig.release("answer")),
    (102.0, lambda hand: hand.rig.press("answer")),
    (102.3, lambda hand: hand.rig.release("answer")),
    (110.0, lambda hand: hand.rig.press("answer")),
    (110.3, lambda hand: hand.rig.release("answer")),
)


def kept(folder: Path, until_s: float) -> list[str]:
    """Play a use with a LEAVE, ended as out and then called false; return what is said."""
    index, lines = SessionIndex(folder), []
    tally = SessionTally(index, demo_wall_clock, "a.jsonl", index.open_use)

    class Listening:
        def tell(self, events: object, snapshot: object) -> None:
            lines.extend(tally.tell(events, snapshot))  # type: ignore[arg-type]

    play([deed for deed in DEEDS if deed[0] < until_s], until_s, also=(Listening().tell,))
    index.close()
    return lines


def test_a_use_is_counted_told_in_a_line_and_marked(tmp_path: Path) -> None:
    lines = kept(tmp_path, 120.0)
    with open_store(tmp_path) as store:
        ((_, use),) = sessions_in(store)
    assert (use.leaves, use.false_leaves, use.check) == (1, 1, "none")
    assert use.ended_at is not None
    assert lines == [use.summary]
    assert use.summary.startswith("Worn for 2 min: 1 LEAVE, ")
    assert use.summary.endswith(" NOT CHECKED.")


HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM
STOOD = [
    # Alarms when the hood goes on: state, priority; whether raised with that; what is said.
    ([], [], "0 LEAVE, 0 LOOK"),
    (
        [(AlarmState.UNACKNOWLEDGED, HIGH), (AlarmState.ACKNOWLEDGED, MEDIUM)],
        [],
        "0 LEAVE besides 1 that stood from the start, 0 LOOK besides 1 that stood from the start",
    ),
    (
        [(AlarmState.LATCHED, HIGH), (AlarmState.ACKNOWLEDGED, HIGH)],
        [],
        "0 LEAVE besides 2 that stood from the start, 0 LOOK",
    ),
    ([(AlarmState.LATCHED_ACKNOWLEDGED, HIGH), (AlarmState.SUPPRESSED, HIGH)], [], "0 LEAVE"),
    (
        [(AlarmState.UNACKNOWLEDGED, HIGH), (AlarmState.UNACKNOWLEDGED, HIGH)],
        [1],
        "1 LEAVE besides 1 that stood from the start, 0 LOOK",
    ),
]


@pytest.mark.parametrize(("standing", "raised", "said"), STOOD)
def test_what_stood_when_the_hood_went_on_is_told(
    standing: list[tuple[AlarmState, Priority]], raised: list[int], said: str
) -> None:
    alarms = tuple(
        AlarmView(f"rule{number}", state, priority, 0, 1, "")
        for number, (state, priority) in enumerate(standing)
    )
    worn = Snapshot(S, Stage.WORN, 7, (), alarms, Demand(), False, None)
    went_on = StageChanged(S, Stage.IDLE, Stage.WORN)
    rose = [
        AlarmChanged(S, 7, f"rule{one}", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, HIGH)
        for one in raised
    ]
    tally = SessionTally(None, demo_wall_clock, "")
    assert tally.tell((went_on, *rose), worn) == ()
    off = msgspec.structs.replace(worn, stage=Stage.IDLE, alarms=())
    (line,) = tally.tell((StageChanged(2 * S, Stage.WORN, Stage.IDLE),), off)
    assert line.startswith(f"Worn for 0 min: {said},")
    # What stood is of that use alone.
    tally.tell(
        (StageChanged(3 * S, Stage.IDLE, Stage.WORN),), msgspec.structs.replace(worn, alarms=())
    )
    (line,) = tally.tell((StageChanged(4 * S, Stage.WORN, Stage.IDLE),), off)
    assert line.startswith("Worn for 0 min: 0 LEAVE, 0 LOOK,")


def test_a_use_that_was_cut_off_is_found_open_and_closed(tmp_path: Path) -> None:
    kept(tmp_path, 50.0)
    index = SessionIndex(tmp_path)
    index.close()
    assert index.open_use is not None
    kept(tmp_path, 5.0)  # the next run begins idle
    with open_store(tmp_path) as store:
        ((_, use),) = sessions_in(store)
    assert use.summary == "How it ended is not known."
