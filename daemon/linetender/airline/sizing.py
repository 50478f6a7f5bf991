"""What a line will do, reckoned from its drawing: airflow, signals, what may happen to it."""

import enum
from dataclasses import dataclass, replace
from typing import NamedTuple

from linetender.airline import hood
from linetender.airline.air_line import AirLine
from linetender.airline.breathing_air import peak_inspiration_l_min
from linetender.airline.element_choice import Candidate, ElementKind, Judged, candidates, judge
from linetender.airline.filter import LOADED_INDEX
from linetender.airline.friction_factor import velocity_m_s
from linetender.airline.network import NoOperatingPoint, OperatingPoint
from linetender.airline.pressure_sensor import PressureSensor
from linetender.airline.quantity_checks import require_positive
from linetender.airline.trade_units import M3_S_PER_L_MIN

HALF_LOADED = (1.0 + LOADED_INDEX) / 2.0
"""Resistance over that when new half-way to the end of a filter."""

WEAKER_FAN = 0.4
"""Pressure of a fan that claims the same free airflow at 20 W as another at 50 W (1).

Common practice, no source: same flow and efficiency, so pressure goes with power.
"""

SLOWER_FAN = 0.8
"""Part of the full speed that is looked at (chosen)."""

KEPT_AIR = 0.95
"""A plate is worth its signal if it leaves this part of the air of the widest one (chosen)."""

AIR_HEAT_J_KG_K = 1006.0
"""Specific heat of dry air at constant pressure (common practice)."""

COMFORTABLE_C = 20.0
"""Temperature to which cold air would have to be warmed (chosen)."""


class Change(enum.Enum):
    """What may happen to a line, or be done to it."""

    HALF_LOADED = "filter half loaded"
    DUE = "filter due"
    LARGER_FILTER = "a filter of twice the face"
    WEAKER_FAN = "a weaker fan, 0.4 of the pressure"
    SLOWER_FAN = "the fan at 80 % of its speed"
    NO_PLATE = "the orifice plate taken out"


class Changed(NamedTuple):
    """The line after a change.

    Attributes:
        change: What was done.
        airflow_l_min: Likely airflow (L/min).
        filter_pa: What the filter then takes (Pa); None without one.
    """

    change: Change
    airflow_l_min: float
    filter_pa: float | None


class Worn(NamedTuple):
    """What the wearer gets at an airflow.

    Attributes:
        airflow_l_min: The airflow (L/min).
        co2_fraction: CO2 in the hood in the long run (0 to 1).
        hose_m_s: Velocity in the last run (m/s).
        breath_l_min: Minute volume up to which no room air is drawn in (L/min).
        heat_w: What would warm the coldest intake air to 20 °C (W).
        transit_s: From the fan to the hood (s).
    """

    airflow_l_min: float
    co2_fraction: float
    hose_m_s: float
    breath_l_min: float
    heat_w: float
    transit_s: float


class Wearer(NamedTuple):
    """The wearer and the weather.

    Attributes:
        co2_l_min: CO2 given off (L/min, > 0).
        coldest_c: Coldest intake air in which the line is used (°C).
    """

    co2_l_min: float
    coldest_c: float


@dataclass(frozen=True, slots=True)
class Sizing:
    """The forecast.

    Attributes:
        line: The line.
        required_l_min: Least permitted airflow (L/min).
        likely: Where fan and line meet, filter new, no wind.
        least_l_min: Airflow with all at its worst, filter new (L/min).
        least_due_l_min: The same with the filter due (L/min).
        greatest_l_min: Airflow with all at its best (L/min).
        changes: What may happen.
        elements: What the pressure could be measured across.
        sensors: The sensors they were judged with.
        worn: What the wearer gets, at the required and at the likely airflow.
    """

    line: AirLine
    required_l_min: float
    likely: OperatingPoint
    least_l_min: float
    least_due_l_min: float
    greatest_l_min: float
    changes: tuple[Changed, ...]
    elements: tuple[Judged, ...]
    sensors: tuple[PressureSensor, ...]
    worn: tuple[Worn, ...]

    @property
    def is_enough(self) -> bool:
        """Whether the likely airflow, filter due, is what is needed."""
        due = next((each for each in self.changes if each.change is Change.DUE), None)
        reached = self.likely.airflow_l_min if due is None else due.airflow_l_min
        return reached >= self.required_l_min

    @property
    def own(self) -> Judged | None:
        """The station's own element, judged."""
        return next((each for each in self.elements if each.candidate.is_own), None)

    @property
    def best_plate(self) -> Judged | None:
        """The plate to choose: of those that cost little air, the one with the most signal.

        None where no plate is usable.
        """
        plates = [
            each
            for each in self.elements
            if each.candidate.kind is ElementKind.ORIFICE and each.usable_with
        ]
        most_l_min = max((each.airflow_l_min for each in plates), default=0.0)
        cheap = [each for each in plates if each.airflow_l_min >= KEPT_AIR * most_l_min]
        return max(cheap, key=lambda each: each.likely_pa or 0.0, default=None)

    @property
    def filter_share(self) -> float | None:
        """Part (0 to 1) of all loss that the new filter takes; None without one."""
        return None if self.line.filter is None else self.likely.share_of(self.line.filter.name)


