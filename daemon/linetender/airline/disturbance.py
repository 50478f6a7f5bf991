"""Pressures that weather adds to a line: buoyancy and wind."""

from typing import NamedTuple

from linetender.airline.air_state import AirState
from linetender.airline.quantity_checks import require_finite, require_not_negative

GRAVITY_M_S2 = 9.806_65

LEE_COEFFICIENT = -0.5
"""Part of the wind's head that sucks at an opening in the lee or along a wall (common
practice, no source): the worst that wind does to an intake, since head-on it blows in."""


class Disturbance(NamedTuple):
    """A pressure from outside.

    Attributes:
        name: What people call it.
        pressure_pa: Pressure in the direction of the flow (Pa): above 0 it helps the
            fan, below it hinders.
    """

    name: str
    pressure_pa: float


def stack_effect_pa(rise_m: float, line_air: AirState, outside_air: AirState) -> float:
    """Return the draught of a line that rises (Pa), as of a chimney.

    Args:
        rise_m: Height of the outlet over the intake (m; below 0 for a line that falls).
        line_air: Air in the line.
        outside_air: Air beside it.

    Returns:
        Above 0 where it helps the flow: warm air in a line that rises. About 0.04 Pa
        per metre and kelvin.
    """
    require_finite("rise", rise_m, "m")
    lighter_kg_m3 = outside_air.density_kg_m3 - line_air.density_kg_m3
    return lighter_kg_m3 * GRAVITY_M_S2 * rise_m


def wind_pressure_pa(wind_m_s: float, air: AirState, coefficient: float = 1.0) -> float:
    """Return the pressure of wind on an opening (Pa).

    Args:
        wind_m_s: Speed of the wind (m/s, >= 0).
        air: The outdoor air.
        coefficient: Part of the velocity head that acts (1): 1 head-on;
            `LEE_COEFFICIENT` in the lee or along a wall.
    """
    require_not_negative("wind", wind_m_s, "m/s")
    require_finite("wind coefficient", coefficient, "")
    return coefficient * 0.5 * air.density_kg_m3 * wind_m_s**2
