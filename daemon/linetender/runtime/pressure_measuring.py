"""Watch the station's own pressure sensor for some seconds, through its real driver."""

import asyncio
from collections.abc import Callable
from typing import NamedTuple

from linetender.airline.pressure_sample import PressureSample, sample_of
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.signals import Signal
from linetender.runtime.clock import WallClock
from linetender.runtime.supervisor import WIRED
from linetender.settings.station import Device
from linetender_drivers.contracts import Clock, Machine, Sensor
from linetender_drivers.errors import DeviceTimeout, DriverError

SETTLE_S = 1.0
"""What a sensor says right after its start is not counted (chosen)."""

AFTER_FAILURE_S = 0.1

Told = Callable[[float, float | None], None]
"""Told how far a measurement is (s) and the last value (Pa), or None after a failure."""


class Bench(NamedTuple):
    """What a calibration runs on.

    Attributes:
        machine: Where the sensor is opened.
        clock: Whose time a measurement takes.
        wall: The time of day.
    """

    machine: Machine
    clock: Clock
    wall: WallClock


async def measure_pressure(
    device: Device, signal: Signal, bench: Bench, seconds: float, told: Told
) -> PressureSample:
    """Read a sensor for some seconds and summarise what it said.

    Failed readings are counted and never made up for.

    Args:
        device: The sensor.
        signal: Which of its signals (Pa).
        bench: What it is opened on.
        seconds: How long to count its values (s, > 0).
        told: Progress.

    Raises:
        DriverError: the sensor cannot be opened, or is another part.
    """
    roles = tuple(each.value for each in device.signals)
    sensor: Sensor = device.spec.opener()(device.name, device.options, bench.machine, roles)
    try:
        async with asyncio.timeout(WIRED.open_s):
            await sensor.open()
    except TimeoutError as error:
        raise DeviceTimeout(device.name, "does not answer") from error
    try:
        await _read_until(sensor, signal, bench.clock, SETTLE_S, lambda *_: None)
        values, failed = await _read_until(sensor, signal, bench.clock, seconds, told)
    finally:
        await sensor.close()
    return sample_of(values, failed)


async def _read_until(
    sensor: Sensor, signal: Signal, clock: Clock, seconds: float, told: Told
) -> tuple[list[float], int]:
    values: list[float] = []
    failed = 0
    start_ns = clock.now_ns()
    while clock.now_ns() < start_ns + from_seconds(seconds):
        value = await _value(sensor, signal)
        if value is None:
            failed += 1
            await clock.sleep(AFTER_FAILURE_S)
        else:
            values.append(value)
        told(min(seconds, to_seconds(clock.now_ns() - start_ns)), value)
    return values, failed


async def _value(sensor: Sensor, signal: Signal) -> float | None:
    try:
        async with asyncio.timeout(sensor.read_deadline_s):
            measurements = await sensor.read()
    except (DriverError, TimeoutError):
        return None
    for measurement in measurements:
        if measurement.signal == signal.value and measurement.doubt is None:
            return measurement.value
    return None
