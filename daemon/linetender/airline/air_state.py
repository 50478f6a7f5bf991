"""The air at one place of the line: temperature, pressure, humidity, and what follows."""

from dataclasses import dataclass

from linetender.airline.air_density import density_kg_m3
from linetender.airline.quantity_checks import require_finite, require_positive
from linetender.airline.standard_atmosphere import pressure_pa as standard_pressure_pa
from linetender.airline.viscosity import viscosity_pa_s

ROOM_HUMIDITY_PERCENT = 50.0
"""Chosen where humidity is not measured: 0 to 100 % at 20 °C is ±0.4 % of density."""


@dataclass(frozen=True, slots=True)
class AirState:
    """Air as it is where it flows. Make one with `air_at` or `air_at_altitude`.

    Density and viscosity are fields of their own so that a worked example in another
    fluid can be put in.

    Attributes:
        temperature_c: Temperature (°C).
        pressure_pa: Absolute pressure (Pa, > 0).
        humidity_percent: Relative humidity (%, 0 to 100).
        density_kg_m3: Density (kg/m³, > 0).
        viscosity_pa_s: Dynamic viscosity (Pa·s, > 0).
    """

    temperature_c: float
    pressure_pa: float
    humidity_percent: float
    density_kg_m3: float
    viscosity_pa_s: float

    def __post_init__(self) -> None:
        require_finite("air temperature", self.temperature_c, "°C")
        require_positive("air pressure", self.pressure_pa, "Pa")
        require_positive("air density", self.density_kg_m3, "kg/m³")
        require_positive("air viscosity", self.viscosity_pa_s, "Pa·s")


def air_at(
    temperature_c: float, pressure_pa: float, humidity_percent: float = ROOM_HUMIDITY_PERCENT
) -> AirState:
    """Return moist air, its density by CIPM-2007 and its viscosity by Sutherland.

    Args:
        temperature_c: Temperature (°C, above -273.15).
        pressure_pa: Absolute pressure (Pa, > 0).
        humidity_percent: Relative humidity (%, 0 to 100).

    Raises:
        ValueError: An argument is outside its range, or not a number.
    """
    return AirState(
        temperature_c=temperature_c,
        pressure_pa=pressure_pa,
        humidity_percent=humidity_percent,
        density_kg_m3=density_kg_m3(temperature_c, pressure_pa, humidity_percent),
        viscosity_pa_s=viscosity_pa_s(temperature_c),
    )


def air_at_altitude(
    altitude_m: float, temperature_c: float, humidity_percent: float = ROOM_HUMIDITY_PERCENT
) -> AirState:
    """Return air at the standard pressure of a geometric altitude (m) and a temperature (°C).

    Weather moves the true pressure by some ±3 %.

    Raises:
        ValueError: An argument is outside its range, or not a number.
    """
    return air_at(temperature_c, standard_pressure_pa(altitude_m), humidity_percent)
