"""An airflow with its standard uncertainty, listed by part, and its flags.

Each part is half the difference between the flows with one input raised and lowered
by its standard uncertainty (JCGM 100:2008, GUM, 5.1.3 note 2). Unlike a slope this
stays finite at a pressure near 0, where an orifice's slope does not. The inputs are taken
as independent, and the parts are added in squares (GUM, equation 10).
"""

import math
from dataclasses import dataclass, replace

from linetender.airline.air_density import is_within_stated_range
from linetender.airline.air_state import AirState, air_at
from linetender.airline.flow_element import Contribution, Flag, FlagKind, FlowElement, Source
from linetender.airline.pressure_sensor import PressureSensor
from linetender.airline.quantity_checks import require_not_negative


@dataclass(frozen=True, slots=True)
class AirUncertainty:
    """Standard uncertainties of what is known of the air.

    The defaults hold where only altitude and season are known (chosen): ±10 °C and
    ±3 % of pressure as limits of a rectangular distribution, and any humidity.

    Attributes:
        temperature_c: Of the temperature (°C, >= 0).
        pressure_pa: Of the absolute pressure (Pa, >= 0).
        humidity_percent: Of the relative humidity (%, >= 0).
    """

    temperature_c: float = 5.8
    pressure_pa: float = 1750.0
    humidity_percent: float = 29.0

    def __post_init__(self) -> None:
        require_not_negative("temperature uncertainty", self.temperature_c, "°C")
        require_not_negative("pressure uncertainty", self.pressure_pa, "Pa")
        require_not_negative("humidity uncertainty", self.humidity_percent, "%")


@dataclass(frozen=True, slots=True)
class FlowEstimate:
    """What a pressure says about the airflow.

    Attributes:
        airflow_l_min: Actual airflow at the element (L/min, >= 0).
        differential_pa: The pressure behind it (Pa).
        contributions: The uncertainty budget, part by part.
        flags: Every limit of validity that the result lies outside.
    """

    airflow_l_min: float
    differential_pa: float
    contributions: tuple[Contribution, ...]
    flags: tuple[Flag, ...]

    @property
    def standard_uncertainty_l_min(self) -> float:
        """Combined standard uncertainty of the airflow (L/min)."""
        return math.hypot(*(part.l_min for part in self.contributions))

    @property
    def relative_uncertainty(self) -> float:
        """Combined standard uncertainty over the airflow (1); inf without airflow."""
        if self.airflow_l_min == 0.0:
            return math.inf
        return self.standard_uncertainty_l_min / self.airflow_l_min

    def interval_l_min(self, coverage_factor: float = 2.0) -> tuple[float, float]:
        """Return the airflow less and plus k standard uncertainties (L/min), never below 0."""
        half = coverage_factor * self.standard_uncertainty_l_min
        return max(0.0, self.airflow_l_min - half), self.airflow_l_min + half


def flow_estimate(
    element: FlowElement,
    differential_pa: float,
    air: AirState,
    sensor: PressureSensor,
    air_uncertainty: AirUncertainty | None = None,
) -> FlowEstimate:
    """Return the airflow that a pressure means, with uncertainty and flags.

    Args:
        element: The flow element.
        differential_pa: True pressure across it (Pa), a thermal sensor's reading corrected.
        air: Air at the element.
        sensor: The pressure sensor.
        air_uncertainty: How well the air is known; None for the defaults.

    Raises:
        ValueError: The pressure is not finite, or outside what the element can compute.
    """
    airflow = element.airflow_l_min(differential_pa, air)
    contributions = (
        *_of_sensor(element, differential_pa, air, sensor),
        *element.own_contributions(airflow, air),
        *_of_air(element, differential_pa, air, sensor, air_uncertainty or AirUncertainty()),
    )
    flags = (
        *element.flags(airflow, air),
        *_flags_of_sensor(differential_pa, sensor),
        *_flags_of_air(air),
    )
    return FlowEstimate(airflow, differential_pa, contributions, flags)


