"""Moist air against CoolProp and psychrolib, run beside ours.

ASHRAE Handbook of Fundamentals 2017, chapter 1, example 1: 40 °C, wet bulb 20 °C:
W 0.0065 (read off a chart), 0.896 m³ per kg of dry air; the same by psychrolib (RH 0.140,
moist 1.1229 kg/m³).
"""

import fluids.atmosphere
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from linetender.airline.air_density import density_kg_m3
from linetender.airline.air_state import air_at, air_at_altitude
from linetender.airline.standard_atmosphere import pressure_pa
from linetender.airline.viscosity import viscosity_pa_s


@settings(max_examples=60)
@given(t=st.floats(15.0, 27.0), p=st.floats(60_000.0, 110_000.0), rh=st.floats(0.0, 100.0))
def test_density_in_the_stated_range(t: float, p: float, rh: float) -> None:
    volume = HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", rh / 100.0)
    assert density_kg_m3(t, p, rh) == pytest.approx(1.0 / volume, rel=1e-4)


@settings(max_examples=40)
@given(t=st.floats(-10.0, 40.0), p=st.floats(70_000.0, 105_000.0), rh=st.floats(0.0, 100.0))
def test_density_outside_it(t: float, p: float, rh: float) -> None:
    volume = HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", rh / 100.0)
    assert density_kg_m3(t, p, rh) == pytest.approx(1.0 / volume, rel=2e-4)


def test_ashrae_example_1() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    ratio = psychrolib.GetHumRatioFromTWetBulb(40.0, 20.0, 101_325.0)
    humidity = 100.0 * psychrolib.GetRelHumFromHumRatio(40.0, ratio, 101_325.0)
    assert (ratio, humidity) == (pytest.approx(0.0065, abs=1.1e-4), pytest.approx(14.0, abs=0.06))
    ours = density_kg_m3(40.0, 101_325.0, humidity)
    assert ours == pytest.approx(1.1229, rel=8e-4)
    assert (1.0 + ratio) / ours == pytest.approx(0.896, abs=1e-3)


@pytest.mark.parametrize("t", [0.0, 15.0, 20.0, 25.0, 40.0])
def test_viscosity_of_dry_air(t: float) -> None:
    """Sutherland lies 0.3 to 0.5 % under Lemmon and Jacobsen's equation."""
    witness = PropsSI("V", "T", t + 273.15, "P", 101_325.0, "Air")
    assert 1.003 <= witness / viscosity_pa_s(t) <= 1.005


@pytest.mark.parametrize("altitude_m", [-500.0, 0.0, 240.0, 1500.0, 3000.0, 5000.0])
def test_standard_atmosphere_against_fluids(altitude_m: float) -> None:
    witness = fluids.atmosphere.ATMOSPHERE_1976(Z=altitude_m)
    assert pressure_pa(altitude_m) == pytest.approx(witness.P, rel=1e-5)
    air = air_at_altitude(altitude_m, witness.T - 273.15, 0.0)
    assert air.density_kg_m3 == pytest.approx(witness.rho, rel=6e-4)
    assert viscosity_pa_s(air.temperature_c) == pytest.approx(witness.mu, rel=1e-4)


def test_air_state_joins_density_and_viscosity() -> None:
    air = air_at(20.0, 101_325.0, 50.0)
    assert air.density_kg_m3 == pytest.approx(1.199314, abs=6e-7)
    assert air.viscosity_pa_s == pytest.approx(18.134e-6, abs=6e-10)
