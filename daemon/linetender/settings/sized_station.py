"""A station file with the forecast of its line, and what speaks against that line."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from linetender.airline.alarm_budget import AlarmBudget, budget_s, coast_down_s
from linetender.airline.element_choice import Judged
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.sizing import Change, Sizing
from linetender.core.signals import Signal
from linetender.settings.air_budget import least_airflow_l_min
from linetender.settings.compile_air import air_signal, pressure_factor
from linetender.settings.devices import devices_of
from linetender.settings.join_memory import calibrated_here, with_memory
from linetender.settings.line_of_station import sizing_of
from linetender.settings.load import station_of, validated
from linetender.settings.pressure_sensors import NamedSensor, sensors_to_judge_with
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.remembered import Recall, Remembered, nothing_recalled
from linetender.settings.rule_budget import RuleBudget, slowest
from linetender.settings.station import Device, Station
from linetender.settings.station_file import StationFile
from linetender.settings.toml_file import read_toml
from linetender_drivers.registry import find_spec as installed_spec

LEAVE_FRACTION = 0.65
LEAVE_DELAY_S = 2.0
SENSING_S = 0.1
"""The default rule air_lost, and two periods of a sensor, where the file is not fit to run."""

GREEDY_FILTER_SHARE = 0.5
"""A filter that takes more of the pressure than all the rest is too small (chosen)."""


class Normal(NamedTuple):
    """Pressure across the station's element in normal use, as its sensor will read it (Pa).

    Attributes:
        likely_pa: At the likely airflow.
        least_pa: With all at its worst, filter due.
        greatest_pa: With all at its best.
        stated_pa: What the station file states, or what was taught; None for neither.
    """

    likely_pa: float
    least_pa: float
    greatest_pa: float
    stated_pa: float | None


@dataclass(frozen=True)
class SizedStation:
    """A station with the forecast of its line.

    Attributes:
        path: The file, as it was given.
        file: Its tables.
        sizing: The forecast.
        budget: Alarm budget of the slowest rule about the air.
        normal: The element's pressure; None where there is none to be had.
        unsafe: What keeps the station from running, by `linetender lint`.
        sensors: What the elements were judged with, the station's own first.
        memory: What was taught and calibrated, and is in force here.
        taught_l_min: Airflow that the taught normal pressure means, as calibrated (L/min);
            None where the line was not taught and calibrated both.
    """

    path: Path
    file: StationFile
    sizing: Sizing
    budget: RuleBudget
    normal: Normal | None
    unsafe: tuple[Problem, ...]
    sensors: tuple[NamedSensor, ...]
    memory: Remembered
    taught_l_min: float | None

    @property
    def fitted_sensor(self) -> NamedSensor | None:
        """The station's own sensor; None where it has none."""
        return self.sensors[0] if self.sensors[0].is_fitted else None

    @property
    def calibrated_relative(self) -> float | None:
        """Standard uncertainty at the required airflow, over it; None where not calibrated."""
        own = self.sizing.own
        if self.memory.calibrated is None or own is None or not own.verdicts:
            return None
        return own.verdicts[0].least.relative_uncertainty

    @property
    def findings(self) -> tuple[str, ...]:
        """What speaks against the line as it is described, for people."""
        return tuple(text for check in _CHECKS for text in check(self))


