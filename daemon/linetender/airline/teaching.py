"""What a line's own pressures teach: its normal, and how each fault of it looks.

Five states are measured. No airflow follows from them: they give the normal pressure,
of which the alarm rules take fractions, and what part of the normal air the sensor
sees in each fault. A measurement that cannot be right is refused with its reasons.
"""

import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass

from linetender.airline.pressure_sample import PressureSample
from linetender.airline.pressure_sensor import PressureSensor


class LineState(enum.Enum):
    """The states, in the order in which they are measured."""

    JOINED = "ports_joined"
    """Both ports of the sensor joined by a short tube: true zero, whatever the wind does."""
    NORMAL = "normal"
    FAN_OFF = "fan_off"
    PINCHED = "duct_pinched"
    DUCT_OFF = "duct_off"


ZERO_LIMITS = 5.0
"""A zero is implausible from so many times the sensor's stated limit on (chosen): then the
ports were not joined, wind blew, or the sensor is spoilt."""

LEAST_NORMAL_ZEROS = 10.0
"""The normal pressure must be at least so many times the sensor's limit of zero (chosen):
at half of the flow a quarter of it is left, and the zero then spoils a fifth of that flow."""

GREATEST_SCATTER = 0.25
"""Standard deviation over mean of the normal pressure (chosen: an eighth of the flow)."""

GREATEST_DRIFT = 0.05
"""Change of the normal pressure between the halves of a measurement, over the mean (chosen)."""

FAN_OFF_PERCENT = 20.0
"""With the fan off, less than this part of the normal air may pass; the live station too
takes the fan as off below it."""

DISTINCT_PERCENT = 10.0
"""A fault must change the air by this part of the normal at least (chosen), or no alarm
could tell it from the normal."""

DISTINCT_SCATTERS = 3.0
"""And its pressure must differ by this many standard deviations of both (chosen)."""


@dataclass(frozen=True, slots=True)
class Teaching:
    """What has been measured so far.

    Attributes:
        sensor: The pressure sensor.
        exponent: n of Q = k·Δp^n of the flow element (1, 0.5 to 1).
        box_at_wearer: Whether the sensor sits at the wearer's end: there a duct that is
            off reads low. Beside the fan it may read low or high.
        samples: By state.
    """

    sensor: PressureSensor
    exponent: float
    box_at_wearer: bool
    samples: Mapping[LineState, PressureSample]

    @property
    def normal_pa(self) -> float:
        """The normal pressure (Pa), as the sensor reads it."""
        return self.samples[LineState.NORMAL].mean_pa

    @property
    def zero_pa(self) -> float:
        """What the sensor reads with its ports joined (Pa); 0 until that was measured."""
        joined = self.samples.get(LineState.JOINED)
        return 0.0 if joined is None else joined.mean_pa

    def percent_of_normal(self, state: LineState) -> float:
        """Return the air in a state (% of the normal airflow, >= 0), by (Δp/Δp_normal)^n."""
        part = max(0.0, self.samples[state].mean_pa - self.zero_pa) / (
            self.normal_pa - self.zero_pa
        )
        return float(100.0 * part**self.exponent)

    def faults(self, state: LineState) -> tuple[str, ...]:
        """Return why the sample of a state cannot be used, each with figures; empty if it can."""
        sample = self.samples[state]
        incomplete = faults_of_readings(sample)
        if incomplete:
            return incomplete
        if state is LineState.JOINED:
            return faults_of_zero(sample, self.sensor)
        if state is LineState.NORMAL:
            return faults_of_normal(sample, self.sensor)
        if state is LineState.FAN_OFF:
            return self._faults_of_fan_off()
        return self._faults_of_distinction(state)

    def _faults_of_fan_off(self) -> tuple[str, ...]:
        percent = self.percent_of_normal(LineState.FAN_OFF)
        if percent < FAN_OFF_PERCENT:
            return ()
        return (
            f"with the fan off {self.samples[LineState.FAN_OFF].mean_pa:.3g} Pa were read, "
            f"{percent:.0f} % of the normal air; less than {FAN_OFF_PERCENT:.0f} % was expected. "
            "Wait until the fan has run down; does wind or another fan blow through the line?",
        )

    def _faults_of_distinction(self, state: LineState) -> tuple[str, ...]:
        what = "pinched duct" if state is LineState.PINCHED else "duct that is off"
        sample, normal = self.samples[state], self.samples[LineState.NORMAL]
        percent = self.percent_of_normal(state)
        seen = f"the {what} reads {sample.mean_pa:.3g} Pa, {percent:.0f} % of the normal air"
        apart_pa = abs(sample.mean_pa - normal.mean_pa)
        noise_pa = DISTINCT_SCATTERS * math.hypot(sample.scatter_pa, normal.scatter_pa)
        if abs(percent - 100.0) < DISTINCT_PERCENT:
            return (f"{seen}: not distinct from normal. {self._remedy(state)}",)
        if apart_pa < noise_pa:
            return (
                f"{seen}: {apart_pa:.3g} Pa from normal drown in the noise ({noise_pa:.3g} Pa). "
                f"{self._remedy(state)}",
            )
        if percent > 100.0 and (state is LineState.PINCHED or self.box_at_wearer):
            return (f"{seen}: a fall was expected. {self._remedy(state)}",)
        return ()

    def _remedy(self, state: LineState) -> str:
        if state is LineState.PINCHED:
            return "Pinch it harder, about half shut, between fan and hood"
        return (
            "Take the duct off between fan and sensor"
            if self.box_at_wearer
            else ("Take the duct off behind the flow element")
        )


