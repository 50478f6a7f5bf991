"""Time that stands still for those who work."""

import asyncio
import itertools
import time

import pytest

from linetender.simulation import gated_time
from linetender.simulation.gated_time import Gate, GatedLoop
from linetender_drivers.simulated.served_time import RealContact
from linetender_drivers.simulated.virtual_time import NS_PER_S, VirtualClock


class Somebody:
    """A holder of time."""

    def __init__(self) -> None:
        self.was_given_up = False

    def give_up(self) -> None:
        self.was_given_up = True


@pytest.mark.parametrize(
    ("held", "passing", "states", "is_open"),
    [
        (False, False, [], False),
        (False, True, [], True),
        (True, True, [], True),
        (False, False, ["waits"], True),
        (True, False, ["waits"], False),
        (True, True, ["waits"], True),
        (False, False, ["idles"], False),
        (False, False, ["idles", "waits"], True),
        (False, False, ["works", "waits"], False),
        (False, True, ["works"], False),
    ],
)
def test_when_time_may_move(held: bool, passing: bool, states: list[str], is_open: bool) -> None:
    gate = Gate(held=held)
    for state in states:
        somebody = Somebody()
        gate.works(somebody)
        if state != "works":
            gate.waits(somebody, for_time=state == "waits")
    if passing:
        with gate.passing():
            assert gate.is_open is is_open
        assert not gate.is_open or ("waits" in states and not held)
    else:
        assert gate.is_open is is_open


def test_one_who_says_nothing_for_too_long_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gated_time, "PATIENCE_S", 0.01)
    gate, frozen, patient = Gate(held=False), Somebody(), Somebody()
    gate.works(frozen)
    gate.works(patient)
    gate.waits(patient, for_time=True)

    async def sleep() -> int:
        await VirtualClock().sleep(3600)
        return VirtualClock().now_ns()

    with asyncio.Runner(loop_factory=lambda: GatedLoop(gate)) as runner:
        assert runner.run(sleep()) == 3600 * NS_PER_S
    assert (frozen.was_given_up, patient.was_given_up, gate.count) == (True, False, 1)


def test_at_a_speed_time_is_no_faster() -> None:
    gate = Gate(held=False)

    async def sleep() -> int:
        with gate.passing():
            await VirtualClock().sleep(10)
        return VirtualClock().now_ns()

    began_s = time.monotonic()
    with asyncio.Runner(loop_factory=lambda: GatedLoop(gate, speed=100)) as runner:
        assert runner.run(sleep()) == 10 * NS_PER_S
    assert time.monotonic() - began_s >= 0.1


def test_what_is_real_is_given_time_up_to_its_limit() -> None:
    states = itertools.chain([True, True, False, True, True], itertools.repeat(True))
    contact = RealContact(lambda: next(states), 10.0, anew=False)
    assert contact.wants_time()
    contact.spend(9.0)
    assert contact.wants_time()
    assert not contact.wants_time()
    assert contact.wants_time()
    contact.spend(1.0)
    assert not contact.wants_time()


def test_what_is_real_and_over_may_be_given_its_limit_anew() -> None:
    states = iter([True, True, False, True])
    contact = RealContact(lambda: next(states), 10.0, anew=True)
    assert contact.wants_time()
    contact.spend(11.0)
    assert [contact.wants_time() for _ in range(3)] == [False, False, True]
