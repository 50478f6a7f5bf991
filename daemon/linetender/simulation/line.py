"""The duct, the hose and the hood: from fan speed to airflow and hood-end pressure."""

import math

from linetender.airline.fitted_element import differential_pa

_DUCT_SHARE = 0.1723
"""Velocity head in the duct over all the pressure that the fan gives, at normal flow.

Chosen, for an invented line, so that a duct half crushed carries 77 % of the flow.
"""


class Line:
    """A line whose losses grow with the square of flow, as fan pressure does with speed.

    Then flow is proportional to fan speed, and a crushed duct takes the same share of
    it at every speed. The pressure at the hood end is the drop over hose and hood, by
    their own power law.

    Args:
        normal_pa: Hood-end pressure against the room at full speed (Pa, > 0).
        normal_l_min: Airflow at full speed (L/min, > 0).
        exponent: n of Q = k·Δp^n of hose and hood (1, 0.5 to 1).
    """

    def __init__(self, normal_pa: float, normal_l_min: float, exponent: float) -> None:
        self._normal_l_min = normal_l_min
        self._exponent = exponent
        self._k_l_min = normal_l_min / normal_pa**exponent
        self._open = 1.0

    def crush(self, fraction: float) -> None:
        """Press the duct together.

        Args:
            fraction: Part of its area that is closed: 0 is a sound duct, 1 is shut.

        Raises:
            ValueError: The fraction is outside 0 to 1.
        """
        if not 0.0 <= fraction <= 1.0:
            raise ValueError(f"a crushed part of {fraction} is outside 0 to 1")
        self._open = 1.0 - fraction

    def airflow_l_min(self, fan_speed: float) -> float:
        """Return the airflow to the hood (L/min) at a fan speed (1 is full)."""
        if self._open == 0.0:
            return 0.0
        crushed = math.sqrt(1.0 + _DUCT_SHARE * _loss_of(self._open))
        return self._normal_l_min * fan_speed / crushed

    def hood_pressure_pa(self, fan_speed: float) -> float:
        """Return the steady pressure at the hood end against the room (Pa) at a fan speed."""
        return differential_pa(self.airflow_l_min(fan_speed), self._k_l_min, self._exponent)


def _loss_of(open_fraction: float) -> float:
    """Loss of a narrow place in velocity heads of the whole duct (1).

    Borda and Carnot's sudden enlargement behind a jet that contracts by Weisbach's
    0.62 + 0.38·a³ (both from memory).
    """
    jet = open_fraction * (0.62 + 0.38 * open_fraction**3)
    return (1.0 / jet - 1.0) ** 2
