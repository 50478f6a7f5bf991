"""The standard atmosphere and Sutherland's viscosity against tables of ISO 2533.

Pressure and density at geometric altitudes: table of the international standard
atmosphere at engineeringtoolbox.com (d_985), equal to fluids 1.3.1. Altitude pressures of
ASHRAE: Handbook of Fundamentals 2017, chapter 1, table 1. Viscosities: Sutherland's
formula computed with fluids 1.3.1; Lemmon and Jacobsen's with CoolProp 8.0.0.
"""

import pytest

from linetender.airline.air_density import density_kg_m3
from linetender.airline.standard_atmosphere import pressure_pa, temperature_c
from linetender.airline.viscosity import viscosity_pa_s

GEOMETRIC = [
    (500.0, 95_461.0, 1.1673),
    (1000.0, 89_876.0, 1.1117),
    (1500.0, 84_560.0, 1.0581),
    (2000.0, 79_501.0, 1.0066),
    (3000.0, 70_121.0, 0.9093),
]


@pytest.mark.parametrize(("altitude", "pressure", "density"), GEOMETRIC)
def test_pressure_at_geometric_altitude(altitude: float, pressure: float, density: float) -> None:
    assert pressure_pa(altitude) == pytest.approx(pressure, abs=0.6)


@pytest.mark.parametrize(("altitude", "pressure", "density"), GEOMETRIC)
def test_density_at_geometric_altitude(altitude: float, pressure: float, density: float) -> None:
    """Dry real air (CIPM-2007) at the standard's pressure and temperature, to 6e-4."""
    got = density_kg_m3(temperature_c(altitude), pressure_pa(altitude), 0.0)
    assert got == pytest.approx(density, rel=6e-4)


@pytest.mark.parametrize(
    ("altitude", "pressure"),
    [
        (-500.0, 107_478.0),
        (0.0, 101_325.0),
        (500.0, 95_461.0),
        (1000.0, 89_875.0),
        (4000.0, 61_640.0),
    ],
)
def test_pressure_of_ashrae(altitude: float, pressure: float) -> None:
    """ASHRAE's formula takes the altitude as geopotential: 4 parts in 10 000 at 4000 m."""
    assert pressure_pa(altitude) == pytest.approx(pressure, rel=4e-4)


@pytest.mark.parametrize(("altitude", "geopotential_pa"), [(1500.0, 84_556.0), (3000.0, 70_108.0)])
def test_altitude_is_not_geopotential(altitude: float, geopotential_pa: float) -> None:
    """At the same figure of geopotential altitude the pressure is lower by some pascals."""
    assert 3.0 < pressure_pa(altitude) - geopotential_pa < 15.0


@pytest.mark.parametrize(
    ("t", "sutherland_upa_s", "lemmon_upa_s"),
    [
        (0.0, 17.161, 17.218),
        (15.0, 17.894, 17.962),
        (20.0, 18.134, 18.206),
        (25.0, 18.372, 18.448),
        (40.0, 19.076, 19.165),
    ],
)
def test_viscosity(t: float, sutherland_upa_s: float, lemmon_upa_s: float) -> None:
    got = viscosity_pa_s(t) * 1e6
    assert got == pytest.approx(sutherland_upa_s, abs=6e-4)
    assert 1.003 <= lemmon_upa_s / got <= 1.005
