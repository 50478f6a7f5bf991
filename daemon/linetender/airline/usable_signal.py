"""Whether an element and a sensor together can carry an alarm at the least permitted airflow.

What a calibration in place cannot mend counts: the sensor's own error, a flow of which
the pressure does not tell one value, and a range that the greatest airflow overruns.
"""

import math
from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import (
    FlagKind,
    FlowElement,
    Source,
    zero_needed_pa,
)
from linetender.airline.flow_estimate import FlowEstimate, flow_estimate
from linetender.airline.pressure_sensor import PressureSensor
from linetender.airline.quantity_checks import require_positive

PERMITTED_RELATIVE = 0.05
"""Standard uncertainty of the flow that the sensor alone may cause (chosen).

Two of them are 10 %: an alarm at 65 % of the flow is then told from 80 % of it.
"""


@dataclass(frozen=True, slots=True)
class SignalVerdict:
    """What an element and a sensor can do for an alarm.

    Attributes:
        least: The estimate at the least airflow.
        greatest_pa: Pressure at the greatest airflow (Pa).
        sensor_relative: Standard uncertainty that the sensor alone puts on the least
            airflow, over that airflow (1).
        zero_needed_pa: Error of the zero (Pa) that alone would make the permitted part.
        objections: Why not, each with figures; empty where the signal is usable.
    """

    least: FlowEstimate
    greatest_pa: float
    sensor_relative: float
    zero_needed_pa: float
    objections: tuple[str, ...]

    @property
    def is_usable(self) -> bool:
        """Whether the pair can carry the alarm."""
        return not self.objections


def signal_verdict(
    element: FlowElement,
    sensor: PressureSensor,
    air: AirState,
    *,
    least_l_min: float,
    greatest_l_min: float,
    permitted_relative: float = PERMITTED_RELATIVE,
) -> SignalVerdict:
    """Judge an element and a sensor over the airflows at which a line may run.

    Args:
        element: The flow element.
        sensor: The pressure sensor.
        air: Air at the element.
        least_l_min: Airflow at which the alarm must still be right (L/min, > 0).
        greatest_l_min: Greatest airflow of the line (L/min, not below the least).
        permitted_relative: Standard uncertainty that the sensor alone may cause, over
            the airflow (1, > 0).

    Raises:
        ValueError: An argument is outside its range.
    """
    require_positive("least airflow", least_l_min, "L/min")
    require_positive("permitted uncertainty", permitted_relative, "of flow")
    if not least_l_min <= greatest_l_min < math.inf:
        raise ValueError(f"greatest airflow {greatest_l_min} L/min is below {least_l_min} L/min")
    least = flow_estimate(element, element.differential_pa(least_l_min, air), air, sensor)
    parts = {part.source: part.l_min for part in least.contributions}
    sensor_l_min = math.hypot(parts[Source.SENSOR_ZERO], parts[Source.SENSOR_SPAN])
    greatest_pa = element.differential_pa(greatest_l_min, air)
    sensor_relative = sensor_l_min / least_l_min
    objections = (
        *_of_sensor(least, sensor_relative, permitted_relative),
        *_of_range(greatest_pa, sensor),
        *(flag.text for flag in least.flags if flag.kind is FlagKind.TRANSITION),
    )
    zero_pa = zero_needed_pa(element, least_l_min, air, permitted_relative)
    return SignalVerdict(least, greatest_pa, sensor_relative, zero_pa, objections)


def _of_sensor(
    least: FlowEstimate, sensor_relative: float, permitted_relative: float
) -> tuple[str, ...]:
    if sensor_relative <= permitted_relative:
        return ()
    return (
        f"{least.differential_pa:.3g} Pa at the least airflow: the sensor alone makes the airflow "
        f"uncertain by {100.0 * sensor_relative:.0f} %, "
        f"more than {100.0 * permitted_relative:.0f} %",
    )


def _of_range(greatest_pa: float, sensor: PressureSensor) -> tuple[str, ...]:
    if greatest_pa <= sensor.range_pa:
        return ()
    return (
        f"{greatest_pa:.0f} Pa at the greatest airflow is past the sensor's range "
        f"of {sensor.range_pa:.0f} Pa",
    )
