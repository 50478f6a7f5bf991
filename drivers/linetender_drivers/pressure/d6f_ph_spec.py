"""The D6F-PH sensors for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind
from linetender_drivers.signal_roles import PRESSURE_SIGNALS, TEMPERATURE_SIGNAL


class D6fPhOptions(I2cOptions):
    """Where the sensor is, which it is, and how it is read.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit; 0x6C to 0x6F by the last letters of the part number.
        product: The part number up to its range. The chip cannot be asked for it.
        period_s: Time between two readings, s; one takes 33 ms.
    """

    address: Literal[0x6C, 0x6D, 0x6E, 0x6F] = 0x6C
    product: Literal["D6F-PH0505", "D6F-PH0025", "D6F-PH5050"]
    period_s: float = Field(default=0.05, ge=0.04, le=1.0)


def _provides(_: D6fPhOptions) -> frozenset[str]:
    return PRESSURE_SIGNALS | {TEMPERATURE_SIGNAL}


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=D6fPhOptions,
    provides=_provides,
    open="linetender_drivers.pressure.d6f_ph:open_d6f_ph",
    probe="linetender_drivers.pressure.d6f_ph_probe:PROBES",
    summary="D6F-PH differential-pressure sensor on I2C",
)