def _of_sensor(
    element: FlowElement, differential_pa: float, air: AirState, sensor: PressureSensor
) -> tuple[Contribution, ...]:
    # A reading below 0 with air flowing as it should is 0 and an error of the zero.
    at_least_pa = max(0.0, differential_pa)

    def half_difference(pressure_pa: float) -> float:
        above = element.airflow_l_min(at_least_pa + pressure_pa, air)
        below = element.airflow_l_min(at_least_pa - pressure_pa, air)
        return (above - below) / 2.0

    return (
        Contribution(Source.SENSOR_ZERO, half_difference(sensor.zero_pa)),
        Contribution(Source.SENSOR_SPAN, half_difference(sensor.span_relative * at_least_pa)),
    )


def _of_air(
    element: FlowElement,
    differential_pa: float,
    air: AirState,
    sensor: PressureSensor,
    doubt: AirUncertainty,
) -> tuple[Contribution, ...]:
    t, p, rh = air.temperature_c, air.pressure_pa, air.humidity_percent
    drier, damper = max(0.0, rh - doubt.humidity_percent), min(100.0, rh + doubt.humidity_percent)
    pairs = {
        Source.AIR_TEMPERATURE: (t - doubt.temperature_c, t + doubt.temperature_c, p, p, rh, rh),
        Source.AIR_PRESSURE: (t, t, p - doubt.pressure_pa, p + doubt.pressure_pa, rh, rh),
        Source.AIR_HUMIDITY: (t, t, p, p, drier, damper),
    }
    here = air_at(t, p, rh)
    parts = []
    for source, (t_low, t_high, p_low, p_high, rh_low, rh_high) in pairs.items():
        flows = []
        for there in (air_at(t_low, p_low, rh_low), air_at(t_high, p_high, rh_high)):
            # The same reading of a thermal sensor is less pressure in denser air.
            seen_pa = differential_pa * (p / there.pressure_pa if sensor.is_thermal else 1.0)
            flows.append(element.airflow_l_min(seen_pa, _moved(air, here, there)))
        parts.append(Contribution(source, abs(flows[1] - flows[0]) / 2.0))
    return tuple(parts)


def _moved(air: AirState, here: AirState, there: AirState) -> AirState:
    """Carry the change between two computed states over to the state as given."""
    return replace(
        there,
        density_kg_m3=air.density_kg_m3 * there.density_kg_m3 / here.density_kg_m3,
        viscosity_pa_s=air.viscosity_pa_s * there.viscosity_pa_s / here.viscosity_pa_s,
    )


def _flags_of_sensor(differential_pa: float, sensor: PressureSensor) -> tuple[Flag, ...]:
    flags = []
    if abs(differential_pa) > sensor.range_pa:
        text = f"{differential_pa:.4g} Pa is past the sensor's range of {sensor.range_pa:.4g} Pa"
        flags.append(Flag(FlagKind.SENSOR_RANGE, text))
    if differential_pa < -2.0 * sensor.zero_pa:
        text = f"{differential_pa:.3g} Pa is below 0: tubes swapped, or air flows backwards"
        flags.append(Flag(FlagKind.REVERSED, text))
    elif differential_pa < 2.0 * sensor.zero_pa:
        text = (
            f"{differential_pa:.3g} Pa drowns in the sensor's zero: "
            f"two standard uncertainties are {2.0 * sensor.zero_pa:.3g} Pa"
        )
        flags.append(Flag(FlagKind.DROWNED, text))
    return tuple(flags)


def _flags_of_air(air: AirState) -> tuple[Flag, ...]:
    if is_within_stated_range(air.temperature_c, air.pressure_pa):
        return ()
    text = (
        f"{air.temperature_c:.1f} °C, {air.pressure_pa:.0f} Pa is outside 15 to 27 °C, "
        "60 000 to 110 000 Pa, for which the density formula is stated"
    )
    return (Flag(FlagKind.TEMPERATURE, text),)
