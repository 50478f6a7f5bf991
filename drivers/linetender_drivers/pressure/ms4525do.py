"""The MS4525DO differential-pressure sensors on I2C.

Wiring, ranges and what they are good for: the manual in `drivers/README.md`. Tested
against the simulated bridge chip. How they are read: `bridge_sensor.py`.
"""

from linetender_drivers.contracts import Machine, Sensor
from linetender_drivers.i2c_sensor import I2cSensor
from linetender_drivers.pressure.bridge_sensor import BridgePart
from linetender_drivers.pressure.ms4525do_decode import ms4525do_range
from linetender_drivers.pressure.ms4525do_spec import Ms4525doOptions
from linetender_drivers.signal_roles import TEMPERATURE_SIGNAL, one_pressure


def open_ms4525do(
    name: str, options: Ms4525doOptions, machine: Machine, roles: tuple[str, ...]
) -> Sensor:
    """Return an unopened sensor that reports the signals in `roles`.

    Raises:
        DriverConfigError: `roles` does not name exactly one pressure, or names a
            signal that the sensor cannot give.
    """
    part = BridgePart(
        machine.clock,
        "MS4525DO",
        ms4525do_range(options.range_psi, options.output_type),
        one_pressure(name, roles, frozenset({TEMPERATURE_SIGNAL})),
        TEMPERATURE_SIGNAL in roles,
    )
    return I2cSensor(name, machine, options, options.address, options.period_s, part)
