"""D6F-PH differential-pressure sensors: from bytes to numbers. Pure.

A result is a big-endian word and its CRC-8 (polynomial 0x31, start 0), which the driver
switches on.

Sources: public drivers of the part that quote its user's manual (words, CRC, formulas).
"""

from typing import NamedTuple

from linetender_drivers.crc_words import crc8
from linetender_drivers.errors import BadFrame, FailureReason

FRAME_LENGTH = 3

CRC_START = 0x00

ZERO_COUNTS = 1024
SPAN_COUNTS = 60_000

MARGIN_COUNTS = 600
"""A hundredth of the span: so far beyond an end a reading still counts, as the noise at
rest of the part whose zero is the end of its range (chosen)."""

TEMPERATURE_ZERO_COUNTS = 10_214
TEMPERATURE_COUNTS_PER_C = 37.39

TEMPERATURE_RANGE_C = (-20.0, 80.0)
"""Operating range of the parts (from memory of the data sheet)."""


class Range(NamedTuple):
    """What a part measures.

    Attributes:
        low_pa: Differential pressure at 1024 counts, Pa.
        span_pa: From there to 61024 counts, Pa.
    """

    low_pa: float
    span_pa: float


RANGES = {
    "D6F-PH0505": Range(-50.0, 100.0),
    "D6F-PH0025": Range(0.0, 250.0),
    "D6F-PH5050": Range(-500.0, 1000.0),
}
"""By the part number up to its range."""


def decode_word(frame: bytes, device: str) -> int:
    """Return the unsigned word of a result.

    Args:
        frame: Word and CRC, 3 bytes.
        device: Name for the error.

    Raises:
        BadFrame: wrong length or zeros throughout, which a dead line reads and whose CRC
            is right (reason `bad_frame`), or a CRC that does not match (`bad_crc`).
    """
    if len(frame) != FRAME_LENGTH:
        raise BadFrame(device, f"expected {FRAME_LENGTH} bytes, got {len(frame)}", frame)
    if crc8(frame[:2], CRC_START) != frame[2]:
        raise BadFrame(device, "CRC does not match", frame, FailureReason.BAD_CRC)
    if not any(frame):
        raise BadFrame(device, "all zeros are no result of this part", frame)
    return int.from_bytes(frame[:2], "big")


def differential_pa(counts: int, product: str) -> float | None:
    """Return the differential pressure, Pa; None beyond what the part measures.

    Args:
        counts: The word, 0 to 65535.
        product: A key of `RANGES`.
    """
    above = counts - ZERO_COUNTS
    if not -MARGIN_COUNTS <= above <= SPAN_COUNTS + MARGIN_COUNTS:
        return None
    low_pa, span_pa = RANGES[product]
    return above * span_pa / SPAN_COUNTS + low_pa


def temperature_c(counts: int) -> float:
    """Return the temperature of the chip, °C, from its word."""
    return (counts - TEMPERATURE_ZERO_COUNTS) / TEMPERATURE_COUNTS_PER_C
