"""Which of an oximeter's numbers are believed, doubted or refused."""

import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxContinuous,
    PulsePair,
    SensorStatus,
    SfloatSpecial,
)
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spot_check_decode import decode_plx_spot_check

NOT_SENT = Measurement("pulse_amplitude_index_percent", reason="not_sent")

# Bit, whether it refuses (None: it says nothing against the number), and the word.
MEASUREMENT_BITS = {
    0: (None, None),
    1: (None, None),
    2: (None, None),
    3: (None, None),
    4: (None, None),
    5: (None, None),
    6: (False, "early_estimate"),
    7: (None, None),
    8: (None, None),
    9: (True, "from_storage"),
    10: (True, "demonstration"),
    11: (True, "testing"),
    12: (True, "calibration"),
    13: (True, "measurement_unavailable"),
    14: (False, "questionable_measurement"),
    15: (True, "invalid_measurement"),
}
SENSOR_BITS = {
    0: (False, "old_value"),
    1: (True, "equipment_malfunction"),
    2: (False, "processing_irregularity"),
    3: (True, "inadequate_signal"),
    4: (False, "poor_signal"),
    5: (False, "low_perfusion"),
    6: (False, "erratic_signal"),
    7: (True, "no_pulse_in_signal"),
    8: (False, "questionable_pulse"),
    9: (False, "analysis_ongoing"),
    10: (False, "sensor_interference"),
    11: (True, "finger_out"),
    12: (True, "unknown_sensor"),
    13: (True, "sensor_displaced"),
    14: (True, "sensor_malfunction"),
    15: (True, "sensor_disconnected"),
    **{bit: (None, None) for bit in range(16, 24)},
}


def made(spo2: Any, pulse: Any, **fields: Any) -> tuple[Measurement, ...]:
    return plx_measurements(PlxContinuous(PulsePair(spo2, pulse), **fields))


def expected(refuses: bool | None, word: str | None) -> tuple[Measurement, ...]:
    numbers = (("spo2_percent", 97.0), ("pulse_rate_bpm", 60.0))
    if refuses:
        index = Measurement("pulse_amplitude_index_percent", reason=word)
        return (*(Measurement(signal, reason=word) for signal, _ in numbers), index)
    return (*(Measurement(signal, value, doubt=word) for signal, value in numbers), NOT_SENT)


def test_every_single_measurement_status_bit() -> None:
    assert {
        bit: made(97.0, 60.0, measurement_status=MeasurementStatus(1 << bit)) for bit in range(16)
    } == {bit: expected(*verdict) for bit, verdict in MEASUREMENT_BITS.items()}


def test_every_single_sensor_status_bit() -> None:
    assert {bit: made(97.0, 60.0, sensor_status=SensorStatus(1 << bit)) for bit in range(24)} == {
        bit: expected(*verdict) for bit, verdict in SENSOR_BITS.items()
    }


def test_the_sensor_names_the_reason_before_the_measurement_does() -> None:
    unavailable = MeasurementStatus.UNAVAILABLE
    out = SensorStatus.UNCONNECTED_TO_USER | SensorStatus.LOW_PERFUSION
    got = made(SfloatSpecial.NAN, 60.0, measurement_status=unavailable, sensor_status=out)
    assert [(one.value, one.reason, one.doubt) for one in got] == [(None, "finger_out", None)] * 3


@pytest.mark.parametrize("special", list(SfloatSpecial))
def test_a_special_is_never_a_number(special: SfloatSpecial) -> None:
    assert made(special, special, pulse_amplitude_index_percent=special) == (
        Measurement("spo2_percent", reason="no_value"),
        Measurement("pulse_rate_bpm", reason="no_value"),
        Measurement("pulse_amplitude_index_percent", reason="no_value"),
    )


@pytest.mark.parametrize(
    ("spo2", "pulse", "index", "believed"),
    [
        (0.0, 60.0, 2.5, [False, True, True]),
        (-0.1, 19.9, -0.1, [False, False, False]),
        (0.1, 20.0, 0.0, [True, True, True]),
        (100.0, 300.0, 100.0, [True, True, True]),
        (100.1, 300.1, 100.1, [False, False, False]),
        (127.0, 511.0, 2045.0, [False, False, False]),
        (97.0, 0.0, 2.5, [True, False, True]),
    ],
)
def test_what_no_body_has_is_out_of_range(
    spo2: float, pulse: float, index: float, believed: list[bool]
) -> None:
    got = made(spo2, pulse, pulse_amplitude_index_percent=index)
    assert [one.value for one in got] == [
        value if good else None for value, good in zip((spo2, pulse, index), believed, strict=True)
    ]
    assert [one.reason for one in got] == [None if good else "out_of_range" for good in believed]


@given(
    st.floats(allow_nan=False) | st.sampled_from(list(SfloatSpecial)),
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFF),
)
def test_each_has_a_plausible_number_or_a_reason_and_no_doubt_without_a_number(
    sent: Any, status: int, sensor: int
) -> None:
    got = made(
        sent,
        sent,
        measurement_status=MeasurementStatus(status),
        sensor_status=SensorStatus(sensor),
        pulse_amplitude_index_percent=sent,
    )
    for one in got:
        assert (one.value is None) != (one.reason is None)
        assert one.value is None or 0.0 <= one.value <= 300.0
        assert one.doubt is None or one.value is not None


@pytest.mark.parametrize(
    ("year", "is_known"),
    [(0, False), (1581, False), (1582, True), (9999, True), (10_000, False), (65_535, False)],
)
def test_a_year_that_no_calendar_has_costs_the_time_and_no_reading(
    year: int, is_known: bool
) -> None:
    octets = b"\x01" + struct.pack("<HHH", 97, 72, year) + bytes([1, 2, 3, 4, 5])
    made = plx_measurements(decode_plx_spot_check("finger", octets))
    assert [one.value for one in made][:2] == [97.0, 72.0]
    assert {one.device_time is not None for one in made} == {is_known}
