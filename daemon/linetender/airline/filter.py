"""Filter: a resistance that grows as it loads."""

import enum
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

from linetender.airline.air_state import AirState
from linetender.airline.flow_element import Flag, FlagKind
from linetender.airline.quantity_checks import (
    require_finite,
    require_not_negative,
    require_positive,
)
from linetender.airline.trade_units import M3_S_PER_L_MIN, M_S_PER_FPM, PA_PER_INCH_OF_WATER

REFERENCE_VISCOSITY_PA_S = 18.13e-6
"""Viscosity to which resistances are stated: dry air of 20 °C."""

LOADED_INDEX = 2.0
"""Resistance over that when new at which a filter is due (rule of thumb, no source)."""

FINAL_PA = PA_PER_INCH_OF_WATER
"""Pressure at which a filter is due whatever its index: 1 inch of water (rule of thumb)."""


class En1822Class(enum.Enum):
    """Filter classes of EN 1822; the value is the least overall efficiency (%)."""

    E10 = 85.0
    E11 = 95.0
    E12 = 99.5
    H13 = 99.95
    H14 = 99.995

    @property
    def penetration(self) -> float:
        """Part of the worst-sized particles that passes (0 to 1)."""
        return 1.0 - self.value / 100.0


class Media(NamedTuple):
    """A clean medium: its resistance at a face velocity.

    Attributes:
        rated_pa: Pressure across it (Pa).
        face_velocity_m_s: Velocity before it at that pressure (m/s).
    """

    rated_pa: float
    face_velocity_m_s: float


HEPA_PANEL = Media(250.0, 0.45)
"""A HEPA panel (from memory); at its rated flow a HEPA filter takes about 300 Pa."""

MERV_13_1_INCH = Media(0.10 * PA_PER_INCH_OF_WATER, 175.0 * M_S_PER_FPM)
MERV_13_2_INCH = Media(0.10 * PA_PER_INCH_OF_WATER, 195.0 * M_S_PER_FPM)
MERV_13_4_INCH = Media(0.10 * PA_PER_INCH_OF_WATER, 260.0 * M_S_PER_FPM)
"""Pleated MERV-13 panels of 1, 2 and 4 inches (a maker's catalogue)."""


@dataclass(frozen=True, slots=True)
class Filter:
    """A filter whose pressure is proportional to flow: fine media are laminar.

    Attributes:
        name: What people call it.
        rated_pa: Pressure across it, clean, at `rated_l_min` (Pa, >= 0).
        rated_l_min: Airflow at that pressure (L/min, > 0).
        loading: Resistance over that when new (1, >= 1).
    """

    name: str
    rated_pa: float
    rated_l_min: float
    loading: float = 1.0

    def __post_init__(self) -> None:
        require_not_negative(f"{self.name}: rated pressure", self.rated_pa, "Pa")
        require_positive(f"{self.name}: rated airflow", self.rated_l_min, "L/min")
        require_finite(f"{self.name}: loading", self.loading, "")
        if self.loading < 1.0:
            raise ValueError(f"{self.name}: loading {self.loading} is below 1, a new filter")

    @classmethod
    def panel(cls, name: str, media: Media, width_mm: float, height_mm: float) -> Self:
        """Make a filter from a medium and the size of its face (mm)."""
        require_positive(f"{name}: width", width_mm, "mm")
        require_positive(f"{name}: height", height_mm, "mm")
        face_m2 = width_mm * height_mm * 1e-6
        return cls(name, media.rated_pa, media.face_velocity_m_s * face_m2 / M3_S_PER_L_MIN)

    def loaded(self, loading: float) -> Self:
        """Return the same filter at another loading (1, >= 1)."""
        return replace(self, loading=loading)

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        """Return the pressure (Pa, >= 0) across it at an airflow (L/min); 0 for no flow.

        Raises:
            ValueError: The airflow is not finite.
        """
        require_finite("airflow", airflow_l_min, "L/min")
        per_l_min = self.rated_pa / self.rated_l_min * self.loading
        return per_l_min * max(0.0, airflow_l_min) * air.viscosity_pa_s / REFERENCE_VISCOSITY_PA_S

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        """Return whether the airflow (L/min) is past twice the rated one (chosen).

        Fine media stay linear there, but a maker's single figure says nothing of it.
        """
        if airflow_l_min <= 2.0 * self.rated_l_min:
            return ()
        text = f"{airflow_l_min:.0f} L/min is past twice the rated {self.rated_l_min:.0f} L/min"
        return (Flag(FlagKind.EXTRAPOLATED, text),)


def loading_index(
    differential_pa: float, airflow_l_min: float, air: AirState, clean: Filter
) -> float:
    """Return a filter's resistance over that when new (1), from pressure and airflow.

    The pressure alone tells less than the truth: as a filter loads, the flow falls.

    Args:
        differential_pa: Pressure across the filter (Pa).
        airflow_l_min: Actual airflow through it (L/min, > 0).
        air: The air.
        clean: The filter when new.

    Raises:
        ValueError: The airflow is not above 0, or the new filter has no resistance.
    """
    require_positive("airflow", airflow_l_min, "L/min")
    expected_pa = clean.loaded(1.0).pressure_drop_pa(airflow_l_min, air)
    require_positive("pressure of the new filter", expected_pa, "Pa")
    return differential_pa / expected_pa


def final_pa(clean_pa: float) -> float:
    """Return the pressure (Pa) at which a filter is due: twice when new, 249 Pa at most."""
    return min(LOADED_INDEX * clean_pa, FINAL_PA)
