"""What an oximeter's numbers can be, whatever language it speaks."""

from typing import Final

from linetender_drivers.errors import FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import BATTERY

SPO2: Final = "spo2_percent"
PULSE_RATE: Final = "pulse_rate_bpm"
PULSE_AMPLITUDE: Final = "pulse_amplitude_index_percent"

FINGER_OUT: Final = "finger_out"
POOR_SIGNAL: Final = "poor_signal"
NO_VALUE: Final = "no_value"
"""The oximeter sent what stands for "no number"."""

LOWEST_PULSE_BPM = 20.0
HIGHEST_PULSE_BPM = 300.0
"""Chosen: wider than any living pulse that a finger sensor follows."""

PLAUSIBLE: Final = {
    SPO2: (0.0, 100.0),
    PULSE_RATE: (LOWEST_PULSE_BPM, HIGHEST_PULSE_BPM),
    PULSE_AMPLITUDE: (0.0, 100.0),
    BATTERY: (0.0, 100.0),
}
"""Lowest and highest; an SpO2 of 0 % is refused as well."""


def plausible_measurement(
    signal: str, value: float, *, doubt: str | None = None, device_time: float | None = None
) -> Measurement:
    """Return a number as measured, or `out_of_range` where none can be such."""
    lowest, highest = PLAUSIBLE[signal]
    if not lowest <= value <= highest or (signal == SPO2 and value == 0.0):
        reason = FailureReason.OUT_OF_RANGE.value
        return Measurement(signal, reason=reason, device_time=device_time)
    return Measurement(signal, value, doubt=doubt, device_time=device_time)
