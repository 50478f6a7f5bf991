"""Random bytes into every decoder: a result or a typed error, and nothing else.

50 000 cases per decoder; a million with `--hypothesis-profile=long`. Half of the cases are
mended so that they get past the length and the CRC.
"""

import math
import random
from collections.abc import Callable
from typing import NamedTuple

import pytest
from hypothesis import settings

from linetender_drivers.ambient.bme280_decode import compensate, decode_calibration, decode_raw
from linetender_drivers.converters.ads1115_decode import decode_conversion
from linetender_drivers.crc_words import crc8, with_crcs
from linetender_drivers.errors import BadFrame
from linetender_drivers.fan.ina2xx_decode import INA219, INA226, bus_v, shunt_v
from linetender_drivers.gas.scd4x_decode import decode_reading as decode_scd4x
from linetender_drivers.gas.scd30_decode import decode_reading as decode_scd30
from linetender_drivers.pressure.bridge_decode import decode_bridge
from linetender_drivers.pressure.d6f_ph_decode import CRC_START, decode_word, differential_pa
from linetender_drivers.pressure.sdp8xx_decode import decode_frame, decode_identifier
from linetender_drivers.simulated.bme280_chip import FIRST_CALIBRATION, SECOND_CALIBRATION

CASES_PER_EXAMPLE = 500
"""The profile "ci" has 100 examples, "long" 2000."""

SEED = 8


class Decoder(NamedTuple):
    """One decoder.

    Attributes:
        decode: Takes bytes; gives numbers, or raises BadFrame.
        length: That it wants.
        mend: Makes random bytes of that length get further.
    """

    decode: Callable[[bytes], object]
    length: int
    mend: Callable[[bytes], bytes] = bytes


def _words(frame: bytes) -> bytes:
    return with_crcs(b"".join(frame[at : at + 2] for at in range(0, len(frame), 3)))


def _known_scale(frame: bytes) -> bytes:
    return _words(frame[:6] + b"\x00" + (b"\x3c", b"\xf0", b"\x14")[frame[7] % 3] + b"\x00")


def _d6f(frame: bytes) -> bytes:
    return frame[:2] + bytes([crc8(frame[:2], CRC_START)])


CALIBRATION = decode_calibration(FIRST_CALIBRATION, SECOND_CALIBRATION, "weather")


def _any_air(frame: bytes) -> object:
    """A chip with a random calibration measures random values."""
    calibration = decode_calibration(frame[:26], frame[26:33], "weather")
    return compensate(decode_raw(frame[33:], "weather"), calibration)


DECODERS = {
    "sdp8xx measurement": Decoder(lambda b: decode_frame(b, "air"), 9, _known_scale),
    "sdp8xx identifier": Decoder(lambda b: decode_identifier(b, "air"), 18, _words),
    "d6f_ph": Decoder(lambda b: differential_pa(decode_word(b, "air"), "D6F-PH5050"), 3, _d6f),
    "bridge": Decoder(lambda b: decode_bridge(b, "air"), 4),
    "ads1115": Decoder(lambda b: decode_conversion(b, 4096, "adc"), 2),
    "bme280": Decoder(lambda b: compensate(decode_raw(b, "weather"), CALIBRATION), 8),
    "bme280 of any calibration": Decoder(_any_air, 41),
    "scd30": Decoder(lambda b: decode_scd30(b, "co2"), 12),
    "scd4x": Decoder(lambda b: decode_scd4x(b, "co2"), 6),
    "ina219": Decoder(lambda b: (shunt_v(b, INA219, "fan"), bus_v(b, INA219, "fan")), 2),
    "ina226": Decoder(lambda b: (shunt_v(b, INA226, "fan"), bus_v(b, INA226, "fan")), 2),
}


def is_finite(result: object) -> bool:
    if isinstance(result, tuple):
        return all(is_finite(part) for part in result)
    return result is None or math.isfinite(result)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", DECODERS)
def test_random_bytes(name: str) -> None:
    decoder = DECODERS[name]
    draw = random.Random(f"{SEED} {name}")
    cases = CASES_PER_EXAMPLE * settings().max_examples
    decoded = 0
    for number in range(cases):
        is_mended = number % 2 == 0
        frame = draw.randbytes(decoder.length if is_mended else draw.randrange(decoder.length + 3))
        frame = decoder.mend(frame) if is_mended else frame
        try:
            result = decoder.decode(frame)
        except BadFrame:
            continue
        decoded += 1
        assert is_finite(result), frame.hex(" ")
    assert decoded > cases // 10, "hardly anything got through: the test sees too little"
