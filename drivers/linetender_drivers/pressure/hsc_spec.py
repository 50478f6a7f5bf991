"""The HSC and SSC sensors for the registry. Loads no hardware library."""

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.pressure.hsc_decode import PART_NUMBER
from linetender_drivers.registry import DriverSpec, Kind
from linetender_drivers.signal_roles import PRESSURE_SIGNALS, TEMPERATURE_SIGNAL


class HscOptions(I2cOptions):
    """Where the sensor is, which it is, and how it is read.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        part_number: As printed on it, whole. It says range, transfer function and
            address; the chip cannot be asked for them.
        period_s: Time between two readings, s.
    """

    part_number: str = Field(pattern=PART_NUMBER)
    period_s: float = Field(default=0.04, ge=0.02, le=1.0)


def _provides(_: HscOptions) -> frozenset[str]:
    return PRESSURE_SIGNALS | {TEMPERATURE_SIGNAL}


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=HscOptions,
    provides=_provides,
    open="linetender_drivers.pressure.hsc:open_hsc",
    probe="linetender_drivers.pressure.bridge_probe:HSC_PROBES",
    summary="HSC or SSC differential-pressure sensor on I2C",
)
