"""The INA219 and INA226 sensors for the registry. Loads no hardware library."""

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind

CURRENT_SIGNAL = "fan_current_a"
VOLTAGE_SIGNAL = "supply_voltage_v"
SIGNALS = frozenset({CURRENT_SIGNAL, VOLTAGE_SIGNAL})


class Ina2xxOptions(I2cOptions):
    """Where the sensor is and what its shunt is.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit, 0x40 to 0x4F by its two address pins.
        shunt_mohm: Resistance of the shunt, mΩ; `R100` on it is 100.
        period_s: Time between two readings, s.
    """

    address: int = Field(default=0x40, ge=0x40, le=0x4F)
    shunt_mohm: float = Field(default=100.0, ge=0.1, le=1000.0)
    period_s: float = Field(default=0.5, ge=0.2, le=10.0)


def _provides(_: Ina2xxOptions) -> frozenset[str]:
    return SIGNALS


INA219 = DriverSpec(
    kind=Kind.SENSOR,
    options=Ina2xxOptions,
    provides=_provides,
    open="linetender_drivers.fan.ina2xx:open_ina219",
    probe="linetender_drivers.fan.ina2xx_probe:INA219_PROBES",
    summary="INA219 current and voltage sensor on I2C",
)

INA226 = DriverSpec(
    kind=Kind.SENSOR,
    options=Ina2xxOptions,
    provides=_provides,
    open="linetender_drivers.fan.ina2xx:open_ina226",
    probe="linetender_drivers.fan.ina2xx_probe:INA226_PROBES",
    summary="INA226 current and voltage sensor on I2C",
)
