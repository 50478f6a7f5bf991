"""Fan: pressure over airflow, at any speed and in any air."""

import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from linetender.airline.quantity_checks import require_not_negative, require_positive
from linetender.airline.trade_units import M3_S_PER_L_MIN

REFERENCE_DENSITY_KG_M3 = 1.2
"""Density of the air to which fan curves are stated (the trade's standard air)."""

TYPICAL_EFFICIENCY = 0.25
EFFICIENCY_RANGE = (0.15, 0.35)
"""Greatest air power of a small inline fan over its electrical power (1).

Common practice, no source. The pressure computed from it is as uncertain as this range.
"""

_PEAK_OF_PARABOLA = 2.0 / (3.0 * math.sqrt(3.0))
"""Greatest of x·(1 - x²): where a parabolic fan's air power peaks, at x = 1/√3."""


class FanCurve(Protocol):
    """Pressure of a fan at full speed in air of 1.2 kg/m³."""

    @property
    def shut_off_pa(self) -> float:
        """Pressure without flow (Pa)."""

    @property
    def last_l_min(self) -> float:
        """Greatest airflow for which the curve is known (L/min)."""

    def pressure_pa(self, airflow_l_min: float) -> float:
        """Return the pressure (Pa) at an airflow (L/min, 0 to `last_l_min`)."""


@dataclass(frozen=True, slots=True)
class ParabolicCurve:
    """A fan of which only two figures are known: p = p0·(1 - (Q/Q_free)²).

    Attributes:
        free_l_min: Airflow without any resistance (L/min, > 0).
        shut_off_pa: Pressure without flow (Pa, > 0).
    """

    free_l_min: float
    shut_off_pa: float

    def __post_init__(self) -> None:
        require_positive("free airflow of the fan", self.free_l_min, "L/min")
        require_positive("shut-off pressure of the fan", self.shut_off_pa, "Pa")

    @property
    def last_l_min(self) -> float:
        """The free airflow (L/min)."""
        return self.free_l_min

    def pressure_pa(self, airflow_l_min: float) -> float:
        """Return the pressure (Pa) at an airflow (L/min)."""
        return self.shut_off_pa * (1.0 - (airflow_l_min / self.free_l_min) ** 2)


