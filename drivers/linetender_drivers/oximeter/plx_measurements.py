"""From what an oximeter sent to numbers that may be relied on, or reasons why there are none.

Pure. Only the normal averaging is used: fast and slow ones are not sent by every
oximeter, and rules must mean the same with each.

Which status bits refuse a number and which only doubt it is chosen here; the
specification (PLX service 1.0.1) defines the bits and leaves that to the collector.
Refused is what says that no pulse of this wearer, or none measured now, is behind the
number; doubted is what says that it is a weak one.
"""

from enum import IntFlag
from functools import lru_cache

from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plausibility import (
    FINGER_OUT,
    NO_VALUE,
    POOR_SIGNAL,
    PULSE_AMPLITUDE,
    PULSE_RATE,
    SPO2,
    plausible_measurement,
)
from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxContinuous,
    SensorStatus,
    Sfloat,
)
from linetender_drivers.oximeter.plx_spot_check_decode import PlxSpotCheck

NOT_SENT = "not_sent"
"""This oximeter does not send the quantity."""

SENSOR_REFUSALS: tuple[tuple[SensorStatus, str], ...] = (
    (SensorStatus.DISCONNECTED, "sensor_disconnected"),
    (SensorStatus.UNCONNECTED_TO_USER, FINGER_OUT),
    (SensorStatus.DISPLACED, "sensor_displaced"),
    (SensorStatus.UNKNOWN_SENSOR, "unknown_sensor"),
    (SensorStatus.MALFUNCTIONING, "sensor_malfunction"),
    (SensorStatus.EQUIPMENT_MALFUNCTION, "equipment_malfunction"),
    (SensorStatus.NONPULSATILE_SIGNAL, "no_pulse_in_signal"),
    (SensorStatus.INADEQUATE_SIGNAL, "inadequate_signal"),
)
MEASUREMENT_REFUSALS: tuple[tuple[MeasurementStatus, str], ...] = (
    (MeasurementStatus.INVALID, "invalid_measurement"),
    (MeasurementStatus.UNAVAILABLE, "measurement_unavailable"),
    (MeasurementStatus.FROM_STORAGE, "from_storage"),
    (MeasurementStatus.DEMONSTRATION, "demonstration"),
    (MeasurementStatus.TESTING, "testing"),
    (MeasurementStatus.CALIBRATION, "calibration"),
)
SENSOR_DOUBTS: tuple[tuple[SensorStatus, str], ...] = (
    (SensorStatus.QUESTIONABLE_PULSE, "questionable_pulse"),
    (SensorStatus.LOW_PERFUSION, "low_perfusion"),
    (SensorStatus.ERRATIC_SIGNAL, "erratic_signal"),
    (SensorStatus.POOR_SIGNAL, POOR_SIGNAL),
    (SensorStatus.INTERFERENCE, "sensor_interference"),
    (SensorStatus.PROCESSING_IRREGULARITY, "processing_irregularity"),
    (SensorStatus.ANALYSIS_ONGOING, "analysis_ongoing"),
    (SensorStatus.EXTENDED_DISPLAY_UPDATE, "old_value"),
)
MEASUREMENT_DOUBTS: tuple[tuple[MeasurementStatus, str], ...] = (
    (MeasurementStatus.QUESTIONABLE, "questionable_measurement"),
    (MeasurementStatus.EARLY_ESTIMATE, "early_estimate"),
)
"""Where several bits of a kind are set the first in its table is named, the sensor's
before the measurement's: it says what to do."""


def plx_measurements(
    frame: PlxContinuous | PlxSpotCheck,
) -> tuple[Measurement, Measurement, Measurement]:
    """Return SpO2 (%), pulse rate (1/min) and pulse amplitude index (%), in this order.

    Each has a number or a reason. SpO2 above 100 % or not above 0 %, a pulse outside
    20 to 300 per minute and an index outside 0 to 100 % are refused as `out_of_range`.
    """
    sensor = frame.sensor_status or SensorStatus(0)
    status = frame.measurement_status or MeasurementStatus(0)
    refusal, doubt = _judged(sensor, status)
    spo2, pulse = frame.normal.spo2_percent, frame.normal.pulse_rate_bpm
    index = frame.pulse_amplitude_index_percent
    time = frame.device_time if isinstance(frame, PlxSpotCheck) else None
    return (
        _measurement(SPO2, spo2, refusal, doubt, time),
        _measurement(PULSE_RATE, pulse, refusal, doubt, time),
        _measurement(PULSE_AMPLITUDE, index, refusal, doubt, time),
    )


def _measurement(
    signal: str, sent: Sfloat | None, refusal: str | None, doubt: str | None, time: float | None
) -> Measurement:
    if refusal is not None:
        return Measurement(signal, reason=refusal, device_time=time)
    if sent is None:
        return Measurement(signal, reason=NOT_SENT, device_time=time)
    if not isinstance(sent, float):
        return Measurement(signal, reason=NO_VALUE, device_time=time)
    return plausible_measurement(signal, sent, doubt=doubt, device_time=time)


@lru_cache(maxsize=64)
def _judged(sensor: SensorStatus, status: MeasurementStatus) -> tuple[str | None, str | None]:
    """Return why a number is refused, and why it is doubted; mostly as a second before."""
    refusal = _first(sensor, SENSOR_REFUSALS) or _first(status, MEASUREMENT_REFUSALS)
    doubt = _first(sensor, SENSOR_DOUBTS) or _first(status, MEASUREMENT_DOUBTS)
    return refusal, doubt


def _first(status: IntFlag, table: tuple[tuple[IntFlag, str], ...]) -> str | None:
    return next((word for bit, word in table if status & bit), None)
