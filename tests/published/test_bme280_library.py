"""An independent library reads our simulated BME280 as our driver does.

Witness: `RPi.bme280`, which speaks to an SMBus; a small adapter gives it the simulated one.
"""

import asyncio
from types import SimpleNamespace
from typing import Any

import bme280 as library
import pytest

from hand_clock import HandClock
from linetender_drivers.ambient.bme280 import open_bme280
from linetender_drivers.ambient.bme280_spec import Bme280Options
from linetender_drivers.simulated.bme280_chip import Bme280Chip
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

ADDRESS = 0x76
SIGNALS = ("ambient_pressure_pa", "ambient_temperature_c", "ambient_humidity_percent")


class SmBus:
    """What the library uses of an SMBus, on the simulated bus."""

    def __init__(self, bus: SimulatedI2cBus) -> None:
        self._bus = bus

    def _read(self, address: int, register: int, length: int) -> bytes:
        return asyncio.run(self._bus.transfer(address, bytes([register]), length))

    def write_byte_data(self, address: int, register: int, value: int) -> None:
        asyncio.run(self._bus.transfer(address, bytes([register, value]), 0))

    def read_byte_data(self, address: int, register: int) -> int:
        return self._read(address, register, 1)[0]

    def read_word_data(self, address: int, register: int) -> int:
        return int.from_bytes(self._read(address, register, 2), "little")

    def read_i2c_block_data(self, address: int, register: int, length: int) -> list[int]:
        return list(self._read(address, register, length))


def library_sample(chip: Bme280Chip, monkeypatch: pytest.MonkeyPatch) -> Any:
    clock = HandClock()
    monkeypatch.setattr(library, "time", SimpleNamespace(sleep=clock.wait))
    bus = SimulatedI2cBus(clock)
    bus.attach(ADDRESS, chip)
    smbus = SmBus(bus)
    calibration = library.load_calibration_params(smbus, ADDRESS)
    return library.sample(smbus, ADDRESS, calibration)


def our_sample(chip: Bme280Chip) -> dict[str, float | None]:
    async def read_once() -> dict[str, float | None]:
        machine = SimulatedMachine(VirtualClock())
        machine.buses["simulated"].attach(ADDRESS, chip)
        sensor = open_bme280("weather", Bme280Options(bus="simulated"), machine, SIGNALS)
        await sensor.open()
        measurements = await sensor.read()
        await sensor.close()
        return {one.signal: one.value for one in measurements}

    chip.power_cycle()
    return run_virtual(read_once())


@pytest.mark.filterwarnings("ignore:datetime.datetime.utcnow:DeprecationWarning")
@pytest.mark.parametrize(
    ("pressure_pa", "temperature_c", "humidity_percent"),
    [
        (101_325.0, 20.0, 50.0),
        (84_556.0, -5.0, 12.0),
        (96_600.0, 38.0, 93.0),
        (60_000.0, 25.0, 1.0),
    ],
)
def test_both_read_the_same(
    pressure_pa: float,
    temperature_c: float,
    humidity_percent: float,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    chip = Bme280Chip()
    chip.pressure_pa = lambda _: pressure_pa
    chip.temperature_c = lambda _: temperature_c
    chip.humidity_percent = lambda _: humidity_percent
    theirs = library_sample(chip, monkeypatch)
    ours = our_sample(chip)
    assert ours["ambient_pressure_pa"] == pytest.approx(theirs.pressure * 100, abs=1e-6)
    assert ours["ambient_temperature_c"] == pytest.approx(theirs.temperature, abs=1e-9)
    assert ours["ambient_humidity_percent"] == pytest.approx(theirs.humidity, abs=1e-9)
    assert theirs.pressure * 100 == pytest.approx(pressure_pa, abs=0.5)
    assert theirs.humidity == pytest.approx(humidity_percent, abs=0.02)