class CurvePoint(NamedTuple):
    """One point of a maker's curve: airflow (L/min) and static pressure (Pa)."""

    airflow_l_min: float
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class PointCurve:
    """A maker's curve, read off at points and joined by straight lines.

    Attributes:
        points: At least two, the first at no flow; flow rises, pressure falls.

    Raises:
        ValueError: The points are not such a curve; the message names the point and why.
    """

    points: tuple[CurvePoint, ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise ValueError(f"a fan curve needs at least 2 points, not {len(self.points)}")
        for point in self.points:
            require_not_negative("airflow of a fan curve", point.airflow_l_min, "L/min")
            require_not_negative("pressure of a fan curve", point.pressure_pa, "Pa")
        if self.points[0].airflow_l_min != 0.0:
            raise ValueError(
                f"the fan curve begins at {self.points[0].airflow_l_min} L/min: "
                "give its shut-off pressure as the first point, at 0 L/min"
            )
        for before, after in itertools.pairwise(self.points):
            _require_falling(before, after)

    @property
    def shut_off_pa(self) -> float:
        """Pressure without flow (Pa)."""
        return self.points[0].pressure_pa

    @property
    def last_l_min(self) -> float:
        """Airflow of the last point (L/min)."""
        return self.points[-1].airflow_l_min

    def pressure_pa(self, airflow_l_min: float) -> float:
        """Return the pressure (Pa) at an airflow (L/min).

        Raises:
            ValueError: The airflow is outside the points.
        """
        for before, after in itertools.pairwise(self.points):
            if before.airflow_l_min <= airflow_l_min <= after.airflow_l_min:
                width = after.airflow_l_min - before.airflow_l_min
                way = (airflow_l_min - before.airflow_l_min) / width
                return (1.0 - way) * before.pressure_pa + way * after.pressure_pa
        raise ValueError(
            f"{airflow_l_min} L/min is outside the fan curve, 0 to {self.last_l_min} L/min"
        )


@dataclass(frozen=True, slots=True)
class ScaledCurve:
    """A curve with all its pressures multiplied: a stronger or weaker fan of its kind.

    Attributes:
        curve: The curve.
        factor: Its pressures are multiplied by this (1, > 0).
    """

    curve: FanCurve
    factor: float

    def __post_init__(self) -> None:
        require_positive("factor of a fan's pressure", self.factor, "")

    @property
    def shut_off_pa(self) -> float:
        """Pressure without flow (Pa)."""
        return self.factor * self.curve.shut_off_pa

    @property
    def last_l_min(self) -> float:
        """Greatest airflow for which the curve is known (L/min)."""
        return self.curve.last_l_min

    def pressure_pa(self, airflow_l_min: float) -> float:
        """Return the pressure (Pa) at an airflow (L/min)."""
        return self.factor * self.curve.pressure_pa(airflow_l_min)


class Affinity(NamedTuple):
    """By how much flow, pressure and shaft power change with speed and density (1)."""

    airflow: float
    pressure: float
    power: float


def affinity(speed_ratio: float, density_ratio: float = 1.0) -> Affinity:
    """Return the fan laws: Q as N, p as ρ·N², P as ρ·N³.

    Args:
        speed_ratio: Speed over the speed of the curve (1, > 0).
        density_ratio: Density over the density of the curve (1, > 0).

    Raises:
        ValueError: A ratio is not above 0.
    """
    require_positive("speed ratio", speed_ratio, "")
    require_positive("density ratio", density_ratio, "")
    return Affinity(
        airflow=speed_ratio,
        pressure=density_ratio * speed_ratio**2,
        power=density_ratio * speed_ratio**3,
    )


@dataclass(frozen=True, slots=True)
class Fan:
    """A fan with its curve, which holds at full speed in air of `reference_density_kg_m3`."""

    curve: FanCurve
    reference_density_kg_m3: float = REFERENCE_DENSITY_KG_M3

    def __post_init__(self) -> None:
        require_positive("reference density", self.reference_density_kg_m3, "kg/m³")
        require_positive("shut-off pressure of the fan", self.curve.shut_off_pa, "Pa")

    def pressure_pa(self, airflow_l_min: float, density_kg_m3: float, speed: float = 1.0) -> float:
        """Return the pressure rise (Pa).

        Args:
            airflow_l_min: Actual airflow through the fan (L/min, 0 to `last_l_min(speed)`).
            density_kg_m3: Density of the air (kg/m³, > 0).
            speed: Speed over full speed (1, > 0).

        Raises:
            ValueError: An argument is outside its range.
        """
        scale = affinity(speed, density_kg_m3 / self.reference_density_kg_m3)
        last_l_min = self.last_l_min(speed)
        if not 0.0 <= airflow_l_min <= last_l_min:
            raise ValueError(
                f"{airflow_l_min} L/min is outside the fan curve, 0 to {last_l_min} L/min"
            )
        full_l_min = min(airflow_l_min / scale.airflow, self.curve.last_l_min)
        return scale.pressure * self.curve.pressure_pa(full_l_min)

    def last_l_min(self, speed: float = 1.0) -> float:
        """Return the greatest airflow (L/min) for which the curve is known at a speed (1)."""
        return speed * self.curve.last_l_min


def curve_from_power(
    free_l_min: float, power_w: float, efficiency: float = TYPICAL_EFFICIENCY
) -> ParabolicCurve:
    """Return the curve of a fan that is sold by its free airflow and electrical power.

    The trade's rule: at its best point a small inline fan turns about a quarter of its
    electrical power into air power Q·p. For a parabolic curve that point fixes the
    shut-off pressure. Compute it for both ends of `EFFICIENCY_RANGE` as well, and
    believe no more than lies between them.

    Args:
        free_l_min: Airflow without any resistance (L/min, > 0).
        power_w: Electrical power (W, > 0).
        efficiency: Greatest air power over electrical power (1, over 0 to 1).

    Raises:
        ValueError: An argument is outside its range.
    """
    require_positive("free airflow of the fan", free_l_min, "L/min")
    require_positive("electrical power of the fan", power_w, "W")
    if not 0.0 < efficiency <= 1.0:
        raise ValueError(f"efficiency {efficiency} is outside 0 to 1")
    free_m3_s = free_l_min * M3_S_PER_L_MIN
    return ParabolicCurve(free_l_min, efficiency * power_w / (_PEAK_OF_PARABOLA * free_m3_s))


def _require_falling(before: CurvePoint, after: CurvePoint) -> None:
    if not after.airflow_l_min > before.airflow_l_min:
        raise ValueError(
            f"fan curve: airflow {after.airflow_l_min} L/min follows {before.airflow_l_min}: "
            "list the points by rising airflow, each once"
        )
    if not after.pressure_pa < before.pressure_pa:
        raise ValueError(
            f"fan curve: pressure {after.pressure_pa} Pa at {after.airflow_l_min} L/min is not "
            f"below {before.pressure_pa} Pa at {before.airflow_l_min} L/min. On a rising or level "
            "stretch one line can run at several airflows, and the fan may surge: none can be "
            "foretold. Give the points where the pressure falls, and a shut-off pressure above"
        )
