"""Whatever octets an oximeter sends become measurements that hold, or a BadFrame."""

import asyncio
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.packet_files import framed, framed_frame
from linetender_drivers.errors import BadFrame, DriverError
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import battery_measurement
from linetender_drivers.oximeter.packet_decode import decode_packet
from linetender_drivers.oximeter.plausibility import PLAUSIBLE
from linetender_drivers.oximeter.plx_decode import decode_plx_continuous
from linetender_drivers.oximeter.plx_description import (
    MODEL_NUMBER,
    OximeterDescription,
    read_description,
)
from linetender_drivers.oximeter.plx_features_decode import decode_plx_features
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spot_check_decode import decode_plx_spot_check

OCTETS = st.binary(max_size=24)


def holds(made: tuple[Measurement, ...]) -> None:
    for one in made:
        assert (one.value is None) != (one.reason is None), one
        assert one.device_time is None or math.isfinite(one.device_time)
        if one.value is not None:
            lowest, highest = PLAUSIBLE[one.signal]
            assert lowest <= one.value <= highest


@given(OCTETS)
def test_the_standard_service(octets: bytes) -> None:
    for decode in (decode_plx_continuous, decode_plx_spot_check):
        try:
            decoded = decode("finger", octets)
        except BadFrame:
            continue
        holds(plx_measurements(decoded))


@given(OCTETS)
def test_features_and_battery(octets: bytes) -> None:
    holds((battery_measurement(octets),))
    try:
        decode_plx_features("finger", octets)
    except BadFrame:
        assert len(octets) < 7


@given(st.binary(min_size=4, max_size=4), st.integers(0, 255), st.integers(0, 255))
def test_described_packets(noise: bytes, spo2: int, pulse: int) -> None:
    frame = bytearray(framed_frame(spo2, pulse))
    frame[4:8] = bytes(old ^ new for old, new in zip(frame[4:8], noise, strict=True))
    holds(decode_packet("finger", framed(), bytes(frame)))


@given(OCTETS)
def test_described_packets_of_any_length(octets: bytes) -> None:
    marked = b"\xc9\x35\x09\x2d" + octets
    try:
        holds(decode_packet("finger", framed(), marked))
    except BadFrame:
        assert len(marked) < 8


class OneTextLink:
    """Answers with the same octets for the model, and refuses the rest."""

    def __init__(self, octets: bytes) -> None:
        self._octets = octets

    async def value(self, characteristic: str) -> bytes | None:
        if characteristic == MODEL_NUMBER:
            return self._octets
        raise DriverError("finger", "refused")


@given(OCTETS)
def test_a_name_is_text_that_can_be_shown(octets: bytes) -> None:
    link: object = OneTextLink(octets)
    said = asyncio.run(read_description("finger", link))  # type: ignore[arg-type]
    assert said == OximeterDescription(model=said.model)
    assert said.model is None or (said.model.isprintable() and said.model != "")


@pytest.mark.parametrize(
    ("octets", "model"),
    [(b"CLIP-1\0", "CLIP-1"), (b"", None), (b"\0", None), (b"a\x1b[31mb", "a[31mb")],
)
def test_a_name_loses_what_a_terminal_would_obey(octets: bytes, model: str | None) -> None:
    link: object = OneTextLink(octets)
    assert asyncio.run(read_description("finger", link)).model == model  # type: ignore[arg-type]
