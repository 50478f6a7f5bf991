"""Buzzer and lamp on simulated lines."""

from types import SimpleNamespace
from typing import Any

import pytest
from pydantic import ValidationError

from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason
from linetender_drivers.outputs.gpio_output import open_output
from linetender_drivers.outputs.gpio_output_spec import GpioOutputOptions
from linetender_drivers.outputs.gpio_relay import open_relay
from linetender_drivers.registry import Kind, find_spec
from linetender_drivers.simulated.pins import SimulatedPins
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual


def bench() -> tuple[Any, SimulatedPins]:
    clock = VirtualClock()
    pins = SimulatedPins(clock)
    return SimpleNamespace(clock=clock, pins=lambda chip: pins), pins


@pytest.mark.parametrize("active_high", [True, False])
def test_off_at_start_on_and_off_again_at_the_end(active_high: bool) -> None:
    async def scene() -> list[tuple[int, int, bool]]:
        machine, pins = bench()
        options = GpioOutputOptions(gpio=18, active_high=active_high)
        buzzer = open_output("siren", options, machine, ("buzzer",))
        await buzzer.open()
        await machine.clock.sleep(1.0)
        buzzer.write(True)
        await machine.clock.sleep(0.5)
        buzzer.write(True)
        buzzer.write(False)
        buzzer.write(True)
        await buzzer.close()
        await buzzer.close()
        return list(pins.edges)

    on, off = active_high, not active_high
    assert run_virtual(scene()) == [
        (0, 18, off),
        (1_000_000_000, 18, on),
        (1_500_000_000, 18, off),
        (1_500_000_000, 18, on),
        (1_500_000_000, 18, off),
    ]


@pytest.mark.parametrize("energised", [True, False])
def test_a_relay_is_held_while_quiet_and_drops_to_alarm_and_at_the_end(energised: bool) -> None:
    async def scene() -> list[bool]:
        machine, pins = bench()
        options = GpioOutputOptions(gpio=20, active_high=energised)
        relay = open_relay("siren", options, machine, ("buzzer",))
        await relay.open()
        relay.write(True)
        relay.write(False)
        await relay.close()
        return [high for _, _, high in pins.edges]

    dropped = not energised
    assert run_virtual(scene()) == [dropped, energised, dropped, energised, dropped]


def test_what_is_not_open_cannot_be_switched() -> None:
    machine, _ = bench()
    lamp = open_output("red", GpioOutputOptions(gpio=18), machine, ("lamp_red",))
    with pytest.raises(DriverError) as refused:
        lamp.write(True)
    assert refused.value.reason is FailureReason.CLOSED


def test_two_outputs_cannot_share_a_line() -> None:
    async def scene() -> None:
        machine, _ = bench()
        options = GpioOutputOptions(gpio=18)
        await open_output("siren", options, machine, ("buzzer",)).open()
        with pytest.raises(DriverConfigError, match="GPIO 18"):
            await open_output("red", options, machine, ("lamp_red",)).open()

    run_virtual(scene())


@pytest.mark.parametrize("driver", ["gpio_buzzer", "gpio_lamp", "gpio_keep_alive"])
def test_the_drivers_are_installed_under_their_names(driver: str) -> None:
    spec = find_spec(driver)
    assert (spec.kind, spec.opener()) == (Kind.OUTPUT, open_output)
    options = spec.options(gpio=18, chip="simulated")
    assert options.is_simulated
    assert spec.provides(options) == frozenset()


@pytest.mark.parametrize("options", [{}, {"gpio": 28}, {"gpio": 18, "active_high": 1}])
def test_impossible_outputs_are_refused(options: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        GpioOutputOptions(**options)
