"""Density of moist air against the CIPM-2007 formula coded elsewhere, and against ASHRAE's.

CIPM-2007: Picard et al., Metrologia 45 (2008) 149-155. The paper has no worked example
that we saw; the densities below were computed from constants as they stand in several
public implementations, and differ from CoolProp's HumidAir by less than 1e-4.
"""

import psychrolib
import pytest

from linetender.airline import air_density

# t (°C), p (Pa), RH (%), CIPM-2007 (kg/m³), CoolProp 8.0.0 HumidAir (kg/m³)
ROWS = [
    (20.0, 101_325.0, 0.0, 1.204557, 1.204603),
    (20.0, 101_325.0, 50.0, 1.199314, 1.199359),
    (25.0, 101_325.0, 50.0, 1.177315, 1.177360),
    (27.0, 101_325.0, 60.0, 1.167020, 1.167065),
    (25.0, 84_556.0, 50.0, 0.981265, 0.981299),
    (35.0, 95_000.0, 50.0, 1.062234, 1.062273),  # outside the stated range
    (-10.0, 101_325.0, 50.0, 1.341657, 1.341773),  # outside the stated range
]


@pytest.mark.parametrize(("t", "p", "rh", "cipm", "coolprop"), ROWS)
def test_density(t: float, p: float, rh: float, cipm: float, coolprop: float) -> None:
    got = air_density.density_kg_m3(t, p, rh)
    assert got == pytest.approx(cipm, abs=6e-7)
    assert got == pytest.approx(coolprop, rel=1e-4)


@pytest.mark.parametrize(("t", "p", "rh", "cipm", "coolprop"), ROWS)
def test_density_against_ideal_gas(
    t: float, p: float, rh: float, cipm: float, coolprop: float
) -> None:
    """ASHRAE's ideal moist air (psychrolib) lies within 8e-4."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    ratio = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, p)
    ideal = psychrolib.GetMoistAirDensity(t, ratio, p)
    assert air_density.density_kg_m3(t, p, rh) == pytest.approx(ideal, rel=8e-4)


def test_intermediate_quantities() -> None:
    """Z, f and the saturation pressure at 20 °C, 101 325 Pa, 50 %."""
    vapour = air_density.vapour_fraction(20.0, 101_325.0, 50.0)
    assert air_density.saturation_pressure_pa(20.0) == pytest.approx(2339.16, abs=0.01)
    assert air_density.enhancement_factor(20.0, 101_325.0) == pytest.approx(1.004026, abs=5e-7)
    assert air_density.compressibility(20.0, 101_325.0, vapour) == pytest.approx(
        0.9996148, abs=5e-8
    )


def test_oiml_r111_short_form() -> None:
    """OIML R111's approximate formula (from memory) gives 1.19929 in the same case."""
    assert air_density.density_kg_m3(20.0, 101_325.0, 50.0) == pytest.approx(1.19929, rel=1e-4)


@pytest.mark.parametrize(("t", "saturation_pa"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3)])
def test_saturation_pressure_ashrae(t: float, saturation_pa: float) -> None:
    """ASHRAE Handbook of Fundamentals 2017, chapter 1, table 3: another formula, to 0.1 %."""
    assert air_density.saturation_pressure_pa(t) == pytest.approx(saturation_pa, rel=1e-3)
