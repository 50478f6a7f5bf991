"""A simulated bench with one chip of every kind, to try a search on. Its values are invented."""

from collections.abc import Callable
from typing import Any

from linetender.simulation.devices import Rig
from linetender.simulation.world import World
from linetender_drivers.contracts import Clock
from linetender_drivers.fan.ina2xx_decode import INA226
from linetender_drivers.pressure.ms4525do_decode import ms4525do_range
from linetender_drivers.simulated.ads1115_chip import Ads1115Chip
from linetender_drivers.simulated.bme280_chip import Bme280Chip
from linetender_drivers.simulated.bridge_chip import BridgeChip
from linetender_drivers.simulated.d6f_ph_chip import D6fPhChip
from linetender_drivers.simulated.ina2xx_chip import Ina2xxChip
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.scd4x_chip import Scd4xChip
from linetender_drivers.simulated.scd30_chip import Scd30Chip


def full_bench(clock: Clock) -> SimulatedMachine:
    """Return a machine with the demo's sensors and, beside them, every other kind of chip."""
    machine = SimulatedMachine(clock)
    Rig(World(seed=1), machine)
    bus = machine.buses[SIMULATED]
    bus.attach(0x28, _at(BridgeChip(ms4525do_range(1, "A")), pressure_pa=310.0))
    bus.attach(0x44, _at(Ina2xxChip(INA226), current_a=0.4, supply_v=24.1))
    bus.attach(0x48, Ads1115Chip())
    bus.attach(0x61, _at(Scd30Chip(), co2_ppm=640.0))
    bus.attach(0x62, _at(Scd4xChip(), co2_ppm=655.0))
    bus.attach(0x6C, D6fPhChip("D6F-PH5050"))
    bus.attach(0x76, _at(Bme280Chip("bme280"), pressure_pa=98_700.0, humidity_percent=44.0))
    bus.attach(0x77, _at(Bme280Chip("bmp280"), pressure_pa=98_710.0))
    return machine


def _at(chip: Any, **values: float) -> Any:
    for name, value in values.items():
        setattr(chip, name, _always(value))
    return chip


def _always(value: float) -> Callable[[int], float]:
    return lambda _now_ns: value
