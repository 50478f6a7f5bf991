"""What every flow element can do: flow from pressure, pressure from flow, and its doubts.

`airflow_l_min` is always actual litres per minute at the conditions of the element.
At a pressure of 0 or below no air flows towards the hood: the airflow is 0.
"""

import enum
import math
from typing import NamedTuple, Protocol

from linetender.airline.air_state import AirState
from linetender.airline.quantity_checks import require_positive


class FlagKind(enum.Enum):
    """Which limit of validity a result lies outside."""

    REYNOLDS = "reynolds"
    PIPE_DIAMETER = "pipe_diameter"
    BORE = "bore"
    DIAMETER_RATIO = "diameter_ratio"
    TRANSITION = "transition"
    TEMPERATURE = "temperature"
    EXTRAPOLATED = "extrapolated"
    UNCALIBRATED = "uncalibrated"
    SENSOR_RANGE = "sensor_range"
    DROWNED = "drowned"
    REVERSED = "reversed"


class Flag(NamedTuple):
    """One reason why a result must not be taken at its word.

    Attributes:
        kind: The limit.
        text: What lies outside what, with figures, for people.
    """

    kind: FlagKind
    text: str


class Source(enum.Enum):
    """Where a part of a flow's uncertainty comes from."""

    SENSOR_ZERO = "sensor_zero"
    SENSOR_SPAN = "sensor_span"
    COEFFICIENT = "coefficient"
    DIMENSIONS = "dimensions"
    INSTALLATION = "installation"
    EXTRAPOLATION = "extrapolation"
    TRANSITION = "transition"
    CALIBRATION = "calibration"
    AIR_TEMPERATURE = "air_temperature"
    AIR_PRESSURE = "air_pressure"
    AIR_HUMIDITY = "air_humidity"


class Contribution(NamedTuple):
    """One line of an uncertainty budget.

    Attributes:
        source: Where it comes from.
        l_min: Its standard uncertainty of the airflow (L/min, >= 0).
    """

    source: Source
    l_min: float


class FlowElement(Protocol):
    """A piece of the line across which a pressure tells the airflow."""

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the airflow (L/min) at a pressure (Pa); ValueError where it is not finite."""

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa) at an airflow (L/min): the inverse."""

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return every limit of validity that this airflow (L/min) lies outside."""

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return the element's own parts of the uncertainty at an airflow (L/min)."""


_LOG_STEP = 1e-4


def local_exponent(element: FlowElement, differential_pa: float, air: AirState) -> float:
    """Return n = d ln Q / d ln Δp at a pressure (Pa, > 0): 0.5 turbulent, 1 laminar.

    In a duct's transition from laminar to turbulent flow it is less than 0.5.

    Raises:
        ValueError: The pressure is not above 0.
    """
    require_positive("pressure", differential_pa, "Pa")
    step = math.exp(_LOG_STEP)
    above = element.airflow_l_min(differential_pa * step, air)
    below = element.airflow_l_min(differential_pa / step, air)
    return math.log(above / below) / (2.0 * _LOG_STEP)


def sensitivity_l_min_per_pa(element: FlowElement, differential_pa: float, air: AirState) -> float:
    """Return dQ/dΔp (L/min per Pa) at a pressure (Pa, > 0).

    Raises:
        ValueError: The pressure is not above 0: at 0 an orifice has no finite slope.
    """
    exponent = local_exponent(element, differential_pa, air)
    return exponent * element.airflow_l_min(differential_pa, air) / differential_pa


def zero_needed_pa(
    element: FlowElement, airflow_l_min: float, air: AirState, relative: float
) -> float:
    """Return the zero error (Pa) that alone falsifies a flow by a part of it.

    Args:
        element: The flow element.
        airflow_l_min: Airflow at which to look (L/min, > 0).
        air: Air at the element.
        relative: Permitted part of the airflow (0.05 is 5 %).

    Raises:
        ValueError: The airflow gives no pressure above 0.
    """
    differential_pa = element.differential_pa(airflow_l_min, air)
    return relative * differential_pa / local_exponent(element, differential_pa, air)
