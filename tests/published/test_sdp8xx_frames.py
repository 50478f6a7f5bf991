"""Bytes of the SDP8xx and SDP3x sensors against published ones.

Sources, beside each value: the sensor maker's Python driver `sensirion-i2c-sdp` and its
tests; its data sheets' CRC example; the public Rust driver `sdp8xx`; and arithmetic from
the published layout (word / scale), worked by hand.
"""

import pytest

from linetender_drivers.crc_words import crc8
from linetender_drivers.errors import BadFrame, FailureReason
from linetender_drivers.pressure.sdp8xx_decode import (
    PRODUCTS,
    Identifier,
    Sdp8xxFrame,
    decode_frame,
    decode_identifier,
)

CRCS = [
    ("BE EF", 0x92),  # the maker's data sheets, quoted in its public drivers
    ("00 00", 0x81),  # arithmetic: a dead bus that reads zeros must fail
    ("FF FF", 0xAC),  # arithmetic: and so must an open one
]

FRAMES = [
    ("17 70 B9 13 88 01 00 3C 39", 100.0, 25.0, 60),  # 6000 / 60, 5000 / 200
    ("FF A6 5A 0F A0 E4 00 3C 39", -1.5, 20.0, 60),  # the maker's own test: -90 / 60
    ("09 60 F9 13 88 01 00 F0 03", 10.0, 25.0, 240),  # 2400 / 240
]

PRODUCT_NUMBERS = {
    # public Rust driver `sdp8xx`, enumeration of product variants
    0x030201: ("SDP800-500Pa", 500.0),
    0x03020A: ("SDP810-500Pa", 500.0),
    0x030204: ("SDP801-500Pa", 500.0),
    0x03020D: ("SDP811-500Pa", 500.0),
    0x030202: ("SDP800-125Pa", 125.0),
    0x03020B: ("SDP810-125Pa", 125.0),
    # several public drivers of the SDP3x compare with 0x03010101, 0x03010201, 0x03010384
    0x030101: ("SDP31-500Pa", 500.0),
    0x030102: ("SDP32-125Pa", 125.0),
    0x030103: ("SDP33-1500Pa", 1500.0),
}


@pytest.mark.parametrize(("word", "crc"), CRCS)
def test_crc_of_a_word(word: str, crc: int) -> None:
    assert crc8(bytes.fromhex(word)) == crc


@pytest.mark.parametrize(("frame", "differential_pa", "temperature_c", "scale"), FRAMES)
def test_measurement_frame(
    frame: str, differential_pa: float, temperature_c: float, scale: int
) -> None:
    decoded = decode_frame(bytes.fromhex(frame), "air")
    assert decoded == Sdp8xxFrame(differential_pa, temperature_c, scale)


def test_identifier_frame() -> None:
    # Layout and product number: the public Rust driver `sdp8xx`; the serial number is
    # that of its example.
    frame = bytes.fromhex("03 02 CE 02 01 69 44 55 00 66 77 E1 88 99 24 AA BB C5")
    decoded = decode_identifier(frame, "air")
    assert decoded == Identifier(0x03020201, 0x445566778899AABB)
    assert decoded.product is not None
    assert (decoded.product.name, decoded.product.range_pa) == ("SDP800-125Pa", 125.0)


def test_product_numbers() -> None:
    ours = {number: (part.name, part.range_pa) for number, part in PRODUCTS.items()}
    assert ours == PRODUCT_NUMBERS


def test_a_dead_bus_is_no_measurement() -> None:
    for byte in (b"\x00", b"\xff"):
        with pytest.raises(BadFrame) as caught:
            decode_frame(byte * 9, "air")
        assert caught.value.reason is FailureReason.BAD_CRC
