"""Pitot-static tube: velocity from velocity pressure, flow from velocity and section."""

import math
from dataclasses import dataclass

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Contribution, Flag, FlagKind, Source
from linetender.airline.friction_factor import (
    TURBULENT_FROM,
    airflow_at_velocity_l_min,
    reynolds,
    velocity_m_s,
)
from linetender.airline.quantity_checks import (
    require_finite,
    require_not_negative,
    require_positive,
)

LEAST_TIP_REYNOLDS = 200.0
"""Reynolds number of the tube's own nose from which its factor is 1 (ISO 3966, from memory)."""

CENTRE_TO_MEAN_TURBULENT = 0.817
"""Mean velocity over that on the axis, for a 1/7-power profile: 2·49/(8·15)."""


@dataclass(frozen=True, slots=True)
class Pitot:
    """A pitot-static tube in a round pipe.

    Attributes:
        pipe_mm: Inside diameter of the pipe (mm, > 0).
        mean_over_measured: Mean velocity over the velocity at the tube (1, > 0): 1 for
            an averaging tube, `CENTRE_TO_MEAN_TURBULENT` on the axis in turbulent flow.
        mean_uncertainty: Standard uncertainty of that ratio over the ratio (1; chosen).
        tip_mm: Outside diameter of the tube's nose (mm, > 0; chosen).
        pipe_uncertainty_mm: Standard uncertainty of the pipe's diameter (mm; chosen).
    """

    pipe_mm: float
    mean_over_measured: float = 1.0
    mean_uncertainty: float = 0.03
    tip_mm: float = 4.0
    pipe_uncertainty_mm: float = 0.5

    def __post_init__(self) -> None:
        require_positive("pipe", self.pipe_mm, "mm")
        require_positive("ratio of mean to measured velocity", self.mean_over_measured, "")
        require_not_negative("uncertainty of the mean", self.mean_uncertainty, "of flow")
        require_positive("tip", self.tip_mm, "mm")
        require_not_negative("pipe uncertainty", self.pipe_uncertainty_mm, "mm")

    def airflow_l_min(self, differential_pa: float, air: AirState) -> float:
        """Return the actual airflow (L/min, >= 0) at a velocity pressure (Pa).

        Raises:
            ValueError: The pressure is not finite.
        """
        mean = self.mean_over_measured * measured_velocity_m_s(differential_pa, air)
        return airflow_at_velocity_l_min(mean, self.pipe_mm)

    def differential_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the velocity pressure (Pa, >= 0) at an airflow (L/min); 0 for no flow.

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        if airflow_l_min <= 0.0:
            return 0.0
        measured = velocity_m_s(airflow_l_min, self.pipe_mm) / self.mean_over_measured
        return 0.5 * air.density_kg_m3 * measured**2

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return where profile or tube are outside what the formula holds for."""
        flags = []
        number = reynolds(airflow_l_min, self.pipe_mm, air)
        tip = number * self.tip_mm / self.pipe_mm
        if number < TURBULENT_FROM:
            text = (
                f"Reynolds number {number:.0f} is under {TURBULENT_FROM:.0f}: the profile, "
                "and with it the mean velocity over the measured one, is not known"
            )
            flags.append(Flag(FlagKind.TRANSITION, text))
        if tip < LEAST_TIP_REYNOLDS:
            text = f"the tube's own Reynolds number {tip:.0f} is under {LEAST_TIP_REYNOLDS:.0f}"
            flags.append(Flag(FlagKind.REYNOLDS, text))
        return tuple(flags)

    def own_contributions(self, airflow_l_min: float, air: AirState) -> tuple[Contribution, ...]:
        """Return profile and pipe section (L/min, standard)."""
        section = 2.0 * self.pipe_uncertainty_mm / self.pipe_mm
        return (
            Contribution(Source.COEFFICIENT, airflow_l_min * self.mean_uncertainty),
            Contribution(Source.DIMENSIONS, airflow_l_min * section),
        )


def measured_velocity_m_s(differential_pa: float, air: AirState) -> float:
    """Return the velocity (m/s, >= 0) at the tube: V = √(2Δp/ρ).

    Raises:
        ValueError: The pressure is not finite.
    """
    require_finite("velocity pressure", differential_pa, "Pa")
    return math.sqrt(2.0 * max(0.0, differential_pa) / air.density_kg_m3)