def size_line(
    line: AirLine,
    own: Candidate | None,
    sensors: tuple[PressureSensor, ...],
    required_l_min: float,
    wearer: Wearer,
) -> Sizing:
    """Reckon what a line will do.

    Args:
        line: The line.
        own: What the station measures across; None where it has nothing.
        sensors: Pressure sensors to judge with, the station's own first; at least one.
        required_l_min: Least permitted airflow (L/min, > 0).
        wearer: Who wears the hood, and in what weather.

    Raises:
        NoOperatingPoint: Fan and line do not meet; the message says why.
        ValueError: The required airflow is not above 0.
    """
    require_positive("required airflow", required_l_min, "L/min")
    likely = line.operating_point()
    return Sizing(
        line=line,
        required_l_min=required_l_min,
        likely=likely,
        least_l_min=line.least_l_min(),
        least_due_l_min=line.least_l_min(LOADED_INDEX),
        greatest_l_min=line.greatest_l_min(),
        changes=tuple(_changed(line, change) for change in _possible(line)),
        elements=tuple(
            judged
            for judged in (judge(line, c, sensors, required_l_min) for c in candidates(line, own))
            if judged.verdicts or judged.candidate.is_own
        ),
        sensors=sensors,
        worn=tuple(_worn(line, q, wearer) for q in (required_l_min, likely.airflow_l_min)),
    )


def _possible(line: AirLine) -> list[Change]:
    filters = [Change.HALF_LOADED, Change.DUE, Change.LARGER_FILTER]
    return [
        *(filters if line.filter is not None else []),
        Change.WEAKER_FAN,
        Change.SLOWER_FAN,
        *([Change.NO_PLATE] if line.plate is not None else []),
    ]


def _changed(line: AirLine, change: Change) -> Changed:
    loading = {Change.HALF_LOADED: HALF_LOADED, Change.DUE: LOADED_INDEX}.get(change, 1.0)
    other = line
    if change is Change.LARGER_FILTER and line.filter is not None:
        wider = replace(line.filter, rated_l_min=2.0 * line.filter.rated_l_min)
        other = replace(line, filter=wider)
    elif change is Change.WEAKER_FAN:
        other = line.with_fan_pressure(WEAKER_FAN)
    elif change is Change.SLOWER_FAN:
        other = replace(line, speed=SLOWER_FAN * line.speed)
    elif change is Change.NO_PLATE:
        other = line.with_plate(None)
    try:
        airflow_l_min = other.operating_point(loading=loading).airflow_l_min
    except NoOperatingPoint as none:
        airflow_l_min = none.nearest_l_min
    filter_pa = None
    if other.filter is not None:
        filter_pa = other.filter.loaded(loading).pressure_drop_pa(airflow_l_min, other.air)
    return Changed(change, airflow_l_min, filter_pa)


def _worn(line: AirLine, airflow_l_min: float, wearer: Wearer) -> Worn:
    mass_kg_s = line.air.density_kg_m3 * airflow_l_min * M3_S_PER_L_MIN
    warming_k = max(0.0, COMFORTABLE_C - wearer.coldest_c)
    return Worn(
        airflow_l_min=airflow_l_min,
        co2_fraction=hood.steady_fraction(
            wearer.co2_l_min, airflow_l_min, hood.INTAKE_CO2_FRACTION
        ),
        hose_m_s=velocity_m_s(airflow_l_min, line.runs[-1].diameter_mm),
        breath_l_min=airflow_l_min / peak_inspiration_l_min(1.0),
        heat_w=mass_kg_s * AIR_HEAT_J_KG_K * warming_k,
        transit_s=line.holds_l / airflow_l_min * 60.0,
    )
