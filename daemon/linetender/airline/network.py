"""Where fan and line meet: the airflow, and where each pascal goes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from linetender.airline.air_state import AirState
from linetender.airline.bracketed_root import root_between
from linetender.airline.disturbance import Disturbance
from linetender.airline.fan import Fan
from linetender.airline.flow_element import Flag
from linetender.airline.loss import Loss
from linetender.airline.quantity_checks import require_positive


class NoOperatingPoint(ValueError):
    """No airflow exists at which fan and line agree; the message says why and what to do.

    Examples: wind against the intake is stronger than the fan; the line resists so
    little that it runs past the last known point of the fan's curve.

    Attributes:
        nearest_l_min: The airflow (L/min) at the end where they come nearest: 0 where
            the fan is held, else where the fan's curve ends.
    """

    def __init__(self, message: str, nearest_l_min: float) -> None:
        super().__init__(message)
        self.nearest_l_min = nearest_l_min


class Drop(NamedTuple):
    """What one piece of the line takes.

    Attributes:
        name: The piece.
        pressure_pa: Total pressure lost in it (Pa, >= 0).
    """

    name: str
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """The airflow at which fan and line agree.

    Attributes:
        airflow_l_min: Actual airflow (L/min, > 0).
        fan_pa: Pressure that the fan gives there (Pa).
        drops: What each piece takes, in the order of the line.
        disturbances: What wind and buoyancy add.
        flags: Every limit of validity that a piece lies outside; each names the piece.
    """

    airflow_l_min: float
    fan_pa: float
    drops: tuple[Drop, ...]
    disturbances: tuple[Disturbance, ...]
    flags: tuple[Flag, ...]

    @property
    def lost_pa(self) -> float:
        """What all pieces take together (Pa): what fan and disturbances give."""
        return sum(drop.pressure_pa for drop in self.drops)

    def share_of(self, name: str) -> float:
        """Return the part (0 to 1) of all loss that the pieces of a name take.

        Raises:
            KeyError: No piece has that name.
        """
        matching = [drop.pressure_pa for drop in self.drops if drop.name == name]
        if not matching:
            raise KeyError(f"no piece of the line is named {name!r}")
        return sum(matching) / self.lost_pa


def operating_point(
    fan: Fan,
    losses: Sequence[Loss],
    air: AirState,
    *,
    speed: float = 1.0,
    disturbances: Sequence[Disturbance] = (),
) -> OperatingPoint:
    """Return the airflow at which the fan gives just what the line takes.

    The fan's curve falls and every loss rises: there is one such airflow at most.

    Args:
        fan: The fan.
        losses: The pieces of the line, from intake to room; at least one.
        air: The air, taken as the same along the line.
        speed: Fan speed over full speed (1, > 0).
        disturbances: Pressures of wind and buoyancy.

    Raises:
        NoOperatingPoint: There is none; the message says why.
        ValueError: There is no piece, or the speed is not above 0.
    """
    _require_line(losses, speed)
    added_pa = sum(each.pressure_pa for each in disturbances)

    def missing_pa(airflow_l_min: float) -> float:
        given = added_pa + fan.pressure_pa(airflow_l_min, air.density_kg_m3, speed)
        return _taken_pa(losses, airflow_l_min, air) - given

    if missing_pa(0.0) >= 0.0:
        raise NoOperatingPoint(_blown_back(fan, air, speed, added_pa), 0.0)
    last_l_min = fan.last_l_min(speed)
    if missing_pa(last_l_min) < 0.0:
        raise NoOperatingPoint(_past_the_curve(last_l_min, -missing_pa(last_l_min)), last_l_min)
    airflow = root_between(missing_pa, 0.0, last_l_min)
    fan_pa = fan.pressure_pa(airflow, air.density_kg_m3, speed)
    drops = tuple(Drop(loss.name, loss.pressure_drop_pa(airflow, air)) for loss in losses)
    flags = _flags_of(losses, airflow, air)
    return OperatingPoint(airflow, fan_pa, drops, tuple(disturbances), flags)


def _require_line(losses: Sequence[Loss], speed: float) -> None:
    require_positive("fan speed", speed, "of full speed")
    if not losses:
        raise ValueError("a line without any piece has no operating point")


def _taken_pa(losses: Sequence[Loss], airflow_l_min: float, air: AirState) -> float:
    return sum(loss.pressure_drop_pa(airflow_l_min, air) for loss in losses)


def _flags_of(losses: Sequence[Loss], airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
    return tuple(
        Flag(flag.kind, f"{loss.name}: {flag.text}")
        for loss in losses
        for flag in loss.flags(airflow_l_min, air)
    )


def _blown_back(fan: Fan, air: AirState, speed: float, added_pa: float) -> str:
    shut_off = fan.pressure_pa(0.0, air.density_kg_m3, speed)
    return (
        f"the fan gives {shut_off:.1f} Pa at most, and wind and buoyancy hold {-added_pa:.1f} Pa "
        "against it: no air flows to the hood. Shelter the intake, or take a stronger fan"
    )


def _past_the_curve(last_l_min: float, over_pa: float) -> str:
    return (
        f"at {last_l_min:.0f} L/min, where the fan's curve ends, {over_pa:.1f} Pa are still left "
        "over: the line runs at more airflow than the curve tells. Add points of the curve up "
        "to its free airflow, and check that every piece of the line is listed"
    )
