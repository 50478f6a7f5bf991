"""What a second box sends, and what the core is told."""

import json
import logging
from typing import Any

import pytest

from linetender.core.alarm_table import AlarmState
from linetender.core.events import Demand, Sound
from linetender.core.inputs import By, Command, Contact, ContactState, Fact, Input, Verb
from linetender.core.plan import Arrangement, FarEndPlan, Plan
from linetender.core.snapshot import AlarmView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.runtime.far_ends import FarEnds
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Received
from linetender.runtime.telling import Teller
from linetender_drivers.simulated.virtual_time import VirtualClock

RUN = "0a1b2c3d"
# An invented station: one box beside the wearer, one in the kitchen.
PLAN = Plan(
    "shed",
    Arrangement.WEARER_SIDE,
    None,
    (),
    (),
    (),
    far_ends=(FarEndPlan("bench", "wearer"), FarEndPlan("kitchen", "attendant")),
    contact_names=("ann", "bo"),
)


class Heard:
    """A station after its 100th heartbeat, with its boxes."""

    def __init__(self) -> None:
        self.said: list[tuple[str, str]] = []
        teller = Teller(PLAN, RUN, self._publish)
        self.inbox = Inbox(StandingClock())
        for second in range(100):
            teller.alive(second * 1_000_000_000, snapshot())
        self.said.clear()
        self.far_ends = FarEnds(PLAN, teller, self.inbox)

    def _publish(self, topic: str, payload: bytes, **_: Any) -> None:
        self.said.append((topic, payload.decode()))

    def take(self, topic: str, now: Snapshot, retained: bool = False, **said: Any) -> list[Input]:
        fields = {"run": RUN, "heard": 100, **said}
        received = Received(f"linetender/shed/far/{topic}", json.dumps(fields).encode(), retained)
        self.far_ends.take(received, now)
        return list(self.inbox.take())


class StandingClock(VirtualClock):
    """A clock that stands at 7 ns."""

    def now_ns(self) -> int:
        return 7


def snapshot(far: Sound = Sound.SILENT, *alarms: tuple[int, AlarmState]) -> Snapshot:
    views = tuple(AlarmView("air_lost", state, Priority.HIGH, 0, n, "Air.") for n, state in alarms)
    return Snapshot(0, Stage.WORN, 9, (), views, Demand(far=far), False, None)


def tap(n: int, shown: int, gesture: str = "tap") -> dict[str, Any]:
    return {"from": "b0b0", "count": n, "shown": shown, "gesture": gesture}


SOUNDS = AlarmState.UNACKNOWLEDGED
CONFIRMED = [Fact(7, "far_end_confirmed", True, "bench")]


@pytest.mark.parametrize(
    ("far", "shown", "sounding", "expected"),
    [
        (Sound.SILENT, 0, "silent", CONFIRMED),
        (Sound.HIGH, 0, "high", CONFIRMED),
        (Sound.HIGH, 4, "silent", CONFIRMED),  # quieted by its button
        (Sound.HIGH, 3, "silent", []),  # its sounder is dead
    ],
)
def test_a_confirmation_is_a_fact_unless_its_sounder_is_dead(
    far: Sound, shown: int, sounding: str, expected: list[Input]
) -> None:
    now = snapshot(far, (4, SOUNDS))
    assert Heard().take("bench/confirm", now, shown=shown, sounding=sounding) == expected


@pytest.mark.parametrize(
    ("topic", "retained", "said"),
    [
        ("bench/confirm", True, {}),
        ("bench/confirm", False, {"run": "ffffffff"}),
        ("bench/confirm", False, {"heard": 94}),
        ("bench/confirm", False, {"heard": 101}),
        ("bench/confirm", False, {"sounding": "loud"}),
        ("stranger/confirm", False, {}),
        ("bench/more/confirm", False, {}),
        ("bench/online", False, {}),
    ],
)
def test_a_confirmation_that_does_not_count(
    topic: str, retained: bool, said: dict[str, Any]
) -> None:
    fields = {"shown": 0, "sounding": "silent", **said}
    assert Heard().take(topic, snapshot(), retained, **fields) == []


def test_a_tap_of_the_wearer_who_heard_all_that_sounds_is_a_tap_of_the_wired_button() -> None:
    heard = Heard()
    contacts = [
        Contact(7, "answer", ContactState.CLOSED, "bench"),
        Contact(7, "answer", ContactState.OPEN, "bench"),
    ]
    assert heard.take("bench/press", snapshot(Sound.HIGH, (4, SOUNDS)), **tap(1, 4)) == contacts
    assert heard.take("bench/press", snapshot(), **tap(2, 0)) == contacts


def test_a_tap_of_the_wearer_answers_nothing_newer_than_was_shown() -> None:
    now = snapshot(Sound.HIGH, (4, SOUNDS), (5, SOUNDS))
    assert Heard().take("bench/press", now, **tap(1, 4)) == [
        Command(7, Verb.ACKNOWLEDGE, By.WEARER, 4, source="bench")
    ]


def test_a_hold_of_the_wearer_calls_for_help_however_long_the_box_was_cut_off() -> None:
    heard = Heard()
    help_called = [Command(7, Verb.HELP, By.WEARER, source="bench")]
    assert heard.take("bench/press", snapshot(), heard=2, **tap(1, 0, "hold")) == help_called
    assert heard.take("bench/press", snapshot(), heard=2, **tap(2, 0)) == []


def test_a_press_of_an_attendant_is_recorded_and_told_and_changes_nothing() -> None:
    heard = Heard()
    now = snapshot(Sound.HIGH, (4, SOUNDS))
    assert heard.take("kitchen/press", now, **tap(1, 4)) == [
        Fact(7, "far_end_pressed", True, "kitchen", "tap")
    ]
    assert heard.said == [
        ("linetender/shed/contact/ann", "kitchen is coming to shed."),
        ("linetender/shed/contact/bo", "kitchen is coming to shed."),
    ]


def test_a_box_cannot_press_in_anothers_name_and_no_press_counts_twice() -> None:
    heard = Heard()
    assert heard.take("kitchen/press", snapshot(), **tap(1, 0))
    assert heard.take("kitchen/press", snapshot(), **tap(1, 0)) == []
    assert heard.take("bench/press", snapshot(), **tap(1, 0))


def test_what_does_not_count_is_logged_now_and_then(caplog: pytest.LogCaptureFixture) -> None:
    heard = Heard()
    with caplog.at_level(logging.WARNING):
        for _ in range(2_000):
            heard.take("bench/confirm", snapshot(), shown=0)
    assert len(caplog.records) == 4  # the 1st, 10th, 100th and 1000th
    assert heard.far_ends.refusals.counts.total() == 2_000
