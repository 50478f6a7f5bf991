"""Every sensor driver on I2C with its simulated chip, for the suites that hold for all."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from linetender_drivers.contracts import Sensor
from linetender_drivers.fan.ina2xx_decode import INA226
from linetender_drivers.pressure.hsc_decode import hsc_part
from linetender_drivers.pressure.ms4525do_decode import ms4525do_range
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.ads1115_chip import Ads1115Chip
from linetender_drivers.simulated.bme280_chip import Bme280Chip
from linetender_drivers.simulated.bridge_chip import BridgeChip
from linetender_drivers.simulated.d6f_ph_chip import D6fPhChip
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.ina2xx_chip import Ina2xxChip
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.scd4x_chip import Scd4xChip
from linetender_drivers.simulated.scd30_chip import Scd30Chip
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from linetender_drivers.simulated.virtual_time import VirtualClock


@dataclass(frozen=True)
class SensorCase:
    """One driver and what it must read.

    Attributes:
        driver: Its name in the registry.
        address: At which it looks for the chip.
        chip: Makes the chip, set to what `expected` says.
        expected: By signal, the value and how far off the chip's steps may put it.
        options: Besides `bus`.
        has_crc: Whether the chip's answers carry one.
        family: Chips that cannot be told apart have one name.
        second: Makes the same kind of chip with another value, for a clash.
    """

    driver: str
    address: int
    chip: Callable[[], Any]
    expected: dict[str, tuple[float, float]]
    options: dict[str, object] = field(default_factory=dict)
    has_crc: bool = False
    family: str = ""
    second: Callable[[], Any] | None = None

    def __str__(self) -> str:
        return self.driver


class Bench:
    """A machine with one driver's chip on it.

    Args:
        case: Which.
        bus: The bus, if not an ordinary one.
    """

    def __init__(self, case: SensorCase, bus: SimulatedI2cBus | None = None) -> None:
        self.case = case
        self.clock = VirtualClock()
        self.machine = SimulatedMachine(self.clock)
        self.bus = bus or SimulatedI2cBus(self.clock, keep_transfers=True)
        self.machine.buses["simulated"] = self.bus
        self.chip = case.chip()
        self.bus.attach(case.address, self.chip)
        spec = find_spec(case.driver)
        options = spec.options.model_validate({"bus": "simulated", **case.options})
        roles = tuple(case.expected)
        self.sensor: Sensor = spec.opener()("part", options, self.machine, roles)


def _set(chip: Any, **values: float) -> Any:
    for name, value in values.items():
        setattr(chip, name, lambda _, value=value: value)
    return chip


def _wired(*volts: float) -> Ads1115Chip:
    chip = Ads1115Chip()
    chip.inputs_v = [lambda _, v=v: v for v in (*volts, 0.0, 0.0, 0.0, 0.0)[:4]]
    return chip


HSC_PART = "HSCDRRN250LD2A3"

CASES = (
    SensorCase(
        "sdp8xx",
        0x25,
        lambda: _set(Sdp8xxChip(), pressure_pa=61.3, temperature_c=23.4),
        {"duct_pressure_pa": (61.3, 0.009), "element_temperature_c": (23.4, 0.003)},
        has_crc=True,
        second=lambda: _set(Sdp8xxChip(serial_number=0x99), pressure_pa=3.0),
    ),
    SensorCase(
        "d6f_ph",
        0x6C,
        lambda: _set(D6fPhChip("D6F-PH5050"), pressure_pa=61.3, temperature_c=23.4),
        {"hood_pressure_pa": (61.3, 0.009), "element_temperature_c": (23.4, 0.014)},
        {"product": "D6F-PH5050"},
        has_crc=True,
        second=lambda: _set(D6fPhChip("D6F-PH5050"), pressure_pa=3.0, temperature_c=35.0),
    ),
    SensorCase(
        "ms4525do",
        0x28,
        lambda: _set(BridgeChip(ms4525do_range(1, "A")), pressure_pa=613.0, temperature_c=23.4),
        {"filter_pressure_pa": (613.0, 0.53), "element_temperature_c": (23.4, 0.05)},
        family="bridge",
    ),
    SensorCase(
        "hsc",
        0x28,
        lambda: _set(
            BridgeChip(hsc_part(HSC_PART).pressure_range), pressure_pa=61.3, temperature_c=23.4
        ),
        {"duct_pressure_pa": (61.3, 0.02), "element_temperature_c": (23.4, 0.05)},
        {"part_number": HSC_PART},
        family="bridge",
    ),
    SensorCase(
        "ads1115_pressure",
        0x49,
        # 0.1 + 0.8 · 300/500 of 5 V; the supply comes through two equal resistors.
        lambda: _wired(2.9, 2.5),
        {"filter_pressure_pa": (300.0, 0.05)},
        {"address": 0x49, "low_pa": 0.0, "high_pa": 500.0},
        family="ads1115",
    ),
    SensorCase(
        "bme280",
        0x77,
        lambda: _set(
            Bme280Chip("bme280"), pressure_pa=96_600.0, temperature_c=23.4, humidity_percent=41.0
        ),
        {
            "ambient_pressure_pa": (96_600.0, 0.5),
            "ambient_temperature_c": (23.4, 0.01),
            "ambient_humidity_percent": (41.0, 0.02),
        },
        {"address": 0x77},
    ),
    SensorCase(
        "bmp280",
        0x76,
        lambda: _set(Bme280Chip("bmp280"), pressure_pa=84_556.0, temperature_c=-3.0),
        {"ambient_pressure_pa": (84_556.0, 0.5), "ambient_temperature_c": (-3.0, 0.01)},
    ),
    SensorCase(
        "scd30",
        0x61,
        lambda: _set(Scd30Chip(), co2_ppm=1234.5),
        {"hood_co2_ppm": (1234.5, 0.001)},
        has_crc=True,
        second=lambda: _set(Scd30Chip(), co2_ppm=600.0),
    ),
    SensorCase(
        "scd4x",
        0x62,
        lambda: _set(Scd4xChip(), co2_ppm=1234.0),
        {"hood_co2_ppm": (1234.0, 0.5)},
        has_crc=True,
        second=lambda: _set(Scd4xChip(0x0F0F_3333_5555), co2_ppm=600.0),
    ),
    SensorCase(
        "ads1115_co_cell",
        0x48,
        # 30 ppm of a cell of 20 nA/ppm on 100 kΩ: 60 mV above the reference and the zero.
        lambda: _wired(1.5 + 0.002 + 0.060, 1.5),
        {"intake_co_ppm": (30.0, 0.1)},
        {
            "sensitivity_na_per_ppm": 20.0,
            "gain_ohm": 100_000.0,
            "reference_mv": 1500.0,
            "zero_mv": 2.0,
        },
        family="ads1115",
    ),
    SensorCase(
        "ina219",
        0x40,
        lambda: _set(Ina2xxChip(), current_a=1.73, supply_v=12.31),
        {"fan_current_a": (1.73, 0.0001), "supply_voltage_v": (12.31, 0.003)},
    ),
    SensorCase(
        "ina226",
        0x44,
        lambda: _set(Ina2xxChip(INA226, shunt_ohm=0.01), current_a=-1.73, supply_v=24.31),
        {"fan_current_a": (-1.73, 0.0002), "supply_voltage_v": (24.31, 0.001)},
        {"address": 0x44, "shunt_mohm": 10.0},
    ),
)
