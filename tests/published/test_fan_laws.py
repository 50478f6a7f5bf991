"""Fan laws, operating points and filters.

Fan laws: process-heating.com 87634 (N × 0.8: Q 0.800, p 0.640, P 0.512). Operating points:
scipy's brentq, and in closed form. Resistances of MERV-13 panels: a maker's catalogue, 0.10
inch of water at 175, 195 and 260 fpm. EN 1822 efficiencies: cleanroomsfilter.com 219532.
"""

import math
from dataclasses import dataclass

import pytest
from scipy.optimize import brentq

from linetender.airline.air_state import AirState, air_at
from linetender.airline.disturbance import stack_effect_pa, wind_pressure_pa
from linetender.airline.fan import CurvePoint, Fan, ParabolicCurve, PointCurve, affinity
from linetender.airline.filter import (
    HEPA_PANEL,
    MERV_13_1_INCH,
    MERV_13_2_INCH,
    MERV_13_4_INCH,
    REFERENCE_VISCOSITY_PA_S,
    En1822Class,
    Filter,
    Media,
    final_pa,
    loading_index,
)
from linetender.airline.flow_element import Flag
from linetender.airline.network import operating_point

AIR = AirState(20.0, 101_325.0, 50.0, 1.20, REFERENCE_VISCOSITY_PA_S)
FAN = Fan(ParabolicCurve(0.0472 * 60_000.0, 250.0))


@dataclass(frozen=True)
class SquareLoss:
    """Δp = k·Q² with Q in m³/s."""

    k: float
    name: str = "system"

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        return self.k * (airflow_l_min / 60_000.0) ** 2

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        return ()


def linear_filter(r_pa_s_m3: float) -> Filter:
    return Filter("filter", r_pa_s_m3 * 0.01, 600.0)


def test_fan_laws() -> None:
    assert affinity(0.8) == pytest.approx((0.800, 0.640, 0.512))
    assert affinity(1.0, 0.9) == pytest.approx((1.0, 0.9, 0.9))


def test_fan_and_square_system() -> None:
    point = operating_point(FAN, (SquareLoss(1e6),), AIR)
    assert point.airflow_l_min == pytest.approx(899.55, abs=5.1e-3)
    assert point.fan_pa == pytest.approx(224.78, abs=5.1e-3)
    closed = math.sqrt(250.0 / (250.0 / 0.0472**2 + 1e6)) * 60_000.0
    assert point.airflow_l_min == pytest.approx(closed, rel=1e-9)


@pytest.mark.parametrize(
    ("r_pa_s_m3", "airflow", "filter_pa"), [(6000.0, 752.16, 75.22), (12_000.0, 632.34, 126.47)]
)
def test_fan_system_and_filter(r_pa_s_m3: float, airflow: float, filter_pa: float) -> None:
    point = operating_point(FAN, (linear_filter(r_pa_s_m3), SquareLoss(1e6)), AIR)
    assert point.airflow_l_min == pytest.approx(airflow, abs=5.1e-3)
    assert point.drops[0].pressure_pa == pytest.approx(filter_pa, abs=5.1e-3)
    witness = brentq(
        lambda q: 250.0 * (1.0 - (q / 0.0472) ** 2) - 1e6 * q * q - r_pa_s_m3 * q, 0.0, 0.0472
    )
    assert point.airflow_l_min == pytest.approx(witness * 60_000.0, rel=1e-9)


def test_fan_pressure_with_filter() -> None:
    point = operating_point(FAN, (linear_filter(6000.0), SquareLoss(1e6)), AIR)
    assert point.fan_pa == pytest.approx(232.37, abs=5.1e-3)


def test_pressure_alone_tells_less_than_the_loading() -> None:
    """Resistance doubled: pressure only ×1.68, the loading index 2."""
    clean = linear_filter(6000.0)
    new, old = (
        operating_point(FAN, (clean.loaded(loading), SquareLoss(1e6)), AIR)
        for loading in (1.0, 2.0)
    )
    ratio = old.drops[0].pressure_pa / new.drops[0].pressure_pa
    assert ratio == pytest.approx(1.68, abs=5.1e-3)
    index = loading_index(old.drops[0].pressure_pa, old.airflow_l_min, AIR, clean)
    assert index == pytest.approx(2.0)


@pytest.mark.parametrize("points", [20, 200])
def test_point_curve_comes_near_the_parabola(points: int) -> None:
    """Straight lines between points of a parabola: the error falls with their square."""
    flows = [2832.0 * index / points for index in range(points + 1)]
    curve = PointCurve(tuple(CurvePoint(q, FAN.curve.pressure_pa(q)) for q in flows))
    got = operating_point(Fan(curve), (SquareLoss(1e6),), AIR).airflow_l_min
    assert got == pytest.approx(899.55, rel=0.5 / points**2 + 1e-5)


@pytest.mark.parametrize(
    ("media", "expected"),
    [
        (HEPA_PANEL, (10.0, 16.9, 29.9, 42.4, 99.7, 199.0)),
        (MERV_13_1_INCH, (0.50, 0.85, 1.51, 2.14, 5.03, 10.1)),
    ],
)
def test_panels_of_305_mm(media: Media, expected: tuple[float, ...]) -> None:
    panel = Filter.panel("panel", media, 305.0, 305.0)
    flows = (100.0, 170.0, 300.0, 425.0, 1000.0, 2000.0)
    assert [panel.pressure_drop_pa(q, AIR) for q in flows] == pytest.approx(expected, rel=8e-3)


def test_deeper_pleats_resist_less() -> None:
    speeds = [
        m.face_velocity_m_s / 0.00508 for m in (MERV_13_1_INCH, MERV_13_2_INCH, MERV_13_4_INCH)
    ]
    assert speeds == pytest.approx((175.0, 195.0, 260.0))
    assert MERV_13_4_INCH.rated_pa == pytest.approx(24.9, abs=0.01)


def test_en_1822_classes() -> None:
    assert {each.name: each.value for each in En1822Class} == {
        "E10": 85.0,
        "E11": 95.0,
        "E12": 99.5,
        "H13": 99.95,
        "H14": 99.995,
    }
    assert En1822Class.H14.penetration == pytest.approx(5e-5)


def test_when_a_filter_is_due() -> None:
    """Twice the clean pressure or one inch of water, whichever comes first (rule of thumb)."""
    assert [final_pa(clean) for clean in (25.0, 200.0)] == pytest.approx((50.0, 249.09), abs=0.01)


def test_stack_effect() -> None:
    """0.040 Pa per metre and kelvin at room temperature."""
    warm, cold = air_at(20.5, 101_325.0, 0.0), air_at(19.5, 101_325.0, 0.0)
    assert stack_effect_pa(1.0, warm, cold) == pytest.approx(0.040, abs=5.1e-4)
    assert stack_effect_pa(-1.0, warm, cold) == pytest.approx(-0.040, abs=5.1e-4)


def test_wind() -> None:
    """3 m/s: 5.4 Pa."""
    assert wind_pressure_pa(3.0, AIR) == pytest.approx(5.4, abs=0.01)
    assert wind_pressure_pa(3.0, AIR, -0.5) == pytest.approx(-2.7, abs=0.01)
