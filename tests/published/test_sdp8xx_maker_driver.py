"""The sensor maker's own Python driver reads our simulated chip as our driver does.

Witness: `sensirion-i2c-sdp` on `sensirion-i2c-driver`, which know nothing of ours. They
block, so a small adapter gives them the simulated bus and moves the time they would wait.
"""

from types import SimpleNamespace
from typing import Any

import pytest
from sensirion_i2c_driver import I2cConnection
from sensirion_i2c_driver.errors import I2cNackError
from sensirion_i2c_sdp.sdp.device import SdpI2cDevice

from hand_clock import HandClock, MakerTransceiver
from linetender_drivers.pressure.sdp8xx import open_sdp8xx
from linetender_drivers.pressure.sdp8xx_spec import Sdp8xxOptions
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

PRESSURES_PA = {
    "SDP810-500Pa": (0.0, 61.3, -1.5, 499.99, -500.0),
    "SDP810-125Pa": (0.0, 10.0, -3.21, 124.99, -125.0),
    "SDP33-1500Pa": (0.0, 777.7, -1500.0),
}


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> HandClock:
    """The clock whose time passes when the maker's driver sleeps."""
    hand = HandClock()
    monkeypatch.setattr("sensirion_i2c_driver.connection.time", SimpleNamespace(sleep=hand.wait))
    return hand


def maker_device(chip: Sdp8xxChip, clock: HandClock) -> Any:
    bus = SimulatedI2cBus(clock)
    bus.attach(0x25, chip)
    return SdpI2cDevice(I2cConnection(MakerTransceiver(bus, clock)), 0x25)


def our_values(chip: Sdp8xxChip) -> dict[str, float | None]:
    async def read_once() -> dict[str, float | None]:
        machine = SimulatedMachine(VirtualClock())
        machine.buses["simulated"].attach(0x25, chip)
        signals = ("duct_pressure_pa", "element_temperature_c")
        sensor = open_sdp8xx("air", Sdp8xxOptions(bus="simulated"), machine, signals)
        await sensor.open()
        measurements = await sensor.read()
        await sensor.close()
        return {measurement.signal: measurement.value for measurement in measurements}

    chip.power_cycle()
    return run_virtual(read_once())


@pytest.mark.parametrize(
    ("product", "pressure_pa"),
    [(product, pa) for product, pressures in PRESSURES_PA.items() for pa in pressures],
)
def test_both_drivers_read_the_same(product: str, pressure_pa: float, clock: HandClock) -> None:
    chip = Sdp8xxChip(product)
    chip.pressure_pa = lambda _: pressure_pa
    chip.temperature_c = lambda _: 23.45
    maker = maker_device(chip, clock)

    maker.start_continuous_measurement_with_diff_pressure_t_comp_and_averaging()
    maker_pressure, maker_temperature = maker.read_measurement()

    assert our_values(chip) == {
        "duct_pressure_pa": maker_pressure.pascal,
        "element_temperature_c": maker_temperature.degrees_celsius,
    }
    assert maker_pressure.pascal == pytest.approx(
        pressure_pa, abs=0.5 / maker_pressure.scale_factor
    )


@pytest.mark.parametrize(
    "start",
    [
        "start_continuous_measurement_with_mass_flow_t_comp_and_averaging",
        "start_continuous_measurement_with_mass_flow_t_comp",
        "start_continuous_measurement_with_diff_pressure_t_comp",
        "trigger_measurement_with_mass_flow_t_comp_and_averaging",
        "trigger_measurement_with_diff_pressure_t_comp_and_averaging",
    ],
)
def test_the_makers_other_measurements_work_too(start: str, clock: HandClock) -> None:
    chip = Sdp8xxChip("SDP800-500Pa")
    chip.pressure_pa = lambda _: 100.0
    maker = maker_device(chip, clock)

    getattr(maker, start)()
    pressure, temperature = maker.read_measurement()

    assert (pressure.pascal, temperature.degrees_celsius) == (100.0, 25.0)


@pytest.mark.parametrize(
    ("options", "start"),
    [
        ({}, "diff_pressure_t_comp_and_averaging"),
        ({"average": False}, "diff_pressure_t_comp"),
        ({"mode": "mass_flow"}, "mass_flow_t_comp_and_averaging"),
        ({"mode": "mass_flow", "average": False}, "mass_flow_t_comp"),
    ],
)
def test_each_mode_is_started_by_the_makers_command(
    options: dict[str, object], start: str, clock: HandClock
) -> None:
    theirs = SimulatedI2cBus(clock, keep_transfers=True)
    theirs.attach(0x25, Sdp8xxChip())
    maker = SdpI2cDevice(I2cConnection(MakerTransceiver(theirs, clock)), 0x25)
    getattr(maker, f"start_continuous_measurement_with_{start}")()

    async def ours() -> tuple[SimulatedI2cBus, float | None]:
        machine = SimulatedMachine(VirtualClock())
        bus = machine.buses["simulated"] = SimulatedI2cBus(machine.clock, keep_transfers=True)
        chip = Sdp8xxChip()
        chip.pressure_pa = lambda _: 100.0
        bus.attach(0x25, chip)
        model = Sdp8xxOptions.model_validate({"bus": "simulated", **options})
        sensor = open_sdp8xx("air", model, machine, ("duct_pressure_pa",))
        await sensor.open()
        (measurement,) = await sensor.read()
        return bus, measurement.value

    bus, pressure_pa = run_virtual(ours())
    command = next(transfer.write for transfer in theirs.transfers if transfer.write)
    assert bus.transfers[-2].write == command
    assert pressure_pa == 100.0


def test_the_makers_driver_reads_the_identifier(clock: HandClock) -> None:
    maker = maker_device(Sdp8xxChip("SDP811-500Pa", serial_number=0x445566778899AABB), clock)
    number, serial = maker.read_product_identifier()
    assert (number >> 8, serial) == (0x03020D, 0x445566778899AABB)


def test_a_second_start_is_refused_until_stopped(clock: HandClock) -> None:
    # Public flight-controller drivers of the SDP3x send stop first for this reason.
    maker = maker_device(Sdp8xxChip(), clock)
    maker.start_continuous_measurement_with_diff_pressure_t_comp()
    with pytest.raises(I2cNackError):
        maker.start_continuous_measurement_with_diff_pressure_t_comp()
    maker.stop_continuous_measurement()
    maker.start_continuous_measurement_with_diff_pressure_t_comp()
    assert maker.read_measurement()[0].pascal == 0.0


def test_ambient_pressure_scales_the_reading() -> None:
    # Calibrated at 966 hPa: a true 100 Pa reads 104.2 Pa at 1006.5 hPa. Source: public
    # flight-controller drivers of the SDP3x, which correct by 966 hPa / ambient.
    chip = Sdp8xxChip()
    chip.pressure_pa = lambda _: 100.0
    chip.ambient_pressure_pa = lambda _: 100_650.0
    assert our_values(chip)["duct_pressure_pa"] == pytest.approx(104.2, abs=0.02)
