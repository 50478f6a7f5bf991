"""The line at the end of a use counts as a report of it does: each alarm once, as the gravest."""

import pytest

from core.watching import plan, rule
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand, StageChanged
from linetender.core.instants import SECOND_NS as S
from linetender.core.plan import OnFact
from linetender.core.snapshot import AlarmView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.memory.sessions import CheckRecord, SessionRecord
from linetender.reports.episodes import Episodes
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.session_tally import SessionTally

HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM
NORMAL, SOUNDS, ANSWERED = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
STATION = plan(rule(OnFact("mains"), id="rule"))
WENT_ON, WENT_OFF = (
    (StageChanged(S, Stage.IDLE, Stage.WORN),),
    (StageChanged(99 * S, Stage.WORN, Stage.IDLE),),
)

Move = tuple[AlarmState, AlarmState, Priority]
LOOK: Move = (NORMAL, SOUNDS, MEDIUM)
LOOK_ANSWERED: Move = (SOUNDS, ANSWERED, MEDIUM)
RISES: Move = (SOUNDS, SOUNDS, HIGH)
RISES_ANSWERED: Move = (ANSWERED, SOUNDS, HIGH)
OVER: Move = (ANSWERED, NORMAL, HIGH)

IN_USE = [
    ([LOOK], "0 LEAVE, 1 LOOK"),
    ([LOOK, RISES], "1 LEAVE, 0 LOOK"),
    ([LOOK, LOOK_ANSWERED, RISES_ANSWERED], "1 LEAVE, 0 LOOK"),
    # That it sounds again because nothing came of the answer makes it no other alarm.
    ([LOOK, LOOK_ANSWERED, (ANSWERED, SOUNDS, MEDIUM)], "0 LEAVE, 1 LOOK"),
    ([LOOK, RISES, (SOUNDS, ANSWERED, HIGH), (ANSWERED, SOUNDS, HIGH)], "1 LEAVE, 0 LOOK"),
    ([LOOK, RISES, OVER, LOOK], "1 LEAVE, 1 LOOK"),
    ([LOOK, RISES, OVER, LOOK, RISES], "2 LEAVE, 0 LOOK"),
]


def worn(*alarms: AlarmView) -> Snapshot:
    return Snapshot(S, Stage.WORN, 7, (), alarms, Demand(), False, None)


def changed(number: int, move: Move) -> AlarmChanged:
    return AlarmChanged(number * S, number, "rule", *move)


@pytest.mark.parametrize(("moves", "said"), IN_USE)
def test_an_alarm_that_rises_counts_as_what_it_became(moves: list[Move], said: str) -> None:
    tally, episodes = SessionTally(None, demo_wall_clock, ""), Episodes()
    tally.tell(WENT_ON, worn())
    for number, move in enumerate(moves, start=2):
        tally.tell((changed(number, move),), worn())
        episodes.alarm(changed(number, move), STATION, number * S)
    (line,) = tally.tell(WENT_OFF, worn())
    assert line.startswith(f"Worn for 0 min: {said},")
    leaves = sum(one.priority == HIGH for one in episodes.found)
    assert said == f"{leaves} LEAVE, {len(episodes.found) - leaves} LOOK"


STOOD = [
    ([RISES], "1 LEAVE, 0 LOOK"),
    ([(SOUNDS, ANSWERED, MEDIUM), RISES_ANSWERED], "1 LEAVE, 0 LOOK"),
    ([(ANSWERED, SOUNDS, MEDIUM)], "0 LEAVE, 0 LOOK besides 1 that stood from the start"),
]


@pytest.mark.parametrize(("moves", "said"), STOOD)
def test_one_that_stood_from_the_start_and_rises_became_a_leave_in_this_use(
    moves: list[Move], said: str
) -> None:
    tally = SessionTally(None, demo_wall_clock, "")
    now = worn(AlarmView("rule", SOUNDS, MEDIUM, 0, 1, ""))
    tally.tell(WENT_ON, now)
    for number, move in enumerate(moves, start=2):
        tally.tell((changed(number, move),), now)
    (line,) = tally.tell(WENT_OFF, now)
    assert line.startswith(f"Worn for 0 min: {said},")


class Kept:
    """An index that keeps the last record only."""

    use: SessionRecord | None = None

    def begin(self, record: SessionRecord) -> None:
        """Keep it."""
        self.use = record

    update = begin

    def check(self, record: CheckRecord) -> None:
        """There is none."""
        raise AssertionError(record)


ACROSS_A_RESTART = [
    # Stood from the start; what happens before the restart, and after it.
    (False, [LOOK], [RISES], "1 LEAVE, 0 LOOK"),
    (False, [LOOK, LOOK_ANSWERED], [RISES_ANSWERED], "1 LEAVE, 0 LOOK"),
    (False, [LOOK], [LOOK_ANSWERED], "0 LEAVE, 1 LOOK"),
    (True, [], [], "0 LEAVE, 0 LOOK besides 1 that stood from the start"),
    (True, [], [RISES], "1 LEAVE, 0 LOOK"),
    (True, [RISES], [RISES_ANSWERED], "1 LEAVE, 0 LOOK"),
]


@pytest.mark.parametrize(("stood", "before", "after", "said"), ACROSS_A_RESTART)
def test_a_restart_in_use_loses_no_count(
    stood: bool, before: list[Move], after: list[Move], said: str
) -> None:
    kept = Kept()
    first = SessionTally(kept, demo_wall_clock, "")
    first.tell(WENT_ON, worn(AlarmView("rule", SOUNDS, MEDIUM, 0, 1, "")) if stood else worn())
    for number, move in enumerate(before, start=2):
        first.tell((changed(number, move),), worn())
    priority = before[-1][2] if before else MEDIUM
    still = worn(AlarmView("rule", SOUNDS, priority, 0, 1, ""))
    second = SessionTally(kept, demo_wall_clock, "", kept.use)
    second.tell((), still)
    for number, move in enumerate(after, start=9):
        second.tell((changed(number, move),), still)
    (line,) = second.tell(WENT_OFF, worn())
    assert line.startswith(f"Worn for 0 min: {said},")
