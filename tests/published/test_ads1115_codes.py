"""Codes of the ADS1115 converter against published ones.

Source: the steps and codes of the data sheet as public drivers of the part quote them
(62.5 µV a step at ±2.048 V; reset value of the configuration 0x8583).
"""

import pytest

from linetender_drivers.converters.ads1115_decode import (
    READY_BIT,
    RESET_CONFIGURATION,
    Conversion,
    decode_conversion,
    single_shot,
)
from linetender_drivers.simulated.ads1115_chip import Ads1115Chip


@pytest.mark.parametrize(
    ("code", "full_scale_mv", "expected"),
    [
        ("7FFF", 2048, Conversion(2.0479375, True)),
        ("8000", 2048, Conversion(-2.048, True)),
        ("FFFF", 2048, Conversion(-62.5e-6, False)),
        ("0001", 4096, Conversion(125e-6, False)),
        ("0001", 6144, Conversion(187.5e-6, False)),
    ],
)
def test_conversion(code: str, full_scale_mv: int, expected: Conversion) -> None:
    decoded = decode_conversion(bytes.fromhex(code), full_scale_mv, "adc")
    assert decoded.voltage_v == pytest.approx(expected.voltage_v, rel=1e-12)
    assert decoded.is_saturated is expected.is_saturated


def test_reset_value_of_the_simulated_chip() -> None:
    chip = Ads1115Chip()
    chip.write(b"\x01", 0)
    assert chip.read(2, 0) == RESET_CONFIGURATION.to_bytes(2, "big") == b"\x85\x83"


def test_configuration_word() -> None:
    # AIN0 against ground 100, ±4.096 V 001, single shot 1, 250 per second 101, comparator
    # off 00011, with the start bit before: 1 100 001 1 101 00011.
    assert single_shot(0, 4096) == 0b1_100_001_1_101_00011
    assert single_shot(3, 2048) == 0b1_111_010_1_101_00011
    assert single_shot(1, 6144) & READY_BIT
