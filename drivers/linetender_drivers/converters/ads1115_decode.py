"""The ADS1115 converter: its configuration word and its results. Pure.

Sources: the fields and steps are from memory of the data sheet; the reset value 0x8583
and the volts of each code are those of public drivers.
"""

from typing import NamedTuple

from linetender_drivers.errors import BadFrame

CONVERSION_REGISTER = b"\x00"
CONFIGURATION_REGISTER = b"\x01"
LOW_THRESHOLD_REGISTER = b"\x02"
HIGH_THRESHOLD_REGISTER = b"\x03"

RESET_CONFIGURATION = 0x8583
RESET_THRESHOLDS = (bytes.fromhex("8000"), bytes.fromhex("7FFF"))
"""Low and high; linetender never changes them, so they tell the part."""

READY_BIT = 0x8000
SINGLE_SHOT_BIT = 0x0100
COMPARATOR_OFF = 0x0003
RATE_250_PER_S = 0x00A0
AGAINST_GROUND = 0x4000
"""Multiplexer: the first input against ground; the next inputs follow."""
INPUT_SHIFT = 12

GAIN_FIELDS = {6144: 0x0000, 4096: 0x0200, 2048: 0x0400}
"""By full scale, mV."""

CONVERSION_S = 0.0045
"""One conversion at 250 per second, with the converter's own clock 10 % slow."""

LOWEST_CODE = -32768
HIGHEST_CODE = 32767


class Conversion(NamedTuple):
    """One result.

    Attributes:
        voltage_v: At the input.
        is_saturated: Whether the code is the lowest or highest there is.
    """

    voltage_v: float
    is_saturated: bool


def single_shot(analogue_input: int, full_scale_mv: int) -> int:
    """Return the configuration word that starts one conversion.

    Args:
        analogue_input: 0 to 3, against ground.
        full_scale_mv: A key of `GAIN_FIELDS`.
    """
    return (
        READY_BIT
        | AGAINST_GROUND
        | analogue_input << INPUT_SHIFT
        | GAIN_FIELDS[full_scale_mv]
        | SINGLE_SHOT_BIT
        | RATE_250_PER_S
        | COMPARATOR_OFF
    )


def decode_conversion(frame: bytes, full_scale_mv: int, device: str) -> Conversion:
    """Decode the conversion register.

    Args:
        frame: 2 bytes, signed.
        full_scale_mv: As configured, mV.
        device: Name for the error.

    Raises:
        BadFrame: wrong length.
    """
    if len(frame) != 2:
        raise BadFrame(device, f"expected 2 bytes, got {len(frame)}", frame)
    code = int.from_bytes(frame, "big", signed=True)
    voltage_v = code * full_scale_mv / 1000 / -LOWEST_CODE
    return Conversion(voltage_v, code in (LOWEST_CODE, HIGHEST_CODE))
