"""The sensors of a real station, on its own computer: `pytest --hardware`.

Name the station file in the environment variable LINETENDER_STATION, stop the daemon, and
let the sensors lie in the air of a room. Nothing here opens inputs or outputs.
"""

import asyncio
import math
import os
from pathlib import Path

import pytest

from linetender.runtime.clock import MonotonicClock
from linetender.settings.load import load_station
from linetender.settings.station import Device
from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import Kind

STATION_VARIABLE = "LINETENDER_STATION"
OPEN_WITHIN_S = 30.0
READS = 20


async def exercise(device: Device, machine: Machine) -> dict[str, Measurement]:
    """Open, read, close and open again; return the last measurement of each signal."""
    roles = tuple(signal.value for signal in device.signals)
    sensor = device.spec.opener()(device.name, device.options, machine, roles)
    seen: dict[str, Measurement] = {}
    for _ in range(2):
        async with asyncio.timeout(OPEN_WITHIN_S):
            await sensor.open()
        for _ in range(READS):
            async with asyncio.timeout(sensor.read_deadline_s):
                made = await sensor.read()
            seen |= {one.signal: one for one in made}
        for _ in range(2):
            await sensor.close()
        with pytest.raises(DriverError) as caught:
            await sensor.read()
        assert caught.value.reason is FailureReason.CLOSED
    return seen


@pytest.mark.hardware
def test_every_sensor_of_the_station(capsys: pytest.CaptureFixture[str]) -> None:
    path = os.environ.get(STATION_VARIABLE)
    assert path, f"set {STATION_VARIABLE} to the station file of this computer"
    sensors = [one for one in load_station(Path(path)).devices if one.spec.kind is Kind.SENSOR]
    assert sensors, f"{path} names no sensor"
    machine = RealMachine(MonotonicClock())

    async def exercise_all() -> list[dict[str, Measurement]]:
        return [await exercise(device, machine) for device in sensors]

    try:
        for device, seen in zip(sensors, asyncio.run(exercise_all()), strict=True):
            with capsys.disabled():
                for one in seen.values():
                    print(f"\n{device.name}: {one.signal} = {one.value} {one.reason or ''}")  # noqa: T201
            assert set(seen) == {signal.value for signal in device.signals}
            for one in seen.values():
                assert one.value is not None, one
                assert math.isfinite(one.value), one
    finally:
        machine.close()
