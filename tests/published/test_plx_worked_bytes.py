"""PLX Continuous Measurement (0x2A5F) byte by byte, and SFLOAT word by word.

Sources: field order, flags and status bits: Bluetooth SIG, GATT XML of
`plx_continuous_measurement`, 2015-07-14. SFLOAT words: the table of the HL7 Personal
Health Device implementation guide. The capture of a real oximeter: Stack Overflow
question 71264072. The other rows were computed from the XML and agreed with Wireshark
4.0.17's dissector of captured notifications; `test_plx_wireshark.py` repeats that.
"""

import struct

import pytest

from linetender_drivers.errors import BadFrame
from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxContinuous,
    PulsePair,
    SensorStatus,
    Sfloat,
    SfloatSpecial,
    decode_plx_continuous,
    decode_sfloat,
)

NAN = SfloatSpecial.NAN
NRES = SfloatSpecial.NOT_AT_THIS_RESOLUTION
PLUS_INFINITY = SfloatSpecial.PLUS_INFINITY
MINUS_INFINITY = SfloatSpecial.MINUS_INFINITY
RESERVED = SfloatSpecial.RESERVED


def plx(spo2: Sfloat, pulse: Sfloat, **fields: object) -> PlxContinuous:
    return PlxContinuous(PulsePair(spo2, pulse), **fields)  # type: ignore[arg-type]


FULL = PlxContinuous(
    PulsePair(97.5, 72.0),
    fast=PulsePair(97.0, 73.0),
    slow=PulsePair(98.0, 71.0),
    measurement_status=MeasurementStatus(0x0120),
    sensor_status=SensorStatus.LOW_PERFUSION,
    pulse_amplitude_index_percent=2.5,
)

CAPTURE = plx(
    98.0, 78.0, measurement_status=MeasurementStatus.ONGOING, sensor_status=SensorStatus(0)
)

WORKED = {
    # Published: capture of a real oximeter.
    "0c 62 00 4e 00 20 00 00 00 00": CAPTURE,
    # Computed.
    "00 61 00 3c 00": plx(97.0, 60.0),
    "00 cf f3 d5 f2": plx(97.5, 72.5),
    "00 ca f3 58 f2": plx(97.0, 60.0),
    "00 0a 10 0a 10": plx(100.0, 100.0),
    "00 00 00 00 00": plx(0.0, 0.0),
    "01 61 00 3c 00 60 00 3d 00": plx(97.0, 60.0, fast=PulsePair(96.0, 61.0)),
    "02 61 00 3c 00 62 00 3b 00": plx(97.0, 60.0, slow=PulsePair(98.0, 59.0)),
    "04 61 00 3c 00 20 01": plx(
        97.0,
        60.0,
        measurement_status=MeasurementStatus.ONGOING | MeasurementStatus.FULLY_QUALIFIED,
    ),
    "04 ff 07 ff 07 00 20": plx(NAN, NAN, measurement_status=MeasurementStatus.UNAVAILABLE),
    "04 61 00 3c 00 00 40": plx(97.0, 60.0, measurement_status=MeasurementStatus.QUESTIONABLE),
    "04 61 00 3c 00 00 80": plx(97.0, 60.0, measurement_status=MeasurementStatus.INVALID),
    "08 ff 07 ff 07 00 08 00": plx(NAN, NAN, sensor_status=SensorStatus.UNCONNECTED_TO_USER),
    "08 ff 07 ff 07 00 80 00": plx(NAN, NAN, sensor_status=SensorStatus.DISCONNECTED),
    "08 5f 00 3c 00 20 00 00": plx(95.0, 60.0, sensor_status=SensorStatus.LOW_PERFUSION),
    "10 61 00 3c 00 19 f0": plx(97.0, 60.0, pulse_amplitude_index_percent=2.5),
    "1f cf f3 48 00 61 00 49 00 62 00 47 00 20 01 20 00 00 19 f0": FULL,
    "00 ff 07 ff 07": plx(NAN, NAN),
    "00 00 08 fe 07": plx(NRES, PLUS_INFINITY),
    "00 02 08 01 08": plx(MINUS_INFINITY, RESERVED),
    "00 fd 07 03 08": plx(2045.0, -2045.0),
    "e0 61 00 3c 00": plx(97.0, 60.0),
    "00 61 00 3c 00 aa": plx(97.0, 60.0),
}


@pytest.mark.parametrize("octets", WORKED)
def test_worked_bytes(octets: str) -> None:
    assert decode_plx_continuous("ox", bytes.fromhex(octets)) == WORKED[octets]


@pytest.mark.parametrize("octets", ["04 61 00 3c 00", "00 61 00 3c", ""])
def test_cut_short_bytes_are_refused(octets: str) -> None:
    with pytest.raises(BadFrame):
        decode_plx_continuous("ox", bytes.fromhex(octets))


def test_sfloat_words_of_the_hl7_guide() -> None:
    assert [decode_sfloat(word) for word in (0x0002, 0xF014, 0xE0C8)] == [2.0, 2.0, 2.0]


def test_every_sfloat_word_against_another_formula() -> None:
    specials = {
        0x07FF: NAN,
        0x0800: NRES,
        0x07FE: PLUS_INFINITY,
        0x0802: MINUS_INFINITY,
        0x0801: RESERVED,
    }

    def by_shifts_and_text(word: int) -> Sfloat:
        # C's sign-extending shifts and a decimal literal, read by the correctly
        # rounding parser, instead of two's complement by subtraction and a division.
        (exponent,) = struct.unpack("b", bytes([word >> 8]))
        (mantissa,) = struct.unpack("h", struct.pack("H", word << 4 & 0xFFFF))
        return float(f"{mantissa >> 4}e{exponent >> 4}")

    assert [decode_sfloat(word) for word in range(0x10000)] == [
        specials.get(word, by_shifts_and_text(word)) for word in range(0x10000)
    ]
