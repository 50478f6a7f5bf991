"""Duct or hose: friction, bends and fittings."""

from dataclasses import dataclass
from typing import NamedTuple

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Flag
from linetender.airline.friction_factor import area_m2, velocity_pressure_pa
from linetender.airline.quantity_checks import require_not_negative, require_positive
from linetender.airline.straight_duct import StraightDuct

SMOOTH_BEND_LOSS = 0.33
"""Velocity heads lost in a smooth bend of 90° with a radius of one diameter (from memory)."""

FLEXIBLE_BEND_LOSS = 0.75
"""The same in flexible duct, bent by hand (chosen)."""

EXIT_LOSS = 1.0
"""Velocity heads lost where a duct ends in a room or a hood: all that it has."""

SHARP_ENTRY_LOSS = 0.5
"""Velocity heads lost where a duct begins flush in a wall (common practice)."""


class Roughness(NamedTuple):
    """Roughness of a kind of duct, from and to (mm)."""

    low_mm: float
    high_mm: float


DRAWN_TUBING = Roughness(0.000_46, 0.000_46)
PVC_PIPE = Roughness(0.009, 0.046)
GALVANIZED_SPIRAL = Roughness(0.06, 0.12)
FLEXIBLE_STRETCHED = Roughness(0.09, 0.9)
"""Source: ASHRAE's table of duct roughness factors; its class for flexible duct is 0.9 mm."""

WRINKLED_FILM = Roughness(1.0, 5.0)
"""Thin plastic duct not fully stretched (chosen: fit an effective value where it matters)."""


@dataclass(frozen=True, slots=True)
class Duct:
    """A round duct or hose.

    Attributes:
        name: What people call it.
        length_m: Length (m, > 0).
        diameter_mm: Inside diameter (mm, > 0).
        roughness_mm: ε (mm, >= 0).
        quarter_bends: How many bends of 90° (1, >= 0; half a bend is 0.5).
        loss_per_bend: Velocity heads lost in each (1, >= 0).
        fittings_loss: Velocity heads lost besides, entry and exit for example (1, >= 0).
    """

    name: str
    length_m: float
    diameter_mm: float
    roughness_mm: float = FLEXIBLE_STRETCHED.high_mm
    quarter_bends: float = 0.0
    loss_per_bend: float = FLEXIBLE_BEND_LOSS
    fittings_loss: float = 0.0

    def __post_init__(self) -> None:
        require_positive(f"{self.name}: length", self.length_m, "m")
        require_positive(f"{self.name}: diameter", self.diameter_mm, "mm")
        require_not_negative(f"{self.name}: roughness", self.roughness_mm, "mm")
        require_not_negative(f"{self.name}: number of bends", self.quarter_bends, "")
        require_not_negative(f"{self.name}: loss of a bend", self.loss_per_bend, "velocity heads")
        require_not_negative(f"{self.name}: loss of fittings", self.fittings_loss, "velocity heads")

    @property
    def volume_l(self) -> float:
        """Air that the duct holds (L)."""
        return area_m2(self.diameter_mm) * self.length_m * 1000.0

    def transit_s(self, airflow_l_min: float) -> float:
        """Return how long air takes from one end to the other (s) at an airflow (L/min, > 0).

        Raises:
            ValueError: The airflow is not above 0.
        """
        require_positive("airflow", airflow_l_min, "L/min")
        return self.volume_l / airflow_l_min * 60.0

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the total pressure (Pa, >= 0) lost at an airflow (L/min); 0 for no flow.

        Raises:
            ValueError: The airflow is not finite.
        """
        friction = self._straight.differential_pa(airflow_l_min, air)
        heads = self.quarter_bends * self.loss_per_bend + self.fittings_loss
        head = velocity_pressure_pa(max(0.0, airflow_l_min), self.diameter_mm, air)
        return friction + heads * head

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return whether an airflow (L/min) lies where laminar passes into turbulent."""
        return self._straight.flags(airflow_l_min, air)

    @property
    def _straight(self) -> StraightDuct:
        return StraightDuct(self.length_m, self.diameter_mm, self.roughness_mm)
