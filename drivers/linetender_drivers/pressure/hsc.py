"""The HSC and SSC differential-pressure sensors on I2C.

Wiring, ranges and accuracy: the manual in `drivers/README.md`. Tested against the
simulated bridge chip. How they are read: `bridge_sensor.py`.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.i2c_sensor import I2cSensor
from linetender_drivers.pressure.bridge_sensor import BridgePart
from linetender_drivers.pressure.hsc_decode import hsc_part
from linetender_drivers.pressure.hsc_spec import HscOptions
from linetender_drivers.signal_roles import TEMPERATURE_SIGNAL, one_pressure


def open_hsc(name: str, options: HscOptions, machine: Machine, roles: tuple[str, ...]) -> Sensor:
    """Return an unopened sensor that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` does not name exactly one pressure, or names a
            signal that the sensor cannot give.
    """
    found = hsc_part(options.part_number)
    part = BridgePart(
        machine.clock,
        options.part_number,
        found.pressure_range,
        one_pressure(name, roles, frozenset({TEMPERATURE_SIGNAL})),
        TEMPERATURE_SIGNAL in roles,
    )
    return I2cSensor(name, machine, options, found.address, options.period_s, part)
