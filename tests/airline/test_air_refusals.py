"""Air properties refuse what is not air, and say where the formula is stated."""

import math

import pytest

from linetender.airline.air_density import density_kg_m3, is_within_stated_range
from linetender.airline.standard_atmosphere import pressure_pa, temperature_c
from linetender.airline.viscosity import viscosity_pa_s


@pytest.mark.parametrize(
    ("t", "p", "rh", "message"),
    [
        (-300.0, 101_325.0, 50.0, "absolute zero"),
        (math.nan, 101_325.0, 50.0, "absolute zero"),
        (20.0, 0.0, 50.0, "pressure"),
        (20.0, math.inf, 50.0, "pressure"),
        (20.0, 101_325.0, 101.0, "humidity"),
        (20.0, 101_325.0, math.nan, "humidity"),
    ],
)
def test_density_refused(t: float, p: float, rh: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        density_kg_m3(t, p, rh)


@pytest.mark.parametrize("altitude", [-2001.0, 11_001.0, math.nan])
def test_altitude_refused(altitude: float) -> None:
    with pytest.raises(ValueError, match="altitude"):
        pressure_pa(altitude)
    with pytest.raises(ValueError, match="altitude"):
        temperature_c(altitude)


@pytest.mark.parametrize("t", [-273.15, math.nan, math.inf])
def test_viscosity_refused(t: float) -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        viscosity_pa_s(t)


@pytest.mark.parametrize(
    ("t", "p", "inside"),
    [
        (20.0, 101_325.0, True),
        (15.0, 60_000.0, True),
        (14.9, 101_325.0, False),
        (27.1, 101_325.0, False),
        (20.0, 59_000.0, False),
    ],
)
def test_stated_range(t: float, p: float, inside: bool) -> None:
    assert is_within_stated_range(t, p) is inside
