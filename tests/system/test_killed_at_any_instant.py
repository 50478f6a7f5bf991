"""A day from the check to the evening, cut off at random instants as by kill -9.

Nothing is told to the station that dies: what the next run finds is what was kept at the
last event, as the state's file or the outbox would hold it.
"""

import os
import random
from dataclasses import dataclass, field

import msgspec
import pytest

from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, Event, StageChanged
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.pre_use import CheckState
from linetender.core.snapshot import Question
from linetender.core.stages import Stage
from linetender.recording.lines import as_recorded
from runtime.demo_sessions import Deed, Hand, Played, play

KILLS = int(os.environ.get("LINETENDER_KILLS", "20"))
"""Instants that are tried: 20 in a usual run; 200 by hand."""

SEED = 11
BLIND_S = 4.0
END_S = 300.0
DRAWN_S = 20


def drawn(least: int, greatest: int) -> int:
    return DRAWN_S


def tap(at_s: float) -> tuple[Deed, Deed]:
    return (
        (at_s, lambda hand: hand.rig.press("answer")),
        (at_s + 0.3, lambda hand: hand.rig.release("answer")),
    )


def hood(hand: Hand) -> None:
    hand.rig.world.hood_on(hand.now_ns)


DAY: tuple[Deed, ...] = (
    *tap(2.0),
    (6.0, Hand.fan_start),
    (20.0, hood),
    *tap(32.0),
    *tap(153.0),
    *tap(160.0),
    (200.0, Hand.fan_stop),
    *tap(215.0),
    *tap(217.0),
    *tap(222.0),
    *tap(235.0),
)
"""Check, use, a LEAVE that is answered, out, and the LEAVE called false."""


@dataclass
class Kept:
    """Takes what a station keeps, as the state's file does."""

    fault: str = ""
    states: list[tuple[int, Carryover]] = field(default_factory=list)

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        if events:
            self.states.append((told_ns, carryover))

    def close(self, within_s: float = 2.0) -> None:
        """Nothing waits."""

    def at(self, instant_ns: int) -> Carryover | None:
        """Return what lay on the disk at an instant."""
        before = [state for at_ns, state in self.states if at_ns <= instant_ns]
        return before[-1] if before else None


@pytest.fixture(scope="module")
def day() -> tuple[Played, Kept]:
    kept = Kept()
    return play(DAY, END_S, keeper=kept, draw=drawn), kept


def stage_at(played: Played, instant_ns: int) -> Stage:
    stage = Stage.IDLE
    for event in played.events:
        if isinstance(event, StageChanged) and event.due_ns <= instant_ns:
            stage = event.after
    return stage


def test_the_day_has_all_that_a_day_has(day: tuple[Played, Kept]) -> None:
    played, _ = day
    stages = [event.after for event in played.events if isinstance(event, StageChanged)]
    assert stages == [Stage.PRE_USE, Stage.WORN, Stage.IDLE]
    assert any(
        isinstance(event, AlarmChanged) and event.rule == "air_lost" for event in played.events
    )


@pytest.mark.parametrize("power_cut", [False, True], ids=["killed", "power cut"])
def test_whenever_it_is_killed_the_next_run_stands_right_and_says_so(
    day: tuple[Played, Kept], power_cut: bool
) -> None:
    played, kept = day
    instants = sorted(random.Random(SEED).uniform(3.0, END_S - 5.0) for _ in range(KILLS))
    for instant_s in instants:
        instant_ns = round(instant_s * SECOND_NS)
        found = kept.at(instant_ns)
        before = stage_at(played, instant_ns)
        blind_ns = None if power_cut else round(BLIND_S * SECOND_NS)
        carryover = None if found is None else as_recorded(found.after_restart(blind_ns))
        look(before, play((), 2.0, carryover=carryover), f"killed at {instant_s:.3f} s", power_cut)


def look(before: Stage, after: Played, when: str, power_cut: bool) -> None:
    """Hold what the next run says in its first seconds against where the one before stood."""
    snapshot = after.live.snapshot()
    resumed = [e for e in after.events if isinstance(e, AlarmChanged) and e.rule == "resumed"]
    if before is Stage.WORN:
        assert snapshot.stage is Stage.WORN, when
        assert snapshot.air_armed, when
        (said,) = resumed
        how_long = "an unknown time" if power_cut else "at most 4 s"
        assert said.why == f"blind for {how_long}", when
        assert (snapshot.question is Question.HOOD) is power_cut, when
        assert (snapshot.air_baseline is None) or not power_cut, when
        return
    assert resumed == [], when
    assert snapshot.stage is Stage.IDLE, when
    if before is Stage.PRE_USE:
        assert snapshot.check.state is CheckState.REFUSED, when
    assert snapshot.question is not Question.HOOD, when
    assert [e for e in after.events if isinstance(e, AlarmChanged) and e.why != "out"] == [], when
    assert all(to_seconds(event.due_ns) <= 2.0 for event in after.events), when
    assert msgspec.json.encode(snapshot), when
