"""Tables of the station file that describe the line itself: fan, filter, ducts, intake.

`linetender size` reckons with them; watching does without, but for `fan.coast_down_s`.
"""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from linetender.airline.filter import LOADED_INDEX
from linetender.airline.filter_outlook import DUE_AIRFLOW_PART
from linetender.settings.filter_class import FILTER_CLASS_PATTERN
from linetender.settings.strict_model import StrictModel


class FilterMedium(StrEnum):
    """Media whose resistance is known by their face velocity."""

    HEPA = "hepa"
    MERV_13_1_INCH = "merv_13_1_inch"
    MERV_13_2_INCH = "merv_13_2_inch"
    MERV_13_4_INCH = "merv_13_4_inch"


class DuctMaterial(StrEnum):
    """Kinds of duct whose roughness is known between two ends."""

    DRAWN_TUBING = "drawn_tubing"
    PVC_PIPE = "pvc_pipe"
    GALVANIZED_SPIRAL = "galvanized_spiral"
    FLEXIBLE = "flexible"
    FILM = "film"


class FanPointTable(StrictModel):
    """One entry of `fan.points`."""

    airflow_l_min: float = Field(ge=0, le=200_000, description="airflow, L/min")
    pressure_pa: float = Field(ge=0, le=20_000, description="static pressure there, Pa")


class FanTable(StrictModel):
    """`[fan]`: how the fan runs down, and what it can do."""

    coast_down_s: float = Field(
        3.0, ge=0, le=120, description="seconds from power off to half of the airflow"
    )
    points: Annotated[tuple[FanPointTable, ...], Field(strict=False)] | None = Field(
        None,
        min_length=2,
        max_length=50,
        description="list of 2 to 50 points { airflow_l_min, pressure_pa } of the maker's curve",
    )
    rated_airflow_l_min: float | None = Field(
        None, ge=20, le=200_000, description="airflow that it is sold with, unhindered, L/min"
    )
    shut_off_pa: float | None = Field(
        None, ge=1, le=20_000, description="pressure without any flow, Pa"
    )
    power_w: float | None = Field(None, ge=0.5, le=5_000, description="electrical power, W")
    speed_percent: float = Field(
        100.0, ge=10, le=100, description="speed at which it is run, % of its full speed"
    )


class FilterTable(StrictModel):
    """`[filter]`: the filter at the intake, when new."""

    medium: Annotated[FilterMedium, Field(strict=False)] | None = Field(
        None,
        description='"hepa", "merv_13_1_inch", "merv_13_2_inch" or "merv_13_4_inch" (its depth)',
    )
    width_mm: float | None = Field(None, ge=20, le=2000, description="width of its face, mm")
    height_mm: float | None = Field(None, ge=20, le=2000, description="height of its face, mm")
    rated_pa: float | None = Field(
        None, ge=0.1, le=5000, description="pressure across it, new, at rated_airflow_l_min, Pa"
    )
    rated_airflow_l_min: float | None = Field(
        None, ge=1, le=200_000, description="airflow at which rated_pa is told, L/min"
    )
    efficiency_class: str | None = Field(
        None,
        pattern=FILTER_CLASS_PATTERN,
        description='class on its label, such as "H13", "ISO 35 H" or "ISO ePM1 60%"',
    )
    due_at_resistance: float = Field(
        LOADED_INDEX, ge=1.1, le=10, description="resistance over that when new at which it is due"
    )
    due_at_airflow_percent: float = Field(
        100.0 * DUE_AIRFLOW_PART,
        ge=50,
        le=98,
        description="airflow over that with the new filter at which it is due, %",
    )
    good_for_hours: float | None = Field(
        None, ge=1, le=20_000, description="hours of use after which it is due in any case"
    )
    good_for_days: float | None = Field(
        None, ge=1, le=3650, description="days after which it is due in any case"
    )


class DuctTable(StrictModel):
    """`[[duct]]`: one stretch of duct or hose; in the order of the air, fan to hood."""

    name: str | None = Field(None, min_length=1, max_length=24, description="what you call it")
    length_m: float = Field(ge=0.01, le=200, description="length, m")
    diameter_mm: float = Field(ge=10, le=1000, description="inside diameter, mm")
    material: Annotated[DuctMaterial, Field(strict=False)] | None = Field(
        None,
        description='"drawn_tubing", "pvc_pipe", "galvanized_spiral", "flexible" or "film"',
    )
    roughness_mm: float | None = Field(
        None, ge=0, le=20, description="roughness of the wall, mm, instead of a material"
    )
    quarter_bends: float = Field(0.0, ge=0, le=40, description="number of bends of 90 degrees")


class IntakeTable(StrictModel):
    """`[intake]`: the weather where the air is taken."""

    temperature_c: float = Field(
        15.0, ge=-30, le=45, description="usual temperature of the air in the line, °C"
    )
    coldest_c: float = Field(
        0.0, ge=-40, le=45, description="coldest intake air in which the line is used, °C"
    )
    wind_m_s: float = Field(5.0, ge=0, le=40, description="wind at the intake, m/s")
    rise_m: float = Field(
        0.0, ge=-50, le=50, description="height of the hood over the intake, m, below 0 if lower"
    )
