"""A whole line from fan to hood, drawn with what is known of it and what is not."""

import enum
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

from linetender.airline.adapter import Adapter
from linetender.airline.air_state import AirState
from linetender.airline.disturbance import Disturbance
from linetender.airline.duct import EXIT_LOSS, Duct, Roughness
from linetender.airline.fan import Fan, ScaledCurve
from linetender.airline.filter import Filter
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.loss import Loss
from linetender.airline.network import NoOperatingPoint, OperatingPoint, operating_point
from linetender.airline.orifice import Orifice, OrificeLoss


class Wall(enum.Enum):
    """Which end of its roughness every duct of the line is taken at."""

    SMOOTH = "smooth"
    LIKELY = "likely"
    ROUGH = "rough"


class Doubt(NamedTuple):
    """A factor that is not known better than between two ends around 1."""

    least: float
    greatest: float


@dataclass(frozen=True, slots=True)
class Run:
    """A round duct or hose of which the roughness is known between two ends.

    Attributes:
        name: What people call it.
        length_m: Length (m, > 0).
        diameter_mm: Inside diameter (mm, > 0).
        roughness: ε, from and to (mm).
        quarter_bends: How many bends of 90° (1, >= 0).
        loss_per_bend: Velocity heads lost in each (1, >= 0).
    """

    name: str
    length_m: float
    diameter_mm: float
    roughness: Roughness
    quarter_bends: float
    loss_per_bend: float

    def duct(self, wall: Wall = Wall.LIKELY, fittings_loss: float = 0.0) -> Duct:
        """Return the duct with its wall at one end; likely is the geometric mean of both."""
        low, high = self.roughness
        roughness_mm = {
            Wall.SMOOTH: low,
            Wall.LIKELY: math.sqrt(low * high),
            Wall.ROUGH: high,
        }[wall]
        return Duct(
            self.name,
            self.length_m,
            self.diameter_mm,
            roughness_mm,
            self.quarter_bends,
            self.loss_per_bend,
            fittings_loss,
        )


@dataclass(frozen=True, slots=True)
class AirLine:
    """A fan with filter, ducts and hood.

    The fan's outlet is taken as wide as the first duct, and its curve as measured with
    its own inlet. Where diameters change an adapter is put in.

    Attributes:
        fan: The fan, as described.
        fan_doubt: Pressure of a fan that fits the description, over that of `fan`.
        runs: Ducts and hoses as the air goes; at least one.
        outlet: Where the air leaves the hood.
        air: The air in the line.
        filter: The filter at the intake, new; None for none.
        plate: An orifice plate in a pipe of its own; None for none.
        plate_before: Before which of the runs (from 0) that pipe stands.
        speed: Fan speed over full speed (1, > 0).
        stack_pa: Draught of a line that rises (Pa).
        wind_pa: Pressure of the wind on the intake at worst and at best (Pa).
    """

    fan: Fan
    fan_doubt: Doubt
    runs: tuple[Run, ...]
    outlet: HoodOutlet
    air: AirState
    filter: Filter | None = None
    plate: Orifice | None = None
    plate_before: int = 0
    speed: float = 1.0
    stack_pa: float = 0.0
    wind_pa: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        if not self.runs:
            raise ValueError("a line needs at least one duct or hose")
        if not 0 <= self.plate_before < len(self.runs):
            raise ValueError(f"no run {self.plate_before} before which a plate could stand")

    @property
    def trunk(self) -> Run:
        """The longest run."""
        return max(self.runs, key=lambda run: run.length_m)

    @property
    def holds_l(self) -> float:
        """Air in all ducts (L)."""
        return sum(run.duct().volume_l for run in self.runs)

    def with_plate(self, plate: Orifice | None) -> Self:
        """Return the line with another orifice plate, or none."""
        return replace(self, plate=plate)

    def with_fan_pressure(self, factor: float) -> Self:
        """Return the line with a fan of this times the pressure (1, > 0)."""
        fan = Fan(ScaledCurve(self.fan.curve, factor), self.fan.reference_density_kg_m3)
        return replace(self, fan=fan)

    def losses(self, wall: Wall = Wall.LIKELY, loading: float = 1.0) -> tuple[Loss, ...]:
        """Return every piece that takes pressure, in the order of the air.

        Args:
            wall: Which end of its roughness every duct is taken at.
            loading: Resistance of the filter over that when new (1, >= 1).
        """
        filters = () if self.filter is None else (self.filter.loaded(loading),)
        return (*filters, *self._ways(wall), self.outlet)

    def operating_point(
        self, wall: Wall = Wall.LIKELY, loading: float = 1.0, wind_pa: float = 0.0
    ) -> OperatingPoint:
        """Return where fan and line meet.

        Raises:
            NoOperatingPoint: They do not; the message says why.
        """
        named = (Disturbance("rise of the line", self.stack_pa), Disturbance("wind", wind_pa))
        acting = [each for each in named if each.pressure_pa]
        losses = self.losses(wall, loading)
        return operating_point(self.fan, losses, self.air, speed=self.speed, disturbances=acting)

    def least_l_min(self, loading: float = 1.0) -> float:
        """Return the airflow (L/min) with all that is not known at its worst; 0 for none."""
        weak = self.with_fan_pressure(self.fan_doubt.least)
        return _airflow_l_min(weak, Wall.ROUGH, loading, self.wind_pa[0])

    def greatest_l_min(self) -> float:
        """Return the airflow (L/min) with all that is not known at its best, filter new."""
        strong = self.with_fan_pressure(self.fan_doubt.greatest)
        return _airflow_l_min(strong, Wall.SMOOTH, 1.0, self.wind_pa[1])

    def _ways(self, wall: Wall) -> Iterator[Loss]:
        """Ducts, plate and adapters from the fan to the hood."""
        plates = [OrificeLoss(self.plate)] if self.plate is not None else []
        last = len(self.runs) - 1
        pieces: list[tuple[float, Loss]] = []
        for place, run in enumerate(self.runs):
            if place == self.plate_before:
                pieces += [(plate.orifice.pipe_mm, plate) for plate in plates]
            exit_loss = EXIT_LOSS if place == last else 0.0
            pieces.append((run.diameter_mm, run.duct(wall, exit_loss)))
        first_mm = self.runs[0].diameter_mm
        widths = [first_mm, *(width for width, _ in pieces)]
        for (before_mm, after_mm), (_, piece) in zip(
            itertools.pairwise(widths), pieces, strict=True
        ):
            if before_mm != after_mm:
                yield Adapter(f"adapter {before_mm:g} to {after_mm:g} mm", before_mm, after_mm)
            yield piece


def _airflow_l_min(line: AirLine, wall: Wall, loading: float, wind_pa: float) -> float:
    try:
        return line.operating_point(wall, loading, wind_pa).airflow_l_min
    except NoOperatingPoint as none:
        return none.nearest_l_min
