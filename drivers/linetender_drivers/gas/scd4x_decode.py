"""SCD40, SCD41 and SCD43 carbon-dioxide sensors: from words to numbers. Pure.

Source: the maker's Python driver `sensirion-i2c-scd`.
"""

import struct
from typing import NamedTuple

from linetender_drivers.errors import BadFrame

WORDS = 3

CO2_RANGE_PPM = (1.0, 40_000.0)
"""What the output can hold; 0 is none. Rated for 400 to 5000 ppm (maker's notes)."""

TEMPERATURE_RANGE_C = (-10.0, 60.0)
"""Operating range of the parts (from memory of the data sheet)."""

READY_MASK = 0x07FF
"""Any of these bits of the status means that a measurement is ready."""


class Scd4xReading(NamedTuple):
    """One measurement.

    Attributes:
        co2_ppm: Carbon dioxide by volume, ppm.
        temperature_c: In the sensor, °C.
        humidity_percent: Relative, in the sensor, %.
    """

    co2_ppm: float
    temperature_c: float
    humidity_percent: float


def decode_reading(words: bytes, device: str) -> Scd4xReading:
    """Decode one measurement.

    Args:
        words: 6 bytes, the CRCs already checked and taken off.
        device: Name for the error.

    Raises:
        BadFrame: wrong length.
    """
    if len(words) != 2 * WORDS:
        raise BadFrame(device, f"expected {2 * WORDS} bytes, got {len(words)}", words)
    co2, temperature, humidity = struct.unpack(">HHH", words)
    return Scd4xReading(float(co2), -45.0 + 175.0 * temperature / 65536, 100.0 * humidity / 65536)
