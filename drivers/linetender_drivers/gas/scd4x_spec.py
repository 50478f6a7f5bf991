"""The SCD4x sensors for the registry. Loads no hardware library."""

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind

CO2_SIGNAL = "hood_co2_ppm"


class Scd4xOptions(I2cOptions):
    """Where the sensor is and in which air.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        ambient_pressure_hpa: Air pressure at the station, hPa; the sensor corrects for it.
    """

    ambient_pressure_hpa: int = Field(default=1013, ge=700, le=1200)


def _provides(_: Scd4xOptions) -> frozenset[str]:
    return frozenset({CO2_SIGNAL})


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Scd4xOptions,
    provides=_provides,
    open="linetender_drivers.gas.scd4x:open_scd4x",
    probe="linetender_drivers.gas.scd_probe:SCD4X_PROBES",
    summary="SCD40, SCD41 or SCD43 carbon-dioxide sensor on I2C",
)
