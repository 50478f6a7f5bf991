"""Inputs are stamped as they arrive, and taken in that order."""

import asyncio

import pytest

from linetender.core.fact_names import FactName
from linetender.core.inputs import By, Command, Contact, ContactState, Fact, Reading, Verb
from linetender.core.signals import Signal
from linetender.runtime.inbox import Inbox
from linetender_drivers.measurements import ContactChange, Measurement
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000


def test_each_input_carries_the_instant_of_its_arrival() -> None:
    async def fill() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        inbox.measurements("air", [Measurement("hood_pressure_pa", 60.0, device_time=5.0)])
        await clock.sleep(1)
        inbox.lost("air", [Signal.HOOD_PRESSURE_PA], "nack")
        await clock.sleep(1)
        inbox.contact("button", ContactChange("answer", "closed"))
        inbox.fact(FactName.STORAGE_FAILED, True, "recording", "disk full")
        inbox.command(Verb.ACKNOWLEDGE, By.WEARER, shown=3, source="script")
        first = inbox.take()
        assert inbox.take() == []
        return first

    assert run_virtual(fill()) == [
        Reading(0, Signal.HOOD_PRESSURE_PA, 60.0, source="air", device_time=5.0),
        Reading(1 * S, Signal.HOOD_PRESSURE_PA, reason="nack", source="air"),
        Contact(2 * S, "answer", ContactState.CLOSED, "button"),
        Fact(2 * S, "storage_failed", True, "recording", "disk full"),
        Command(2 * S, Verb.ACKNOWLEDGE, By.WEARER, 3, source="script"),
    ]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_not_finite_is_no_number(value: float) -> None:
    async def fill() -> list[object]:
        inbox = Inbox(VirtualClock())
        inbox.measurements("air", [Measurement("hood_pressure_pa", value)])
        return inbox.take()

    assert run_virtual(fill()) == [
        Reading(0, Signal.HOOD_PRESSURE_PA, reason="not_finite", source="air")
    ]


@pytest.mark.parametrize(
    "made",
    [
        Measurement("no_such_signal", 1.0),
        Measurement("hood_pressure_pa"),
        Measurement("hood_pressure_pa", 1.0, "nack"),
        Measurement("hood_pressure_pa", "sixty"),  # type: ignore[arg-type]
        Measurement("hood_pressure_pa", [60.0]),  # type: ignore[arg-type]
    ],
)
def test_what_is_no_measurement_is_refused_whole(made: Measurement) -> None:
    async def fill() -> list[object]:
        inbox = Inbox(VirtualClock())
        with pytest.raises((TypeError, ValueError)):
            inbox.measurements("air", [made])
        return inbox.take()

    assert run_virtual(fill()) == []


def test_a_wait_ends_at_an_input_or_at_its_instant() -> None:
    async def wait() -> list[float]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        ended = []
        asyncio.get_running_loop().call_later(0.3, inbox.fact, FactName.BROKER_LOST, True)
        await inbox.wait(1 * S)
        ended.append(clock.now_ns() / S)
        inbox.take()
        await inbox.wait(1 * S)
        ended.append(clock.now_ns() / S)
        assert inbox.take() == []
        asyncio.get_running_loop().call_later(60, inbox.fact, FactName.BROKER_LOST, False)
        await inbox.wait(None)
        ended.append(clock.now_ns() / S)
        await inbox.wait(1 * S)  # something waits already
        ended.append(clock.now_ns() / S)
        return ended

    assert run_virtual(wait()) == [0.3, 1.0, 61.0, 61.0]


def test_facts_are_repeated_as_they_stand() -> None:
    async def repeat() -> list[object]:
        clock = VirtualClock()
        inbox = Inbox(clock)
        inbox.fact(FactName.DEVICE_FAILED, True, "air")
        inbox.fact(FactName.STORAGE_FAILED, True, "recording", "disk full")
        inbox.fact(FactName.DEVICE_FAILED, False, "air")
        inbox.take()
        await clock.sleep(10)
        inbox.repeat_facts()
        return inbox.take()

    assert run_virtual(repeat()) == [
        Fact(10 * S, "device_failed", False, "air"),
        Fact(10 * S, "storage_failed", True, "recording", "disk full"),
    ]
