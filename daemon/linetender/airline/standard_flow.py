"""Flow stated in standard litres, never without the conditions that make them standard.

Everywhere else `airflow_l_min` means actual litres: the volume that the air has where
it flows. Actual litres at the hood are what the wearer breathes and what alarms use.
"""

from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.quantity_checks import require_finite, require_positive

_KELVIN_AT_0_C = 273.15


@dataclass(frozen=True, slots=True)
class ReferenceConditions:
    """What an author calls standard: 0, 15, 20, 21.1 and 25 °C are all in use.

    Attributes:
        temperature_c: Temperature (°C, above -273.15).
        pressure_pa: Absolute pressure (Pa, > 0).
    """

    temperature_c: float
    pressure_pa: float

    def __post_init__(self) -> None:
        require_positive("reference temperature", self.temperature_c + _KELVIN_AT_0_C, "K")
        require_positive("reference pressure", self.pressure_pa, "Pa")


@dataclass(frozen=True, slots=True)
class StandardFlow:
    """A flow in litres per minute at stated reference conditions.

    Attributes:
        standard_l_min: Flow (L/min at the reference conditions).
        reference: Those conditions.
    """

    standard_l_min: float
    reference: ReferenceConditions

    def __post_init__(self) -> None:
        require_finite("standard flow", self.standard_l_min, "L/min")

    def actual_l_min(self, air: AirState) -> float:
        """Return the same flow as actual litres per minute of this air (ideal gas)."""
        return self.standard_l_min / _standard_per_actual(air, self.reference)


def standard_flow(
    actual_l_min: float, air: AirState, reference: ReferenceConditions
) -> StandardFlow:
    """Return a flow of actual litres (L/min) of this air in standard litres (ideal gas).

    Raises:
        ValueError: The flow is not a finite number.
    """
    return StandardFlow(actual_l_min * _standard_per_actual(air, reference), reference)


def _standard_per_actual(air: AirState, reference: ReferenceConditions) -> float:
    by_temperature = (reference.temperature_c + _KELVIN_AT_0_C) / (
        air.temperature_c + _KELVIN_AT_0_C
    )
    return air.pressure_pa / reference.pressure_pa * by_temperature
