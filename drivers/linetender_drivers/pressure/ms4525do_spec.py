"""The MS4525DO sensors for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind
from linetender_drivers.signal_roles import PRESSURE_SIGNALS, TEMPERATURE_SIGNAL


class Ms4525doOptions(I2cOptions):
    """Where the sensor is, which it is, and how it is read.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit; by the letter of the part number I 0x28, J 0x36, K 0x46.
        range_psi: Largest differential pressure, psi: `001D` in the part number is 1.
        output_type: `A` or `B`, a letter of the part number.
        period_s: Time between two readings, s.
    """

    address: Literal[0x28, 0x36, 0x46] = 0x28
    range_psi: Literal[1, 2, 5, 15, 30] = 1
    output_type: Literal["A", "B"] = "A"
    period_s: float = Field(default=0.04, ge=0.02, le=1.0)


def _provides(_: Ms4525doOptions) -> frozenset[str]:
    return PRESSURE_SIGNALS | {TEMPERATURE_SIGNAL}


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Ms4525doOptions,
    provides=_provides,
    open="linetender_drivers.pressure.ms4525do:open_ms4525do",
    probe="linetender_drivers.pressure.bridge_probe:MS4525DO_PROBES",
    summary="MS4525DO differential-pressure sensor on I2C (coarse: 1 Pa a step)",
)
