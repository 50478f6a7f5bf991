"""Bytes of the Bluetooth PLX Continuous Measurement characteristic (0x2A5F), to fields.

Pure. Little-endian throughout; 5 to 20 octets:
flags u8 | SpO2, pulse rate | [b0] the same, fast | [b1] the same, slow |
[b2] measurement status u16 | [b3] device and sensor status u24 | [b4] pulse amplitude
index; flags b5 to b7 are reserved. All values are SFLOAT.

Source: Bluetooth SIG, GATT XML of `plx_continuous_measurement`, 2015-07-14. The status
flags of the spot-check characteristic (0x2A5E) lie elsewhere: `plx_spot_check_decode.py`.
"""

from enum import IntFlag, StrEnum

import msgspec

from linetender_drivers.errors import BadFrame


class SfloatSpecial(StrEnum):
    """What an SFLOAT says instead of a number."""

    NAN = "nan"
    NOT_AT_THIS_RESOLUTION = "nres"
    PLUS_INFINITY = "+inf"
    MINUS_INFINITY = "-inf"
    RESERVED = "reserved"


Sfloat = float | SfloatSpecial

_SPECIALS = {
    0x07FF: SfloatSpecial.NAN,
    0x0800: SfloatSpecial.NOT_AT_THIS_RESOLUTION,
    0x07FE: SfloatSpecial.PLUS_INFINITY,
    0x0802: SfloatSpecial.MINUS_INFINITY,
    0x0801: SfloatSpecial.RESERVED,
}
"""Whole words: the same mantissa under another exponent is a number.

Source: ISO/IEEE 11073-20601, SFLOAT-Type."""


class MeasurementStatus(IntFlag):
    """How the oximeter judges this measurement; bits 0 to 4 are reserved."""

    ONGOING = 1 << 5
    EARLY_ESTIMATE = 1 << 6
    VALIDATED = 1 << 7
    FULLY_QUALIFIED = 1 << 8
    FROM_STORAGE = 1 << 9
    DEMONSTRATION = 1 << 10
    TESTING = 1 << 11
    CALIBRATION = 1 << 12
    UNAVAILABLE = 1 << 13
    QUESTIONABLE = 1 << 14
    INVALID = 1 << 15


class SensorStatus(IntFlag):
    """What the oximeter says of itself and its sensor; bits 16 to 23 are reserved."""

    EXTENDED_DISPLAY_UPDATE = 1 << 0
    EQUIPMENT_MALFUNCTION = 1 << 1
    PROCESSING_IRREGULARITY = 1 << 2
    INADEQUATE_SIGNAL = 1 << 3
    POOR_SIGNAL = 1 << 4
    LOW_PERFUSION = 1 << 5
    ERRATIC_SIGNAL = 1 << 6
    NONPULSATILE_SIGNAL = 1 << 7
    QUESTIONABLE_PULSE = 1 << 8
    ANALYSIS_ONGOING = 1 << 9
    INTERFERENCE = 1 << 10
    UNCONNECTED_TO_USER = 1 << 11
    UNKNOWN_SENSOR = 1 << 12
    DISPLACED = 1 << 13
    MALFUNCTIONING = 1 << 14
    DISCONNECTED = 1 << 15


class PulsePair(msgspec.Struct, frozen=True):
    """Oxygen saturation (%) and pulse rate (1/min) of one averaging."""

    spo2_percent: Sfloat
    pulse_rate_bpm: Sfloat


class PlxContinuous(msgspec.Struct, frozen=True):
    """One continuous measurement as sent; fields that were not sent are None."""

    normal: PulsePair
    fast: PulsePair | None = None
    slow: PulsePair | None = None
    measurement_status: MeasurementStatus | None = None
    sensor_status: SensorStatus | None = None
    pulse_amplitude_index_percent: Sfloat | None = None


def decode_sfloat(word: int) -> Sfloat:
    """Decode a 16-bit SFLOAT: exponent in bits 15 to 12, mantissa in 11 to 0.

    Both are two's complement; the value is mantissa times ten to the exponent.

    Args:
        word: 0 to 0xFFFF.

    Source:
        ISO/IEEE 11073-20601, SFLOAT-Type.
    """
    special = _SPECIALS.get(word)
    if special is not None:
        return special
    exponent = (word >> 12) - (16 if word & 0x8000 else 0)
    mantissa = (word & 0xFFF) - (4096 if word & 0x800 else 0)
    # Dividing by an exact power of ten rounds once; multiplying by 0.1 rounds twice.
    scale: float = 10.0 ** abs(exponent)
    return mantissa * scale if exponent >= 0 else mantissa / scale


def decode_plx_continuous(device: str, frame: bytes) -> PlxContinuous:
    """Decode one notification of 0x2A5F.

    Reserved flags and octets after the last field are ignored, so that oximeters
    of a later revision can be read.

    Args:
        device: Name of the oximeter, for the error.
        frame: The notification's value.

    Raises:
        BadFrame: it is shorter than its flags say.
    """
    fields = PlxFields(device, frame)
    flags = fields.unsigned(1)
    return PlxContinuous(
        normal=fields.pair(),
        fast=fields.pair() if flags & 0x01 else None,
        slow=fields.pair() if flags & 0x02 else None,
        measurement_status=MeasurementStatus(fields.unsigned(2)) if flags & 0x04 else None,
        sensor_status=SensorStatus(fields.unsigned(3)) if flags & 0x08 else None,
        pulse_amplitude_index_percent=fields.sfloat() if flags & 0x10 else None,
    )


class PlxFields:
    """Takes one little-endian field after another off a frame.

    Args:
        device: Name of the oximeter, for the error.
        frame: What it sent.
    """

    def __init__(self, device: str, frame: bytes) -> None:
        self._device = device
        self._frame = frame
        self._at = 0

    def unsigned(self, octets: int) -> int:
        """Take an unsigned number; raises a BadFrame when the frame ends before it."""
        taken = self._frame[self._at : self._at + octets]
        if len(taken) < octets:
            raise BadFrame(
                self._device,
                f"{len(self._frame)} octets of an oximeter are cut short",
                self._frame,
            )
        self._at += octets
        return int.from_bytes(taken, "little")

    def sfloat(self) -> Sfloat:
        """Take an SFLOAT."""
        return decode_sfloat(self.unsigned(2))

    def pair(self) -> PulsePair:
        """Take oxygen saturation and pulse rate."""
        return PulsePair(self.sfloat(), self.sfloat())