def size_station(path: Path, recall: Recall = nothing_recalled) -> SizedStation:
    """Load a station file and reckon what its line will do.

    Args:
        path: The station file. It need not be fit to run.
        recall: Where to ask what was taught and calibrated on this station.

    Raises:
        StationFileError: The file has mistakes, does not tell enough of the line, or
            draws one on which fan and line do not meet.
    """
    toml = read_toml(path)
    drawn = validated(toml)
    memory = recall(drawn.station.id)
    station, unsafe = None, tuple[Problem, ...]()
    try:
        station = station_of(toml, path, recall=lambda _: memory)
    except StationFileError as error:
        if not error.is_only_unsafe:
            raise
        unsafe = error.problems
    devices = devices_of(drawn, toml, installed_spec)
    file = with_memory(drawn, devices, memory, toml)
    sensors = sensors_to_judge_with(_fitted_sensor(file, devices))
    # The line is as it is drawn: a plate that was calibrated is a plate all the same.
    calibrated = _calibrated(file, devices, memory)
    sizing = sizing_of(drawn, toml, sensors, calibrated)
    budget = None if station is None else slowest(station.budgets)
    return SizedStation(
        path=path,
        file=file,
        sizing=sizing,
        budget=budget or _default_budget(file),
        normal=_normal(file, sizing, station),
        unsafe=unsafe,
        sensors=sensors,
        memory=memory,
        taught_l_min=_taught_l_min(file, devices, memory, calibrated),
    )


def _fitted_sensor(station: StationFile, devices: tuple[Device, ...]) -> Device | None:
    """The sensor of the element's pressure; without an element, any of the line's pressure."""
    signal = air_signal(station, devices)
    wanted = (Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA) if signal is None else (signal,)
    return next((each for each in devices if any(s in each.signals for s in wanted)), None)


def _calibrated(
    station: StationFile, devices: tuple[Device, ...], memory: Remembered
) -> CalibratedElement | None:
    if memory.calibrated is None or air_signal(station, devices) is None:
        return None
    return calibrated_here(station, devices, memory.calibrated)


def _taught_l_min(
    station: StationFile,
    devices: tuple[Device, ...],
    memory: Remembered,
    calibrated: CalibratedElement | None,
) -> float | None:
    signal = air_signal(station, devices)
    if memory.taught is None or calibrated is None or signal is None:
        return None
    true_pa = memory.taught.normal_pa - memory.taught.zero_pa
    true_pa *= pressure_factor(station, signal, devices)
    return calibrated.airflow_l_min(true_pa, calibrated.reference_air)


def _default_budget(file: StationFile) -> RuleBudget:
    available_s = budget_s(least_airflow_l_min(file), file.hood.volume_l, file.hood.co2_l_min)
    coast_s = coast_down_s(LEAVE_FRACTION, file.fan.coast_down_s)
    parts = AlarmBudget(available_s, coast_s, SENSING_S, LEAVE_DELAY_S)
    return RuleBudget("air_lost", LEAVE_FRACTION, parts)


def _normal(file: StationFile, sizing: Sizing, station: Station | None) -> Normal | None:
    own = sizing.own
    if own is None or own.likely_pa is None or file.element is None:
        return None
    air = None if station is None else station.plan.air
    factor = 1.0 if air is None else air.pressure_factor
    zero_pa = file.element.zero_pa
    likely_pa, least_pa, greatest_pa = (
        own.candidate.element.differential_pa(airflow_l_min, sizing.line.air) / factor + zero_pa
        for airflow_l_min in (own.airflow_l_min, sizing.least_due_l_min, sizing.greatest_l_min)
    )
    return Normal(likely_pa, least_pa, greatest_pa, file.element.normal_pa)


def _too_little_air(sized: SizedStation) -> Iterator[str]:
    sizing = sized.sizing
    needed = f"{sizing.required_l_min:.0f} L/min are needed"
    if not sizing.is_enough:
        reached = [each for each in sizing.changes if each.change is Change.DUE]
        airflow_l_min = reached[0].airflow_l_min if reached else sizing.likely.airflow_l_min
        when = " with the filter due" if reached else ""
        yield (
            f"Too little air: {airflow_l_min:.0f} L/min{when}, {needed}. Take a fan with more "
            "pressure, a larger filter, a wider hose or a shorter duct."
        )
    elif sizing.least_due_l_min < sizing.required_l_min:
        yield (
            f"The air may not suffice: {sizing.least_due_l_min:.0f} L/min at worst, {needed}. "
            "Leave more to spare, or measure the airflow before you rely on it."
        )


