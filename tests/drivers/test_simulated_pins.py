"""The simulated lines, as a test's hands see them."""

import pytest

from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason
from linetender_drivers.simulated.pins import OutputEdge, SimulatedPins
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual


def test_an_input_lies_at_its_pull_until_driven() -> None:
    async def scene() -> list[bool]:
        pins = SimulatedPins(VirtualClock())
        up, down = pins.input(17, pull_up=True), pins.input(27, pull_up=False)
        seen = [up.is_high(), down.is_high()]
        pins.press(17)
        pins.drive(27, high=True)
        seen += [up.is_high(), down.is_high()]
        pins.release(17)
        pins.release(27)
        return [*seen, up.is_high(), down.is_high()]

    assert run_virtual(scene()) == [True, False, False, True, True, False]


def test_a_button_may_be_held_before_the_line_is_claimed() -> None:
    pins = SimulatedPins(VirtualClock())
    pins.press(4)
    assert pins.input(4, pull_up=True).is_high() is False


def test_an_edge_wakes_and_an_edge_in_between_is_not_lost() -> None:
    async def scene() -> list[int]:
        clock = VirtualClock()
        pins = SimulatedPins(clock)
        line = pins.input(17, pull_up=True)
        seen = []
        await line.edge(2.0)
        seen.append(clock.now_ns())
        pins.press(17)
        await clock.sleep(1.0)
        await line.edge(5.0)
        seen.append(clock.now_ns())
        pins.press(17)
        await line.edge(0.5)
        return [*seen, clock.now_ns()]

    assert run_virtual(scene()) == [2_000_000_000, 3_000_000_000, 3_500_000_000]


def test_output_edges_are_recorded_in_order_with_their_instants() -> None:
    async def scene() -> list[OutputEdge]:
        clock = VirtualClock()
        pins = SimulatedPins(clock)
        buzzer, relay = pins.output(18, safe_high=False), pins.output(23, safe_high=True)
        await clock.sleep(1.0)
        buzzer.write(True)
        buzzer.write(True)
        relay.write(False)
        await clock.sleep(0.25)
        buzzer.close()
        relay.close()
        assert (pins.level(18), pins.level(23), pins.level(5)) == (False, True, None)
        return pins.edges

    assert run_virtual(scene()) == [
        (0, 18, False),
        (0, 23, True),
        (1_000_000_000, 18, True),
        (1_000_000_000, 23, False),
        (1_250_000_000, 18, False),
        (1_250_000_000, 23, True),
    ]


def test_a_line_has_one_owner_until_given_back() -> None:
    pins = SimulatedPins(VirtualClock())
    line = pins.input(17, pull_up=True)
    with pytest.raises(DriverConfigError, match="GPIO 17: another device"):
        pins.output(17, safe_high=False)
    line.close()
    pins.input(17, pull_up=True).close()
    with pytest.raises(DriverError) as refused:
        line.is_high()
    assert refused.value.reason is FailureReason.CLOSED


@pytest.mark.parametrize("gpio", [-1, 28])
def test_a_line_that_the_header_lacks_is_refused(gpio: int) -> None:
    with pytest.raises(DriverConfigError, match="GPIO 0 to 27"):
        SimulatedPins(VirtualClock()).input(gpio, pull_up=True)
