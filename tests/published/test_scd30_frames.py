"""Bytes of the SCD30 against published ones.

Source: the maker's interface description (its example of a measurement, 439.09 ppm, 27.2 °C
and 48.8 %, and of a firmware version, 3.66), as public drivers and their tests quote it.
"""

import pytest

from linetender_drivers.crc_words import checked_words, crc8
from linetender_drivers.errors import BadFrame
from linetender_drivers.gas.scd30_decode import decode_reading

FRAME = bytes.fromhex("43 DB CB 8C 2E 8F 41 D9 70 E7 FF F5 42 43 BF 3A 1B 74")


def test_measurement() -> None:
    reading = decode_reading(checked_words(FRAME, 18, "co2"), "co2")
    assert reading.co2_ppm == pytest.approx(439.095, abs=5e-4)
    assert reading.temperature_c == pytest.approx(27.238, abs=5e-4)
    assert reading.humidity_percent == pytest.approx(48.807, abs=5e-4)


def test_firmware_version() -> None:
    assert crc8(bytes.fromhex("0342")) == 0xF3


@pytest.mark.parametrize("word", ["7FC00000", "7F800000", "FF800000"])
def test_a_float_that_is_no_number_is_a_bad_frame(word: str) -> None:
    with pytest.raises(BadFrame, match="not finite"):
        decode_reading(bytes.fromhex(word) + bytes(8), "co2")
