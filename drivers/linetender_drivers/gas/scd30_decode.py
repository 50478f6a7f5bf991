"""SCD30 carbon-dioxide sensor: from words to numbers. Pure.

Source: the maker's interface description, as public drivers and their tests quote it.
"""

import math
import struct
from typing import NamedTuple

from linetender_drivers.errors import BadFrame

WORDS = 6
"""Three floats of two words each."""

CO2_RANGE_PPM = (1.0, 40_000.0)
"""What the output can hold; it gives 0 before its first measurement. Accurate from 400 to
10 000 ppm only (both from memory of the data sheet)."""

TEMPERATURE_RANGE_C = (-40.0, 70.0)
HUMIDITY_RANGE_PERCENT = (0.0, 100.0)


class Scd30Reading(NamedTuple):
    """One measurement.

    Attributes:
        co2_ppm: Carbon dioxide by volume, ppm.
        temperature_c: In the sensor, °C.
        humidity_percent: Relative, in the sensor, %.
    """

    co2_ppm: float
    temperature_c: float
    humidity_percent: float


def decode_reading(words: bytes, device: str) -> Scd30Reading:
    """Decode one measurement.

    Args:
        words: 12 bytes, the CRCs already checked and taken off.
        device: Name for the error.

    Raises:
        BadFrame: wrong length, or a number that is none (NaN, infinite).
    """
    if len(words) != 2 * WORDS:
        raise BadFrame(device, f"expected {2 * WORDS} bytes, got {len(words)}", words)
    reading = Scd30Reading(*struct.unpack(">fff", words))
    if not all(math.isfinite(value) for value in reading):
        raise BadFrame(device, "one of the three numbers is not finite", words)
    return reading


def is_plausible(reading: Scd30Reading) -> bool:
    """Whether temperature and humidity are such as the sensor can be in.

    They enter into its CO2, so outside them that is no number either.
    """
    low_c, high_c = TEMPERATURE_RANGE_C
    low_percent, high_percent = HUMIDITY_RANGE_PERCENT
    return (
        low_c <= reading.temperature_c <= high_c
        and low_percent <= reading.humidity_percent <= high_percent
    )
