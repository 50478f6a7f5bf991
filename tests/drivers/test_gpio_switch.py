"""Buttons and contacts on simulated lines in virtual time."""

import asyncio
from types import SimpleNamespace
from typing import Any

import pytest
from pydantic import ValidationError

from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason
from linetender_drivers.inputs.gpio_button_spec import GpioButtonOptions
from linetender_drivers.inputs.gpio_contact_spec import GpioContactOptions
from linetender_drivers.inputs.gpio_switch import GpioSwitch, open_button, open_contact
from linetender_drivers.measurements import ContactChange
from linetender_drivers.registry import Kind, find_spec
from linetender_drivers.simulated.pins import SimulatedPins
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

MS = 1_000_000

Hand = tuple[int, str, int]
"""When (ms), what (press or release), which line."""


def bench() -> tuple[Any, SimulatedPins]:
    clock = VirtualClock()
    pins = SimulatedPins(clock)
    return SimpleNamespace(clock=clock, pins=lambda chip: pins), pins


def heard(make: Any, hands: list[Hand], until_ms: int) -> list[tuple[int, str]]:
    """Return what a switch says, with the ms at which it says it."""

    async def scene() -> list[tuple[int, str]]:
        machine, pins = bench()
        switch: GpioSwitch = make(machine)
        schedule(pins, hands)
        await switch.open()
        said = []
        while True:
            change = await switch.change()
            now_ms = machine.clock.now_ns() // MS
            if now_ms > until_ms:
                await switch.close()
                return said
            assert change.contact == "answer"
            said.append((now_ms, change.state))

    return run_virtual(scene())


def schedule(pins: SimulatedPins, hands: list[Hand]) -> None:
    for at_ms, what, gpio in hands:
        act = getattr(pins, what)
        if at_ms == 0:
            act(gpio)
        else:
            asyncio.get_running_loop().call_at(at_ms / 1000, act, gpio)


def single(machine: Any) -> GpioSwitch:
    return open_button("stop", GpioButtonOptions(no_gpio=17), machine, ("answer",))


def change_over(machine: Any) -> GpioSwitch:
    return open_button("stop", GpioButtonOptions(no_gpio=17, nc_gpio=27), machine, ("answer",))


def test_a_press_is_told_at_its_edge_and_the_state_is_repeated_each_second() -> None:
    hands = [(300, "press", 17), (700, "release", 17)]
    assert heard(single, hands, 2900) == [
        (20, "open"),
        (320, "closed"),
        (720, "open"),
        (1720, "open"),
        (2720, "open"),
    ]


def test_a_button_held_at_start_is_closed() -> None:
    assert heard(single, [(0, "press", 17)], 1500) == [(20, "closed"), (1020, "closed")]


def test_bounces_are_one_press() -> None:
    hands = [(300, "press", 17), (302, "release", 17), (305, "press", 17)]
    assert heard(single, hands, 900) == [(20, "open"), (325, "closed")]


def test_a_change_over_button_needs_both_contacts() -> None:
    hands = [(0, "press", 27), (300, "release", 27), (310, "press", 17)]
    hands += [(800, "release", 17), (805, "press", 27)]
    assert heard(change_over, hands, 1000) == [(20, "open"), (330, "closed"), (825, "open")]


@pytest.mark.parametrize(
    ("hands", "why"),
    [
        ([(0, "press", 27), (300, "release", 27)], "wire off"),
        ([(0, "press", 27), (300, "press", 17)], "cable crushed"),
    ],
)
def test_a_broken_cable_is_broken_and_never_a_press(hands: list[Hand], why: str) -> None:
    assert heard(change_over, hands, 2000) == [(20, "open"), (800, "broken"), (1800, "broken")]


def test_a_button_whose_cable_is_off_at_start_is_broken() -> None:
    assert heard(change_over, [], 1700) == [(500, "broken"), (1500, "broken")]


@pytest.mark.parametrize(
    ("closed_when_low", "hands", "states"),
    [
        (True, [(300, "press", 5)], ["open", "closed"]),
        (True, [(0, "press", 5), (300, "release", 5)], ["closed", "open"]),
        (False, [], ["open"]),
    ],
)
def test_a_contact_closes_towards_the_side_it_is_wired_to(
    closed_when_low: bool, hands: list[Hand], states: list[str]
) -> None:
    def contact(machine: Any) -> GpioSwitch:
        options = GpioContactOptions(gpio=5, closed_when_low=closed_when_low)
        return open_contact("hook", options, machine, ("answer",))

    assert [state for _, state in heard(contact, hands, 900)] == states


def test_a_contact_to_the_supply_closes_high() -> None:
    async def scene() -> list[ContactChange]:
        machine, pins = bench()
        options = GpioContactOptions(gpio=5, closed_when_low=False)
        contact = open_contact("mains", options, machine, ("fan_mains",))
        await contact.open()
        seen = [await contact.change()]
        pins.drive(5, high=True)
        return [*seen, await contact.change()]

    assert run_virtual(scene()) == [
        ContactChange("fan_mains", "open"),
        ContactChange("fan_mains", "closed"),
    ]


def test_without_edges_the_level_is_found_in_a_quarter_of_a_second(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def silently(self: SimulatedPins, gpio: int, driven: bool | None) -> None:
        self._driven[gpio] = bool(driven)

    monkeypatch.setattr(SimulatedPins, "_with_notice", silently)
    assert heard(single, [(300, "press", 17)], 900) == [(20, "open"), (540, "closed")]


def test_a_taken_line_gives_the_other_one_back() -> None:
    async def scene() -> None:
        machine, pins = bench()
        owner = pins.input(27, pull_up=True)
        button = change_over(machine)
        with pytest.raises(DriverConfigError, match="GPIO 27"):
            await button.open()
        owner.close()
        await button.open()
        await button.close()

    run_virtual(scene())


def test_a_closed_switch_says_so() -> None:
    async def scene() -> FailureReason:
        machine, _ = bench()
        button = single(machine)
        await button.open()
        await button.close()
        with pytest.raises(DriverError) as refused:
            await button.change()
        return refused.value.reason

    assert run_virtual(scene()) is FailureReason.CLOSED


def test_the_drivers_are_installed_under_their_names() -> None:
    button, contact = find_spec("gpio_button"), find_spec("gpio_contact")
    assert (button.kind, contact.kind) == (Kind.INPUT, Kind.INPUT)
    assert (button.opener(), contact.opener()) == (open_button, open_contact)
    assert button.provides(GpioButtonOptions(no_gpio=1)) == frozenset()
    assert [
        button.options(no_gpio=1, chip=chip).is_simulated for chip in ("gpio", "simulated")
    ] == [False, True]
    assert contact.options(gpio=1, chip="simulated").is_simulated


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"no_gpio": 28},
        {"no_gpio": -1},
        {"no_gpio": "17"},
        {"no_gpio": 17, "nc_gpio": 17},
        {"no_gpio": 17, "bounce_time": 1},
        {"no_gpio": 17, "chip": ""},
    ],
)
def test_impossible_buttons_are_refused(options: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        GpioButtonOptions(**options)
