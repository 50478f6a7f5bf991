"""Q = k·Δp^n, its inverse, and k in other air."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.airline.air_state import air_at
from linetender.airline.fitted_element import (
    CalibratedElement,
    FitCovariance,
    airflow_l_min,
    differential_pa,
    k_at_density,
)


@pytest.mark.parametrize(
    ("pressure", "exponent", "expected"),
    [(100.0, 0.5, 100.0), (25.0, 0.5, 50.0), (7.0, 1.0, 70.0), (0.0, 0.54, 0.0), (-3.0, 0.54, 0.0)],
)
def test_airflow(pressure: float, exponent: float, expected: float) -> None:
    assert airflow_l_min(pressure, 10.0, exponent) == pytest.approx(expected)


def test_pressure_of_no_flow() -> None:
    assert [differential_pa(q, 10.0, 0.54) for q in (0.0, -5.0)] == [0.0, 0.0]


@given(pressure=st.floats(1e-3, 1e4), k=st.floats(0.1, 1e3), exponent=st.floats(0.5, 1.0))
def test_there_and_back(pressure: float, k: float, exponent: float) -> None:
    flow = airflow_l_min(pressure, k, exponent)
    assert differential_pa(flow, k, exponent) == pytest.approx(pressure, rel=1e-9)


@given(
    exponent=st.floats(0.5, 1.0),
    density_ratio=st.floats(0.6, 1.3),
    viscosity_ratio=st.floats(0.9, 1.1),
)
def test_k_follows_the_friction_law(
    exponent: float, density_ratio: float, viscosity_ratio: float
) -> None:
    """Put the flow back into f·ρ·V² with f = Re^-m: the same pressure comes out in both airs."""
    m = 2.0 - 1.0 / exponent

    def pressure(flow: float, density: float, viscosity: float) -> float:
        friction = (density * flow / viscosity) ** -m
        return friction * density * flow * flow

    k = k_at_density(10.0, exponent, 1.2 * density_ratio, 1.2, viscosity_ratio)
    assert pressure(k, density_ratio, viscosity_ratio) == pytest.approx(
        pressure(10.0, 1.0, 1.0), rel=1e-9
    )


def test_ends_of_the_law() -> None:
    assert k_at_density(10.0, 0.5, 0.3, 1.2, 1.5) == pytest.approx(20.0)  # orifice: √(ρ0/ρ)
    assert k_at_density(10.0, 1.0, 0.3, 1.2, 2.0) == pytest.approx(5.0)  # laminar: μ0/μ


@pytest.mark.parametrize(
    ("pressure", "k", "exponent", "message"),
    [
        (math.nan, 10.0, 0.5, "not a finite number"),
        (math.inf, 10.0, 0.5, "not a finite number"),
        (1.0, 0.0, 0.5, "calibration factor"),
        (1.0, math.inf, 0.5, "calibration factor"),
        (1.0, 10.0, 0.49, "exponent"),
        (1.0, 10.0, math.nan, "exponent"),
    ],
)
def test_refused(pressure: float, k: float, exponent: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        airflow_l_min(pressure, k, exponent)
    with pytest.raises(ValueError, match=message):
        differential_pa(pressure, k, exponent)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_other_air_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="density"):
        k_at_density(10.0, 0.5, bad, 1.2)
    with pytest.raises(ValueError, match="reference density"):
        k_at_density(10.0, 0.5, 1.2, bad)
    with pytest.raises(ValueError, match="viscosity ratio"):
        k_at_density(10.0, 0.5, 1.2, 1.2, bad)


def test_pressures_told_otherwise_mean_the_same_flow_with_the_same_doubt() -> None:
    air = air_at(20.0, 101_325.0)
    covariance = FitCovariance(2e-4, -5e-5, 1.5e-5)
    made = CalibratedElement(27.0, 0.54, air, 0.03, covariance, 15.0, 60.0)
    now = made.for_pressures_times(0.953)
    assert now.airflow_l_min(0.953 * 30.0, air) == pytest.approx(made.airflow_l_min(30.0, air))
    assert now.covariance.relative_uncertainty(0.953 * 30.0) == pytest.approx(
        covariance.relative_uncertainty(30.0)
    )
    assert (now.least_pa, now.greatest_pa) == (0.953 * 15.0, 0.953 * 60.0)
    with pytest.raises(ValueError, match="factor"):
        made.for_pressures_times(0.0)
