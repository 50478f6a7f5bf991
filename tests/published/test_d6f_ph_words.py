"""Words of the D6F-PH sensors against published ones.

Sources: the formulas of the user's manual as public drivers of the part quote them
(pressure = (counts - 1024) · span / 60000 - offset, temperature = (counts - 10214) /
37.39), worked by hand; a reading printed in the manual of the public MicroPython driver
`ekspla/D6F-PH`; and the CRC (polynomial 0x31, start 0) by long division.
"""

import pytest

from linetender_drivers.errors import BadFrame, FailureReason
from linetender_drivers.pressure.d6f_ph_decode import decode_word, differential_pa, temperature_c

PRESSURES = [
    ("D6F-PH0505", 1024, -50.0),
    ("D6F-PH0505", 31024, 0.0),
    ("D6F-PH0505", 61024, 50.0),
    ("D6F-PH0025", 1024, 0.0),
    ("D6F-PH0025", 61024, 250.0),
    ("D6F-PH5050", 1024, -500.0),
    ("D6F-PH5050", 61024, 500.0),
]


@pytest.mark.parametrize(("product", "counts", "pressure_pa"), PRESSURES)
def test_pressure(product: str, counts: int, pressure_pa: float) -> None:
    assert differential_pa(counts, product) == pytest.approx(pressure_pa, abs=1e-9)


def test_temperature() -> None:
    assert temperature_c(11149) == pytest.approx(25.0, abs=0.01)
    # Printed there: raw (31033, 11086); another reading a moment later: 23.53571 °C.
    assert temperature_c(11086) == pytest.approx(23.32, abs=0.01)
    assert differential_pa(31033, "D6F-PH5050") == pytest.approx(0.15, abs=1e-9)


@pytest.mark.parametrize(
    ("frame", "counts"),
    [("00 01 31", 0x0001), ("80 00 23", 0x8000), ("79 30 3D", 31024)],
)
def test_crc(frame: str, counts: int) -> None:
    assert decode_word(bytes.fromhex(frame), "air") == counts


def test_zeros_with_their_right_crc_are_no_result() -> None:
    with pytest.raises(BadFrame) as caught:
        decode_word(bytes(3), "air")
    assert caught.value.reason is FailureReason.BAD_FRAME
