"""Who is called, when, and with which words."""

from typing import Any

from linetender.annunciation.words import HELPER_CAUTION, HELPER_CAUTION_AFTERWARDS
from linetender.core.events import Demand, DemandChanged, Sound
from linetender.core.plan import Arrangement, Plan
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.telling import SAY_EXPIRY_S, Teller

# An invented station.
PLAN = Plan("shed", Arrangement.WEARER_SIDE, None, (), (), (), contact_names=("ann", "bo"))
LOST = Demand(Sound.HIGH, rule="air_lost", say="Air lost. Leave.", tell=("ann",))
WIDER = Demand(Sound.HIGH, rule="air_lost", say="Air lost. Leave.", tell=("ann", "bo"))
QUIET = Demand(tell=("ann", "bo"))
LOOK = Demand(Sound.MEDIUM, rule="filter", say="Look at the filter.", tell=("bo",))


def told(*demands: Demand) -> list[tuple[str, str]]:
    said: list[tuple[str, str]] = []

    def publish(topic: str, payload: bytes, **how: Any) -> None:
        if "/contact/" in topic:
            assert how == {"qos": 1, "expiry_s": SAY_EXPIRY_S}
            said.append((topic.rpartition("/")[2], payload.decode()))

    teller = Teller(PLAN, "0a1b2c3d", publish)
    for demand in demands:
        now = Snapshot(0, Stage.WORN, 0, (), (), demand, False, None)
        teller.events((DemandChanged(0, demand),), now, demo_wall_clock())
    return said


CALLED = f"LEAVE at shed: Air lost. Leave. {HELPER_CAUTION}"
OVER = f"Over at shed: answered and over. {HELPER_CAUTION_AFTERWARDS}"


def test_each_is_called_once_and_released_once() -> None:
    assert told(LOST, LOST, WIDER, QUIET, Demand()) == [
        ("ann", CALLED),
        ("bo", CALLED),
        ("ann", OVER),
        ("bo", OVER),
    ]


def test_who_is_called_again_is_told_of_the_new_alarm() -> None:
    assert told(LOST, Demand(), LOOK) == [
        ("ann", CALLED),
        ("ann", OVER),
        ("bo", "LOOK at shed: Look at the filter."),
    ]


def test_an_attendant_who_calls_for_help_is_no_attendant_who_comes() -> None:
    said: list[tuple[str, str]] = []
    teller = Teller(PLAN, "0a1b2c3d", lambda t, p, **_: said.append((t, p.decode())))
    teller.attendant("kitchen", calls_for_help=False)
    teller.attendant("kitchen", calls_for_help=True)
    assert [line for topic, line in said if topic.endswith("/ann")] == [
        "kitchen is coming to shed.",
        f"HELP at shed: kitchen calls for help. {HELPER_CAUTION}",
    ]
