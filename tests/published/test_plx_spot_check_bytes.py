"""PLX Spot-Check Measurement (0x2A5E) and PLX Features (0x2A60) byte by byte.

Sources: field order and flags: Bluetooth SIG, GATT XML of `plx_spot_check_measurement`,
2015-07-14, and its web viewer for `plx_features`. The capture of a real oximeter: Stack
Overflow question 71264072 (its answer misreads the pulse rate as 98). The other rows were
computed and agreed with Wireshark 4.0.17's dissector; `test_plx_wireshark.py` repeats it.
"""

from datetime import UTC, datetime

import pytest

from linetender_drivers.errors import BadFrame
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plx_decode import MeasurementStatus, PulsePair, SensorStatus
from linetender_drivers.oximeter.plx_features_decode import (
    PlxFeature,
    PlxFeatures,
    decode_plx_features,
)
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spot_check_decode import PlxSpotCheck, decode_plx_spot_check

CAPTURE = "17 61 00 60 00 e1 07 01 01 01 22 13 20 00 20 00 00"
FULL = "0f cf f3 48 00 ea 07 01 02 03 04 05 00 01 20 00 00 19 f0"
STORED = "13 61 00 3c 00 00 00 00 00 00 00 00 00 02"
MINIMAL = "00 62 00 4b 00"

WORKED = {
    # Published: capture of a real oximeter.
    CAPTURE: PlxSpotCheck(
        PulsePair(97.0, 96.0),
        time=(2017, 1, 1, 1, 34, 19),
        measurement_status=MeasurementStatus.ONGOING,
        sensor_status=SensorStatus.LOW_PERFUSION,
        is_clock_unset=True,
    ),
    # Computed.
    MINIMAL: PlxSpotCheck(PulsePair(98.0, 75.0)),
    FULL: PlxSpotCheck(
        PulsePair(97.5, 72.0),
        time=(2026, 1, 2, 3, 4, 5),
        measurement_status=MeasurementStatus.FULLY_QUALIFIED,
        sensor_status=SensorStatus.LOW_PERFUSION,
        pulse_amplitude_index_percent=2.5,
    ),
    STORED: PlxSpotCheck(
        PulsePair(97.0, 60.0),
        time=(0, 0, 0, 0, 0, 0),
        measurement_status=MeasurementStatus.FROM_STORAGE,
        is_clock_unset=True,
    ),
}


@pytest.mark.parametrize("octets", WORKED)
def test_worked_bytes(octets: str) -> None:
    assert decode_plx_spot_check("ox", bytes.fromhex(octets)) == WORKED[octets]


@pytest.mark.parametrize("octets", WORKED)
def test_every_shorter_frame_is_refused(octets: str) -> None:
    frame = bytes.fromhex(octets)
    for length in range(len(frame)):
        with pytest.raises(BadFrame):
            decode_plx_spot_check("ox", frame[:length])


def test_the_status_flags_are_one_lower_than_those_of_the_continuous_measurement() -> None:
    status = decode_plx_spot_check("ox", bytes.fromhex("02 61 00 3c 00 20 01"))
    sensor = decode_plx_spot_check("ox", bytes.fromhex("04 61 00 3c 00 00 08 00"))
    assert (status.measurement_status, status.sensor_status) == (MeasurementStatus(0x0120), None)
    assert (sensor.measurement_status, sensor.sensor_status) == (
        None,
        SensorStatus.UNCONNECTED_TO_USER,
    )


def test_only_a_clock_that_was_set_and_shows_a_date_is_believed() -> None:
    def device_time(octets: str) -> float | None:
        return decode_plx_spot_check("ox", bytes.fromhex(octets)).device_time

    sent = {
        "01 61 00 3c 00 ea 07 01 02 03 04 05": datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC),
        "01 61 00 3c 00 e8 07 02 1d 17 3b 3b": datetime(2024, 2, 29, 23, 59, 59, tzinfo=UTC),
    }
    assert [device_time(octets) for octets in sent] == [at.timestamp() for at in sent.values()]
    for no_date in (
        CAPTURE,  # its clock is not set
        STORED,
        MINIMAL,
        "01 61 00 3c 00 e9 07 02 1d 00 00 00",  # 29 February 2025
        "01 61 00 3c 00 ea 07 0d 01 00 00 00",  # month 13
        "01 61 00 3c 00 ea 07 01 01 18 00 00",  # hour 24
        "01 61 00 3c 00 ff ff 01 01 00 3c 00",  # minute 60
    ):
        assert device_time(no_date) is None, no_date


def test_a_stored_record_never_feeds_a_limit_and_a_weak_one_only_in_doubt() -> None:
    stored = plx_measurements(decode_plx_spot_check("ox", bytes.fromhex(STORED)))
    weak = plx_measurements(decode_plx_spot_check("ox", bytes.fromhex(CAPTURE)))
    names = ("spo2_percent", "pulse_rate_bpm", "pulse_amplitude_index_percent")
    assert stored == tuple(Measurement(name, reason="from_storage") for name in names)
    assert weak == (
        Measurement("spo2_percent", 97.0, doubt="low_perfusion"),
        Measurement("pulse_rate_bpm", 96.0, doubt="low_perfusion"),
        Measurement("pulse_amplitude_index_percent", reason="not_sent"),
    )


def test_features() -> None:
    said = decode_plx_features("ox", bytes.fromhex("4f 00 e0 01 20 08 00"))
    assert said == PlxFeatures(
        PlxFeature.MEASUREMENT_STATUS
        | PlxFeature.SENSOR_STATUS
        | PlxFeature.STORED_SPOT_CHECKS
        | PlxFeature.SPOT_CHECK_TIME
        | PlxFeature.PULSE_AMPLITUDE_INDEX,
        MeasurementStatus(0x01E0),
        SensorStatus(0x000820),
    )
    assert decode_plx_features("ox", bytes.fromhex("30 00")) == PlxFeatures(
        PlxFeature.FAST | PlxFeature.SLOW
    )
    assert decode_plx_features("ox", bytes.fromhex("02 00 20 08 00")) == PlxFeatures(
        PlxFeature.SENSOR_STATUS, sensor_status=SensorStatus(0x000820)
    )
    for cut in ("", "4f", "4f 00 e0", "4f 00 e0 01 20 08"):
        with pytest.raises(BadFrame):
            decode_plx_features("ox", bytes.fromhex(cut))
