"""The sensor maker's own Python drivers read our simulated SCD30 and SCD4x as ours do.

Witnesses: `sensirion-i2c-scd` (SCD4x) and `sensirion-i2c-scd30`, on `sensirion-i2c-driver`,
which know nothing of ours.
"""

from types import SimpleNamespace
from typing import Any

import pytest
from sensirion_driver_adapters.i2c_adapter.i2c_channel import I2cChannel
from sensirion_i2c_driver import CrcCalculator, I2cConnection
from sensirion_i2c_driver.errors import I2cNackError
from sensirion_i2c_scd.scd4x.device import Scd4xI2cDevice
from sensirion_i2c_scd30.device import Scd30Device

from hand_clock import HandClock, MakerTransceiver
from linetender_drivers.gas.scd4x import open_scd4x
from linetender_drivers.gas.scd4x_spec import Scd4xOptions
from linetender_drivers.gas.scd30 import open_scd30
from linetender_drivers.gas.scd30_spec import Scd30Options
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.scd4x_chip import Scd4xChip
from linetender_drivers.simulated.scd30_chip import Scd30Chip
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> HandClock:
    """The clock whose time passes when the maker's drivers sleep."""
    hand = HandClock()
    monkeypatch.setattr("sensirion_i2c_driver.connection.time", SimpleNamespace(sleep=hand.wait))
    return hand


def connection(chip: Any, address: int, clock: HandClock) -> I2cConnection:
    bus = SimulatedI2cBus(clock)
    bus.attach(address, chip)
    return I2cConnection(MakerTransceiver(bus, clock))


def our_co2(chip: Any, address: int, open_sensor: Any, options: Any) -> float | None:
    async def read_once() -> float | None:
        machine = SimulatedMachine(VirtualClock())
        machine.buses["simulated"].attach(address, chip)
        sensor = open_sensor("co2", options, machine, ("hood_co2_ppm",))
        await sensor.open()
        (measurement,) = await sensor.read()
        await sensor.close()
        value: float | None = measurement.value
        return value

    chip.power_cycle()
    return run_virtual(read_once())


@pytest.mark.parametrize("co2_ppm", [421.0, 1234.0, 39_999.0])
def test_scd4x(co2_ppm: float, clock: HandClock) -> None:
    chip = Scd4xChip(0x445566778899)
    chip.co2_ppm = lambda _: co2_ppm
    chip.temperature_c = lambda _: 27.2
    chip.humidity_percent = lambda _: 48.8
    maker = Scd4xI2cDevice(connection(chip, 0x62, clock))
    assert maker.read_serial_number() == 0x445566778899
    assert maker.get_automatic_self_calibration()
    maker.start_periodic_measurement()
    clock.wait(4.9)
    assert not maker.get_data_ready_status()
    clock.wait(0.1)
    assert maker.get_data_ready_status()
    co2, temperature, humidity = maker.read_measurement()
    assert co2.co2 == co2_ppm
    assert temperature.degrees_celsius == pytest.approx(27.2, abs=0.002)
    assert humidity.percent_rh == pytest.approx(48.8, abs=0.001)
    with pytest.raises(I2cNackError):
        maker.read_serial_number()

    options = Scd4xOptions(bus="simulated", ambient_pressure_hpa=985)
    assert our_co2(chip, 0x62, open_scd4x, options) == co2.co2
    assert (chip.self_calibration, chip.ambient_pressure_hpa) == (0, 985)
    assert (chip.memory_writes, chip.recalibrations) == (0, 0)


@pytest.mark.parametrize("co2_ppm", [439.09, 9_999.5])
def test_scd30(co2_ppm: float, clock: HandClock) -> None:
    chip = Scd30Chip()
    chip.co2_ppm = lambda _: co2_ppm
    crc = CrcCalculator(8, 0x31, 0xFF, 0x0)
    maker = Scd30Device(I2cChannel(connection(chip, 0x61, clock), slave_address=0x61, crc=crc))
    assert tuple(maker.read_firmware_version()) == (3, 0x42)
    assert maker.get_auto_calibration_status() == 1
    maker.start_periodic_measurement(0)
    clock.wait(1.0)
    assert maker.get_data_ready() == 0
    clock.wait(1.0)
    assert maker.get_data_ready() == 1
    co2, temperature, humidity = maker.read_measurement_data()
    assert co2 == pytest.approx(co2_ppm, rel=1e-6)
    assert (temperature, humidity) == (25.0, 50.0)

    options = Scd30Options(bus="simulated", ambient_pressure_hpa=985)
    assert our_co2(chip, 0x61, open_scd30, options) == co2
    assert (chip.self_calibration, chip.ambient_pressure_hpa) == (0, 985)
    # The maker's start, our switching-off, our start; the interval was as wanted.
    assert chip.memory_writes == 3
    assert our_co2(chip, 0x61, open_scd30, options) == co2
    assert chip.memory_writes == 4
