"""The BME280 and BMP280 sensors for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind

PRESSURE_SIGNAL = "ambient_pressure_pa"
TEMPERATURE_SIGNAL = "ambient_temperature_c"
HUMIDITY_SIGNAL = "ambient_humidity_percent"

BMP280_SIGNALS = frozenset({PRESSURE_SIGNAL, TEMPERATURE_SIGNAL})
BME280_SIGNALS = BMP280_SIGNALS | {HUMIDITY_SIGNAL}


class Bme280Options(I2cOptions):
    """Where the sensor is and how often it is read.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit; 0x76 or 0x77 by its SDO pin.
        period_s: Time between two readings, s. More often warms the chip.
    """

    address: Literal[0x76, 0x77] = 0x76
    period_s: float = Field(default=5.0, ge=0.5, le=60.0)


def _bme280_provides(_: Bme280Options) -> frozenset[str]:
    return BME280_SIGNALS


def _bmp280_provides(_: Bme280Options) -> frozenset[str]:
    return BMP280_SIGNALS


BME280 = DriverSpec(
    kind=Kind.SENSOR,
    options=Bme280Options,
    provides=_bme280_provides,
    open="linetender_drivers.ambient.bme280:open_bme280",
    probe="linetender_drivers.ambient.bme280_probe:BME280_PROBES",
    summary="BME280 sensor of air pressure, temperature and humidity on I2C",
)

BMP280 = DriverSpec(
    kind=Kind.SENSOR,
    options=Bme280Options,
    provides=_bmp280_provides,
    open="linetender_drivers.ambient.bme280:open_bmp280",
    probe="linetender_drivers.ambient.bme280_probe:BMP280_PROBES",
    summary="BMP280 sensor of air pressure and temperature on I2C",
)
