"""Where the air leaves the hood: the gap at neck and shoulders, and any valve."""

from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Flag
from linetender.airline.quantity_checks import require_finite, require_positive
from linetender.airline.trade_units import M3_S_PER_L_MIN

GAP_COEFFICIENT = 0.62
"""Discharge coefficient of a gap with sharp edges (common practice: 0.6 to 0.65)."""


@dataclass(frozen=True, slots=True)
class HoodOutlet:
    """A gap of the hood through which the air passes into the room.

    Attributes:
        open_cm2: Free area (cm², > 0).
        coefficient: Discharge coefficient (1, over 0 to 1).
        name: What people call it.
    """

    open_cm2: float
    coefficient: float = GAP_COEFFICIENT
    name: str = "hood outlet"

    def __post_init__(self) -> None:
        require_positive("open area of the hood", self.open_cm2, "cm²")
        if not 0.0 < self.coefficient <= 1.0:
            raise ValueError(f"discharge coefficient {self.coefficient} is outside 0 to 1")

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) of the hood over the room at an airflow (L/min).

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        area = self.coefficient * self.open_cm2 * 1e-4
        speed = max(0.0, airflow_l_min) * M3_S_PER_L_MIN / area
        return 0.5 * air.density_kg_m3 * speed**2

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return nothing: the formula has no limit that an air line could reach."""
        return ()
