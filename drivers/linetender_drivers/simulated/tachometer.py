"""A simulated tachometer: pulls a simulated line low once or more per turn of a fan."""

from collections.abc import Callable

from linetender_drivers.contracts import Clock
from linetender_drivers.simulated.pins import SimulatedPins

STANDING_RPM = 1.0
"""Slower than this the fan counts as standing."""

LOOK_AGAIN_S = 0.1
"""While it stands, its speed is looked at so often."""


async def turn(
    pins: SimulatedPins,
    clock: Clock,
    gpio: int,
    speed_rpm: Callable[[int], float],
    pulses_per_turn: int = 2,
) -> None:
    """Turn for ever; cancel it to cut the wire.

    Args:
        pins: With the line.
        clock: Whose time it turns by.
        gpio: Number of the line.
        speed_rpm: Turns per minute at a time (ns).
        pulses_per_turn: Each pulls the line low for half of it.
    """
    while True:
        rpm = speed_rpm(clock.now_ns())
        if rpm < STANDING_RPM:
            await clock.sleep(LOOK_AGAIN_S)
            continue
        half_pulse_s = 60.0 / rpm / pulses_per_turn / 2
        pins.press(gpio)
        await clock.sleep(half_pulse_s)
        pins.release(gpio)
        await clock.sleep(half_pulse_s)