def faults_of_readings(sample: PressureSample) -> tuple[str, ...]:
    """Return why there are too few readings to judge at all; empty if there are enough."""
    if sample.is_whole:
        return ()
    return (
        f"{sample.count} readings came and {sample.failed} failed: too few to go by. "
        "Look at the sensor's plug and wires",
    )


def faults_of_zero(sample: PressureSample, sensor: PressureSensor) -> tuple[str, ...]:
    """Return why a measurement with joined ports is no zero; empty if it is one."""
    limit_pa = ZERO_LIMITS * stated_zero_pa(sensor)
    faults = []
    if abs(sample.mean_pa) > limit_pa:
        faults.append(
            f"with the ports joined {sample.mean_pa:.3g} Pa were read; within ±{limit_pa:.3g} Pa "
            "was expected. Join the ports by one short tube, nothing else on them"
        )
    if sample.scatter_pa > limit_pa:
        faults.append(
            f"with the ports joined the reading scatters by {sample.scatter_pa:.3g} Pa; less than "
            f"{limit_pa:.3g} Pa was expected. Shelter the tube from wind and hold it still"
        )
    return tuple(faults)


def faults_of_normal(sample: PressureSample, sensor: PressureSensor) -> tuple[str, ...]:
    """Return why a measurement is not that of a line that runs steadily; empty if it is."""
    least_pa = LEAST_NORMAL_ZEROS * stated_zero_pa(sensor)
    mean_pa = sample.mean_pa
    if mean_pa < -least_pa:
        return (f"{mean_pa:.3g} Pa is below 0: the two tubes are swapped, or air flows backwards",)
    if mean_pa < least_pa:
        return (
            f"{mean_pa:.3g} Pa is not clearly above 0; {least_pa:.3g} Pa at least was expected. "
            "Does the fan run, are the tubes on the taps, does the element give pressure enough?",
        )
    faults = []
    if mean_pa > sensor.range_pa:
        faults.append(f"{mean_pa:.4g} Pa is past the sensor's range, {sensor.range_pa:.4g} Pa")
    if sample.scatter_pa > GREATEST_SCATTER * mean_pa:
        faults.append(
            f"the reading scatters by {100.0 * sample.scatter_pa / mean_pa:.0f} %; "
            f"{100.0 * GREATEST_SCATTER:.0f} % at most was expected. Move the taps away from bends"
        )
    if abs(sample.drift_pa) > GREATEST_DRIFT * mean_pa:
        faults.append(
            f"the reading crept by {sample.drift_pa:+.3g} Pa ("
            f"{100.0 * sample.drift_pa / mean_pa:+.0f} %) meanwhile. Let the fan run for a minute, "
            "leave its speed alone, measure again"
        )
    return tuple(faults)


def stated_zero_pa(sensor: PressureSensor) -> float:
    """Return the limit of the zero (± Pa) that a sensor's rectangular uncertainty came from."""
    return math.sqrt(3.0) * sensor.zero_pa
