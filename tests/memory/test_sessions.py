"""Uses and pre-use checks in the memory, and what a live station keeps of them."""

from pathlib import Path

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
from runtime.demo_sessions import Deed, Hand, play

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


def test_a_use_that_was_cut_off_is_found_open_and_closed(tmp_path: Path) -> None:
    kept(tmp_path, 50.0)
    index = SessionIndex(tmp_path)
    index.close()
    assert index.open_use is not None
    kept(tmp_path, 5.0)  # the next run begins idle
    with open_store(tmp_path) as store:
        ((_, use),) = sessions_in(store)
    assert use.summary == "How it ended is not known."
