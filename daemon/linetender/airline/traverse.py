"""Velocity traverse of a round duct: where to measure, and the airflow from it."""

import math
import statistics
from collections.abc import Sequence

from linetender.airline.friction_factor import airflow_at_velocity_l_min
from linetender.airline.quantity_checks import require_not_negative

_NEAR_HALF = {
    6: (0.032, 0.135, 0.321),
    8: (0.021, 0.117, 0.184, 0.345),
    10: (0.019, 0.077, 0.153, 0.217, 0.361),
}

POINT_COUNTS = tuple(_NEAR_HALF)
"""Numbers of points on a diameter for which the depths are known."""


def depths(points: int) -> tuple[float, ...]:
    """Return the log-linear depths y/D (0 to 1) of the points on one diameter.

    Args:
        points: How many (6, 8 or 10).

    Raises:
        ValueError: Another number.

    Source:
        ISO 3966, log-linear method.
    """
    if points not in _NEAR_HALF:
        raise ValueError(f"{points} points: a traverse has {', '.join(map(str, POINT_COUNTS))}")
    near = _NEAR_HALF[points]
    return near + tuple(round(1.0 - depth, 3) for depth in reversed(near))


def traverse_airflow_l_min(velocities_m_s: Sequence[float], diameter_mm: float) -> float:
    """Return the airflow (L/min) from the velocities at the points of a traverse.

    Velocities are averaged, never velocity pressures: their mean would read too much.

    Args:
        velocities_m_s: Velocity at each point (m/s, >= 0), all diameters together.
        diameter_mm: Inside diameter (mm, > 0).

    Raises:
        ValueError: There is no velocity, or one is negative or not finite.
    """
    if not velocities_m_s:
        raise ValueError("a traverse without a velocity")
    for velocity in velocities_m_s:
        require_not_negative("velocity", velocity, "m/s")
    return airflow_at_velocity_l_min(statistics.fmean(velocities_m_s), diameter_mm)


def scatter_relative(velocities_m_s: Sequence[float]) -> float:
    """Return the standard deviation of the velocities over their mean (1).

    Raises:
        ValueError: There are fewer than two, or their mean is not above 0.
    """
    if len(velocities_m_s) < 2:
        raise ValueError("the scatter of fewer than two velocities")
    mean = statistics.fmean(velocities_m_s)
    if not 0.0 < mean < math.inf:
        raise ValueError(f"mean velocity {mean} m/s is not above 0")
    return statistics.stdev(velocities_m_s) / mean
