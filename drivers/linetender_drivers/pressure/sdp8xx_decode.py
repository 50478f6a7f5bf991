"""SDP8xx and SDP3x differential-pressure sensors: from bytes to numbers. Pure.

Every 16-bit word is big-endian and followed by its CRC. The words of a measurement
are pressure and temperature (signed) and the scale factor of the pressure.

Sources: the sensor maker's Python driver `sensirion-i2c-sdp` (words, CRC, factor 200);
public drivers for SDP8xx and SDP3x (product numbers, scale factors 60, 240, 20).
"""

import struct
from typing import NamedTuple

from linetender_drivers.crc_words import checked_words
from linetender_drivers.errors import BadFrame

FRAME_LENGTH = 9
IDENTIFIER_LENGTH = 18

TEMPERATURE_SCALE = 200
"""Counts per °C."""

TEMPERATURE_RANGE_C = (-40.0, 85.0)
"""Operating range of the parts (from memory of the data sheets; beyond it a number is
no temperature of this chip)."""

RANGE_PA_BY_SCALE = {60: 500.0, 240: 125.0, 20: 1500.0}
"""Counts per Pa, and the largest differential pressure (Pa, either sign) that the part
with this factor measures."""


class Sdp8xxFrame(NamedTuple):
    """One measurement, as the chip reads it.

    Attributes:
        differential_pa: Pressure at the port marked high less that at the other, Pa.
        temperature_c: Of the chip, °C.
        scale: Counts per Pa.
    """

    differential_pa: float
    temperature_c: float
    scale: int

    @property
    def range_pa(self) -> float:
        """The largest differential pressure (Pa) the part measures."""
        return RANGE_PA_BY_SCALE[self.scale]

    @property
    def is_pressure_in_range(self) -> bool:
        """Whether the part can measure this pressure."""
        return abs(self.differential_pa) <= self.range_pa

    @property
    def is_temperature_in_range(self) -> bool:
        """Whether the part works at this temperature."""
        low, high = TEMPERATURE_RANGE_C
        return low <= self.temperature_c <= high


class Product(NamedTuple):
    """A part of the family.

    Attributes:
        name: Part number with its range.
        scale: Counts per Pa.
    """

    name: str
    scale: int

    @property
    def range_pa(self) -> float:
        """The largest differential pressure (Pa) the part measures."""
        return RANGE_PA_BY_SCALE[self.scale]


PRODUCTS = {
    0x030201: Product("SDP800-500Pa", 60),
    0x030204: Product("SDP801-500Pa", 60),
    0x03020A: Product("SDP810-500Pa", 60),
    0x03020D: Product("SDP811-500Pa", 60),
    0x030202: Product("SDP800-125Pa", 240),
    0x03020B: Product("SDP810-125Pa", 240),
    0x030101: Product("SDP31-500Pa", 60),
    0x030102: Product("SDP32-125Pa", 240),
    0x030103: Product("SDP33-1500Pa", 20),
}
"""Parts by product number without its lowest byte, which is the revision."""


class Identifier(NamedTuple):
    """What a chip says it is.

    Attributes:
        product_number: 32 bits; the lowest byte is the revision.
        serial_number: 64 bits.
    """

    product_number: int
    serial_number: int

    @property
    def product(self) -> Product | None:
        """The part, or None if it is none of the family."""
        return PRODUCTS.get(self.product_number >> 8)


def decode_frame(frame: bytes, device: str) -> Sdp8xxFrame:
    """Decode one measurement.

    Args:
        frame: Three words with their CRCs, 9 bytes.
        device: Name for the error.

    Raises:
        BadFrame: wrong length or an unknown scale factor (reason `bad_frame`), or a
            CRC that does not match (reason `bad_crc`).
    """
    words = checked_words(frame, FRAME_LENGTH, device)
    pressure, temperature, scale = struct.unpack(">hhh", words)
    if scale not in RANGE_PA_BY_SCALE:
        raise BadFrame(device, f"scale factor {scale} is that of no known part", frame)
    return Sdp8xxFrame(pressure / scale, temperature / TEMPERATURE_SCALE, scale)


def decode_identifier(frame: bytes, device: str) -> Identifier:
    """Decode the product identifier.

    Args:
        frame: Six words with their CRCs, 18 bytes.
        device: Name for the error.

    Raises:
        BadFrame: wrong length (reason `bad_frame`), or a CRC that does not match
            (reason `bad_crc`).
    """
    words = checked_words(frame, IDENTIFIER_LENGTH, device)
    return Identifier(*struct.unpack(">IQ", words))
