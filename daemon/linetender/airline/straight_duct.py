"""A straight round duct as flow element: Darcy and Weisbach between two taps."""

import math
from dataclasses import dataclass, replace

from linetender.airline.air_state import AirState
from linetender.airline.bracketed_root import root_between
from linetender.airline.flow_element import Contribution, Flag, FlagKind, Source
from linetender.airline.friction_factor import (
    LAMINAR_UP_TO,
    TURBULENT_FROM,
    airflow_at_reynolds_l_min,
    airflow_at_velocity_l_min,
    colebrook,
    friction_factor,
    is_transition,
    reynolds,
    velocity_pressure_pa,
)
from linetender.airline.quantity_checks import (
    require_finite,
    require_not_negative,
    require_positive,
)

FRICTION_RELATIVE = 0.05
"""Standard uncertainty of a friction factor (chosen; Colebrook is commonly given as ±10 %)."""


@dataclass(frozen=True, slots=True)
class StraightDuct:
    """A straight, round, fully stretched piece of duct between two wall taps.

    Attributes:
        length_m: Distance of the taps (m, > 0).
        diameter_mm: Inside diameter (mm, > 0).
        roughness_mm: ε (mm, >= 0).
        diameter_uncertainty_mm: Standard uncertainty of the diameter (mm; chosen).
        roughness_relative: Standard uncertainty of ε over ε (1, 0 to 1; chosen).
    """

    length_m: float
    diameter_mm: float
    roughness_mm: float = 0.0
    diameter_uncertainty_mm: float = 0.5
    roughness_relative: float = 0.5

    def __post_init__(self) -> None:
        require_positive("duct length", self.length_m, "m")
        require_positive("duct diameter", self.diameter_mm, "mm")
        require_not_negative("duct roughness", self.roughness_mm, "mm")
        require_not_negative("diameter uncertainty", self.diameter_uncertainty_mm, "mm")
        if not 0.0 <= self.roughness_relative <= 1.0:
            raise ValueError(f"roughness uncertainty {self.roughness_relative} is outside 0 to 1")

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the actual airflow (L/min, >= 0) at a pressure (Pa) between the taps.

        Between Re 2300 and 4000 this is one value among those that the pressure may
        mean: see `airflow_range_l_min`, and the flag.

        Raises:
            ValueError: The pressure is not finite.
        """
        require_finite("pressure", differential_pa, "Pa")
        if differential_pa <= 0.0:
            return 0.0
        last_laminar, first_turbulent = self._transition_l_min(air)
        if differential_pa <= self.differential_pa(last_laminar, air):
            return self._laminar_airflow_l_min(differential_pa, air)
        if differential_pa >= self.differential_pa(first_turbulent, air):
            return self._turbulent_airflow_l_min(differential_pa, air)
        return root_between(
            lambda flow: self.differential_pa(flow, air) - differential_pa,
            last_laminar,
            first_turbulent,
        )

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) between the taps at an airflow (L/min).

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        if airflow_l_min <= 0.0:
            return 0.0
        number = reynolds(airflow_l_min, self.diameter_mm, air)
        if number <= LAMINAR_UP_TO:
            return self.laminar_pa(airflow_l_min, air)
        return self._darcy_pa(friction_factor(number, self._relative_roughness), airflow_l_min, air)

    def laminar_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa) at an airflow (L/min) if it is laminar (Hagen, Poiseuille)."""
        return airflow_l_min / self._laminar_airflow_l_min(1.0, air)

    def turbulent_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa) at an airflow (L/min, > 0) if it is turbulent."""
        number = reynolds(airflow_l_min, self.diameter_mm, air)
        return self._darcy_pa(colebrook(number, self._relative_roughness), airflow_l_min, air)

    def airflow_range_l_min(self, differential_pa: float, air: AirState) -> tuple[float, float]:
        """Return the least and the greatest airflow (L/min) that a pressure (Pa) may mean.

        They differ where the flow may be laminar or turbulent: a duct's pressure does
        not tell one airflow there.

        Raises:
            ValueError: The pressure is not finite.
        """
        airflow = self.airflow_l_min(differential_pa, air)
        if not is_transition(reynolds(airflow, self.diameter_mm, air)):
            return airflow, airflow
        last_laminar, first_turbulent = self._transition_l_min(air)
        if_turbulent = self._turbulent_airflow_l_min(differential_pa, air)
        if_laminar = self._laminar_airflow_l_min(differential_pa, air)
        return max(last_laminar, if_turbulent), min(first_turbulent, if_laminar)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return whether an airflow (L/min) lies where laminar passes into turbulent."""
        number = reynolds(airflow_l_min, self.diameter_mm, air)
        if not is_transition(number):
            return ()
        text = (
            f"Reynolds number {number:.0f} is between {LAMINAR_UP_TO:.0f} and "
            f"{TURBULENT_FROM:.0f}: one pressure may mean more than one airflow"
        )
        return (Flag(FlagKind.TRANSITION, text),)

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return friction, dimensions and transition (L/min, standard)."""
        differential_pa = self.differential_pa(airflow_l_min, air)
        low, high = self.airflow_range_l_min(differential_pa, air)
        return (
            Contribution(Source.COEFFICIENT, self._by_friction_l_min(differential_pa, air)),
            Contribution(Source.DIMENSIONS, self._by_dimensions_l_min(differential_pa, air)),
            # Anywhere between the two: rectangular, half the width over √3.
            Contribution(Source.TRANSITION, (high - low) / 2.0 / math.sqrt(3.0)),
        )

    @property
    def _relative_roughness(self) -> float:
        return self.roughness_mm / self.diameter_mm

    def _transition_l_min(self, air: AirState) -> tuple[float, float]:
        return (
            airflow_at_reynolds_l_min(LAMINAR_UP_TO, self.diameter_mm, air),
            airflow_at_reynolds_l_min(TURBULENT_FROM, self.diameter_mm, air),
        )

    def _darcy_pa(self, factor: float, airflow_l_min: float, air: AirState) -> float:
        head = velocity_pressure_pa(airflow_l_min, self.diameter_mm, air)
        return factor * self.length_m / (self.diameter_mm * 1e-3) * head

    def _laminar_airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Hagen and Poiseuille: V = Δp·D²/(32 μ L)."""
        diameter_m = self.diameter_mm * 1e-3
        velocity = differential_pa * diameter_m**2 / (32.0 * air.viscosity_pa_s * self.length_m)
        return airflow_at_velocity_l_min(velocity, self.diameter_mm)

    def _turbulent_airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Colebrook's formula solved for the velocity: √f·V is known from the pressure."""
        diameter_m = self.diameter_mm * 1e-3
        root = math.sqrt(2.0 * diameter_m * differential_pa / (air.density_kg_m3 * self.length_m))
        smooth = 2.51 * air.viscosity_pa_s / (air.density_kg_m3 * diameter_m * root)
        inside = self._relative_roughness / 3.7 + smooth
        # Far below Re 2300 the formula would turn negative; there it is not asked.
        velocity = max(0.0, -2.0 * root * math.log10(inside))
        return airflow_at_velocity_l_min(velocity, self.diameter_mm)

    def _by_friction_l_min(self, differential_pa: float, air: AirState) -> float:
        """A factor that is too small by a part acts as a pressure greater by that part."""
        above = self.airflow_l_min(differential_pa * (1.0 + FRICTION_RELATIVE), air)
        below = self.airflow_l_min(differential_pa * (1.0 - FRICTION_RELATIVE), air)
        return (above - below) / 2.0

    def _by_dimensions_l_min(self, differential_pa: float, air: AirState) -> float:
        off_mm = self.diameter_uncertainty_mm
        off_roughness_mm = self.roughness_relative * self.roughness_mm
        wider = replace(self, diameter_mm=self.diameter_mm + off_mm)
        narrower = replace(self, diameter_mm=self.diameter_mm - off_mm)
        smoother = replace(self, roughness_mm=self.roughness_mm - off_roughness_mm)
        rougher = replace(self, roughness_mm=self.roughness_mm + off_roughness_mm)
        pairs = ((wider, narrower), (smoother, rougher))
        halves = [
            (more.airflow_l_min(differential_pa, air) - less.airflow_l_min(differential_pa, air))
            / 2.0
            for more, less in pairs
        ]
        return math.hypot(*halves)
