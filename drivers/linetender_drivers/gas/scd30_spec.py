"""The SCD30 sensor for the registry. Loads no hardware library."""

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind

CO2_SIGNAL = "hood_co2_ppm"


class Scd30Options(I2cOptions):
    """Where the sensor is and in which air.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        ambient_pressure_hpa: Air pressure at the station, hPa; the sensor corrects for it.
        period_s: Time between two measurements, s.
    """

    ambient_pressure_hpa: int = Field(default=1013, ge=700, le=1200)
    period_s: int = Field(default=2, ge=2, le=60)


def _provides(_: Scd30Options) -> frozenset[str]:
    return frozenset({CO2_SIGNAL})


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Scd30Options,
    provides=_provides,
    open="linetender_drivers.gas.scd30:open_scd30",
    decode="linetender_drivers.gas.scd30:decode_scd30",
    probe="linetender_drivers.gas.scd_probe:SCD30_PROBES",
    summary="SCD30 carbon-dioxide sensor on I2C",
)
