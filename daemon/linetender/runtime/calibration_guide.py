"""Who stands at the line while it is taught or calibrated, as the procedures see them.

A person at a terminal, a file of answers, or the hands of a simulation.
"""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import NamedTuple, Protocol

from linetender.airline.measured_flow import (
    ANEMOMETER_RELATIVE,
    BAG_RELATIVE,
    MeasuredFlow,
    flow_of_bag,
    flow_of_traverse,
)
from linetender.airline.teaching import LineState
from linetender.runtime.pressure_measuring import Told


class CalibrationRefused(RuntimeError):
    """What was measured cannot be right; nothing was stored.

    Attributes:
        reasons: Each in a sentence for people, at least one.
    """

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__("\n".join((*reasons, "Nothing was stored.")))
        self.reasons = tuple(reasons)


class BagFills(NamedTuple):
    """A bag filled some times at one setting of the line.

    Attributes:
        volume_l: Its volume (L).
        seconds: How long each fill took (s).
        volume_relative: Standard uncertainty of the volume over it (1).
    """

    volume_l: float
    seconds: tuple[float, ...]
    volume_relative: float = BAG_RELATIVE

    @property
    def method(self) -> str:
        """Its name."""
        return "bag"

    def flows(self) -> tuple[MeasuredFlow, ...]:
        """Return one airflow per fill; ValueError where a number cannot be right."""
        return tuple(
            flow_of_bag(self.volume_l, seconds, self.volume_relative) for seconds in self.seconds
        )


class Traverse(NamedTuple):
    """Velocities across the duct at one setting of the line.

    Attributes:
        diameter_mm: Inside diameter (mm).
        velocities_m_s: At the log-linear points (m/s).
        anemometer_relative: Standard uncertainty of the anemometer over the velocity (1).
    """

    diameter_mm: float
    velocities_m_s: tuple[float, ...]
    anemometer_relative: float = ANEMOMETER_RELATIVE

    @property
    def method(self) -> str:
        """Its name."""
        return "traverse"

    def flows(self) -> tuple[MeasuredFlow, ...]:
        """Return the airflow; ValueError where a number cannot be right."""
        return (flow_of_traverse(self.velocities_m_s, self.diameter_mm, self.anemometer_relative),)


class FlowAnswer(NamedTuple):
    """What was measured at one setting.

    Attributes:
        measured: By bag or traverse.
        is_check: Whether it is the second method, which only checks the fit.
    """

    measured: BagFills | Traverse
    is_check: bool = False


class Conditions(NamedTuple):
    """The air in the line.

    Attributes:
        temperature_c: Temperature (°C).
        humidity_percent: Relative humidity (%).
    """

    temperature_c: float
    humidity_percent: float


class Guide(Protocol):
    """Says what to do and waits until it is done."""

    def say(self, text: str) -> None:
        """Tell something."""

    def measuring(self, what: str, seconds: float) -> AbstractContextManager[Told]:
        """Show a measurement that takes so long (s)."""

    def conditions(self) -> Conditions:
        """Ask for the air in the line."""

    def prepare(self, state: LineState) -> None:
        """Wait until the line is in this state."""

    def resumes(self, points: int, begun_at: str) -> bool:
        """Whether to go on with a calibration that has so many flow points already."""

    def set_flow(self, point: int) -> bool:
        """Wait until the line runs at the setting of this point, from 1; False: no more."""

    def flow(self, point: int) -> FlowAnswer:
        """Ask what was measured there."""

    def retries(self, reasons: Sequence[str]) -> bool:
        """Tell why something cannot be used; return whether to measure it again."""


def days_later(made_at: str, days: int) -> str:
    """Return a time of day (ISO 8601) so many days later."""
    return (datetime.fromisoformat(made_at) + timedelta(days=days)).isoformat(timespec="seconds")
