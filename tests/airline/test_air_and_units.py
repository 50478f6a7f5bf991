"""Refusals of air state, standard flow, thermal reading and traverse."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airline.elements import ROOM, airs
from linetender.airline.air_state import AirState, air_at, air_at_altitude
from linetender.airline.breathing_air import co2_output_l_min, peak_inspiration_l_min
from linetender.airline.disturbance import stack_effect_pa, wind_pressure_pa
from linetender.airline.friction_factor import colebrook, friction_factor
from linetender.airline.standard_flow import ReferenceConditions, StandardFlow, standard_flow
from linetender.airline.thermal_sensor import ThermalReading, reading_of
from linetender.airline.traverse import depths, scatter_relative, traverse_airflow_l_min


@given(air=airs, l_min=st.floats(0.0, 1000.0), t=st.floats(0.0, 25.0))
def test_standard_and_actual_there_and_back(air: AirState, l_min: float, t: float) -> None:
    flow = standard_flow(l_min, air, ReferenceConditions(t, 101_325.0))
    assert flow.reference == ReferenceConditions(t, 101_325.0)
    assert flow.actual_l_min(air) == pytest.approx(l_min)


@given(true=st.floats(-500.0, 500.0), ambient=st.floats(60_000.0, 110_000.0))
def test_thermal_there_and_back(true: float, ambient: float) -> None:
    assert reading_of(true, ambient).true_pa(ambient) == pytest.approx(true)


def test_corrected_once_and_not_again() -> None:
    """What comes out of the correction is a plain number: it has no `true_pa`."""
    assert not hasattr(ThermalReading(50.0).true_pa(95_000.0), "true_pa")


@given(number=st.floats(1.0, 1e7), more=st.floats(1.001, 2.0), roughness=st.floats(0.0, 0.05))
def test_friction_times_square_always_rises(number: float, more: float, roughness: float) -> None:
    """f·Re² is the pressure: it rises through laminar, transition and turbulent flow."""
    pressures = [friction_factor(n, roughness) * n * n for n in (number, number * more)]
    assert pressures[0] < pressures[1]


def test_friction_is_continuous() -> None:
    for edge in (2300.0, 4000.0):
        below, above = (friction_factor(edge * part, 1e-3) for part in (1 - 1e-9, 1 + 1e-9))
        assert below == pytest.approx(above, rel=1e-7)


@given(number=st.floats(100.0, 1e8), roughness=st.floats(0.0, 0.05))
def test_colebrook_satisfies_its_equation(number: float, roughness: float) -> None:
    root = math.sqrt(colebrook(number, roughness))
    right = -2.0 * math.log10(roughness / 3.7 + 2.51 / (number * root))
    assert 1.0 / root == pytest.approx(right, rel=1e-11)


def test_air_at_altitude_takes_the_standard_pressure() -> None:
    assert air_at_altitude(1500.0, 20.0).pressure_pa == pytest.approx(84_560.0, abs=0.6)


def test_scatter() -> None:
    assert scatter_relative([1.0, 1.0, 1.0]) == 0.0
    assert scatter_relative([1.0, 3.0]) == pytest.approx(math.sqrt(2.0) / 2.0)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: air_at(-300.0, 101_325.0), "absolute zero"),
        (lambda: AirState(math.nan, 101_325.0, 50.0, 1.2, 1.8e-5), "air temperature"),
        (lambda: AirState(20.0, 0.0, 50.0, 1.2, 1.8e-5), "air pressure"),
        (lambda: AirState(20.0, 101_325.0, 50.0, -1.2, 1.8e-5), "air density"),
        (lambda: AirState(20.0, 101_325.0, 50.0, 1.2, 0.0), "air viscosity"),
        (lambda: ReferenceConditions(-300.0, 101_325.0), "reference temperature"),
        (lambda: ReferenceConditions(20.0, 0.0), "reference pressure"),
        (lambda: StandardFlow(math.inf, ReferenceConditions(20.0, 1e5)), "standard flow"),
        (lambda: ThermalReading(math.nan), "reading"),
        (lambda: ThermalReading(1.0, 0.0), "calibration pressure"),
        (lambda: ThermalReading(1.0).true_pa(0.0), "air pressure"),
        (lambda: depths(7), "7 points: a traverse has 6, 8, 10"),
        (lambda: traverse_airflow_l_min([], 100.0), "without a velocity"),
        (lambda: traverse_airflow_l_min([1.0, -1.0], 100.0), "velocity -1.0"),
        (lambda: scatter_relative([1.0]), "fewer than two"),
        (lambda: scatter_relative([0.0, 0.0]), "not above 0"),
        (lambda: stack_effect_pa(math.nan, ROOM, ROOM), "rise"),
        (lambda: wind_pressure_pa(-1.0, ROOM), "wind"),
        (lambda: co2_output_l_min(1.0, math.nan), "temperature"),
        (lambda: peak_inspiration_l_min(-1.0), "minute volume"),
    ],
)
def test_refused(make: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()