def _measured_too_little(sized: SizedStation) -> Iterator[str]:
    measured_l_min, required_l_min = sized.taught_l_min, sized.sizing.required_l_min
    if measured_l_min is not None and measured_l_min < required_l_min:
        yield (
            f"Measured, not reckoned: as it was taught and calibrated the line brings "
            f"{measured_l_min:.0f} L/min, and {required_l_min:.0f} L/min are needed. Do not use it "
            "so."
        )


def _greedy_filter(sized: SizedStation) -> Iterator[str]:
    share = sized.sizing.filter_share
    if share is not None and share > GREEDY_FILTER_SHARE:
        yield (
            f"The filter takes {share:.0%} of the fan's pressure: the fan hardly carries it. "
            "Take one of at least twice the face."
        ).replace("%", " %", 1)


def _no_signal(sized: SizedStation) -> Iterator[str]:
    own, plate = sized.sizing.own, sized.sizing.best_plate
    instead = "" if plate is None else f" Use instead: {plate.candidate.name}."
    if own is None:
        if not any(each.usable_with for each in sized.sizing.elements):
            yield "Nothing on this line gives a signal that can carry the alarm."
    elif not own.usable_with:
        yield f"{_named(own)} cannot carry the alarm: {own.objections[0]}.{instead}"
    elif sized.fitted_sensor is not None and 0 not in own.usable_with:
        others = " or ".join(sized.sensors[place].name for place in own.usable_with)
        yield (
            f"The sensor that is fitted, {sized.fitted_sensor.name}, cannot carry the alarm: "
            f"{own.verdicts[0].objections[0]}. Use instead: {others}."
        )


def _other_normal(sized: SizedStation) -> Iterator[str]:
    normal = sized.normal
    if normal is None or normal.stated_pa is None:
        return
    if not normal.least_pa <= normal.stated_pa <= normal.greatest_pa:
        said = "The file states" if sized.memory.taught is None else "The line was taught"
        yield (
            f"{said} {normal.stated_pa:.3g} Pa as normal, and {normal.least_pa:.3g} to "
            f"{normal.greatest_pa:.3g} Pa are expected: the description is not the line's, or "
            "the line is not in order. Measure before you trust either."
        )


def _limit_too_low(sized: SizedStation) -> Iterator[str]:
    sizing, fraction = sized.sizing, sized.budget.flow_fraction
    limit_l_min = fraction * sizing.likely.airflow_l_min
    if sizing.is_enough and fraction < 1.0 and limit_l_min < sizing.required_l_min:
        part = 100.0 * sizing.required_l_min / sizing.likely.airflow_l_min
        yield (
            f"{sized.budget.rule} sounds below {limit_l_min:.0f} L/min only, and "
            f"{sizing.required_l_min:.0f} L/min are needed: set its limit to {part:.0f} % of "
            "normal, or give the line more air."
        )


def _too_late(sized: SizedStation) -> Iterator[str]:
    seconds = sized.budget.seconds
    if not seconds.is_met:
        yield (
            f"{sized.budget.rule} comes too late: {seconds.needed_s:.1f} s with your reaction, and "
            f"the hood gives {seconds.available_s:.1f} s until 3 % CO2."
        )


def _unsafe(sized: SizedStation) -> Iterator[str]:
    if sized.unsafe:
        yield (
            f"The station is not fit to run yet, {len(sized.unsafe)} to mend: "
            f"linetender lint {sized.path}"
        )


def _named(own: Judged) -> str:
    return own.candidate.name[0].upper() + own.candidate.name[1:]


_CHECKS: tuple[Callable[[SizedStation], Iterator[str]], ...] = (
    _too_little_air,
    _measured_too_little,
    _greedy_filter,
    _no_signal,
    _other_normal,
    _limit_too_low,
    _too_late,
    _unsafe,
)
