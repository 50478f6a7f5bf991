"""The forecast of `size` as plain data, for programs."""

from typing import Any

from linetender.airline.element_choice import Judged
from linetender.settings.filter_class import filter_class
from linetender.settings.pressure_sensors import NamedSensor
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.sized_station import SizedStation

DIGITS = 6
"""Significant digits of every figure."""


def plain(sized: SizedStation) -> dict[str, Any]:
    """Return all that the sheet tells, in SI units but for L/min; the names carry the unit."""
    sizing = sized.sizing
    return {
        "file": str(sized.path),
        "station": sized.file.station.id,
        "fine": not sized.findings,
        "findings": list(sized.findings),
        "airflow_l_min": {
            "likely": _short(sizing.likely.airflow_l_min),
            "least": _short(sizing.least_l_min),
            "least_filter_due": _short(sizing.least_due_l_min),
            "greatest": _short(sizing.greatest_l_min),
            "required": _short(sizing.required_l_min),
        },
        "fan_pa": _short(sizing.likely.fan_pa),
        "drops": [_short_all(each._asdict()) for each in sizing.likely.drops],
        "disturbances": [_short_all(each._asdict()) for each in sizing.likely.disturbances],
        "elements": [_element(each, sized.sensors) for each in sizing.elements],
        "filter_class": _filter_class(sized),
        "memory": _memory(sized),
        "changes": [
            {**_short_all(each._asdict()), "change": each.change.name.lower()}
            for each in sizing.changes
        ],
        "worn": [_short_all(each._asdict()) for each in sizing.worn],
        "normal": None if sized.normal is None else _short_all(sized.normal._asdict()),
        "alarm_budget": _budget(sized.budget),
    }


def _filter_class(sized: SizedStation) -> dict[str, Any] | None:
    """What the class on the filter's label says: information, nothing is reckoned from it."""
    table = sized.file.filter
    if table is None or table.efficiency_class is None:
        return None
    return filter_class(table.efficiency_class)._asdict()


def _memory(sized: SizedStation) -> dict[str, Any]:
    """What of the station's memory the forecast rests on; None for what was not measured."""
    memory = sized.memory
    taught, calibrated, zero_pa = memory.taught, memory.calibrated, memory.zero_pa
    relative = sized.calibrated_relative
    return {
        "taught_at": None if taught is None else taught.made_at,
        "calibrated_at": None if calibrated is None else calibrated.made_at,
        "taught_l_min": None if sized.taught_l_min is None else _short(sized.taught_l_min),
        "zero_pa": None if zero_pa is None else _short(zero_pa),
        "relative_uncertainty": None if relative is None else _short(relative),
        "expired": list(memory.expired),
    }


def _budget(budget: RuleBudget) -> dict[str, Any]:
    return _short_all(
        {
            "rule": budget.rule,
            "flow_fraction": budget.flow_fraction,
            "needed_s": budget.seconds.needed_s,
            "available_s": budget.seconds.available_s,
            "longest_on_delay_s": budget.longest_on_delay_s,
            "is_met": budget.seconds.is_met,
        }
    )


def _element(judged: Judged, sensors: tuple[NamedSensor, ...]) -> dict[str, Any]:
    return _short_all(
        {
            "kind": judged.candidate.kind.value,
            "name": judged.candidate.name,
            "is_own": judged.candidate.is_own,
            "airflow_l_min": judged.airflow_l_min,
            "required_pa": judged.required_pa,
            "likely_pa": judged.likely_pa,
            "usable_with": [sensors[place].name for place in judged.usable_with],
            "objections": list(judged.objections),
            "sensors": [
                {
                    "sensor": sensors[place].name,
                    "is_fitted": sensors[place].is_fitted,
                    "doubt_of_flow": _short(verdict.sensor_relative),
                    "zero_needed_pa": _short(verdict.zero_needed_pa),
                    "objections": list(verdict.objections),
                }
                for place, verdict in enumerate(judged.verdicts)
            ],
        }
    )


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _short_all(figures: dict[str, Any]) -> dict[str, Any]:
    return {
        key: _short(value) if isinstance(value, float) else value for key, value in figures.items()
    }
