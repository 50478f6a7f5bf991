"""Decoding of PLX notifications: every length, every flag, any bytes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender_drivers.errors import BadFrame
from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxContinuous,
    PulsePair,
    SensorStatus,
    SfloatSpecial,
    decode_plx_continuous,
    decode_sfloat,
)

FULL = bytes.fromhex("1fcff348006100490062004700200120000019f0")
FIELD_OCTETS = {0x01: 4, 0x02: 4, 0x04: 2, 0x08: 3, 0x10: 2}


def test_every_set_of_flags_wants_exactly_its_octets() -> None:
    for flags in range(256):
        length = 5 + sum(octets for bit, octets in FIELD_OCTETS.items() if flags & bit)
        frame = bytes([flags]) + bytes(range(1, length))
        decoded = decode_plx_continuous("ox", frame)
        given_fields = (
            decoded.fast,
            decoded.slow,
            decoded.measurement_status,
            decoded.sensor_status,
            decoded.pulse_amplitude_index_percent,
        )
        assert [field is not None for field in given_fields] == [
            bool(flags & bit) for bit in FIELD_OCTETS
        ]
        assert decode_plx_continuous("ox", frame + b"\xaa\xbb") == decoded
        for cut in range(length):
            with pytest.raises(BadFrame) as refused:
                decode_plx_continuous("ox", frame[:cut])
            assert refused.value.frame == frame[:cut]


def test_the_longest_frame_in_full() -> None:
    assert decode_plx_continuous("ox", FULL) == PlxContinuous(
        normal=PulsePair(97.5, 72.0),
        fast=PulsePair(97.0, 73.0),
        slow=PulsePair(98.0, 71.0),
        measurement_status=MeasurementStatus.ONGOING | MeasurementStatus.FULLY_QUALIFIED,
        sensor_status=SensorStatus.LOW_PERFUSION,
        pulse_amplitude_index_percent=2.5,
    )


@given(st.binary(max_size=32))
def test_any_bytes_give_a_measurement_or_a_bad_frame(frame: bytes) -> None:
    try:
        decoded = decode_plx_continuous("ox", frame)
    except BadFrame as error:
        assert error.frame == frame
        assert "ox: " in str(error)
    else:
        for value in (decoded.normal.spo2_percent, decoded.normal.pulse_rate_bpm):
            assert isinstance(value, SfloatSpecial) or value - value == 0.0


def test_specials_are_whole_words_only() -> None:
    mantissas = [0x7FF, 0x800, 0x7FE, 0x802, 0x801]
    assert [type(decode_sfloat(word)) for word in mantissas] == [SfloatSpecial] * 5
    assert [decode_sfloat(0xF000 | word) for word in mantissas] == [
        204.7,
        -204.8,
        204.6,
        -204.6,
        -204.7,
    ]
