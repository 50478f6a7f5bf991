"""The ambient-pressure correction of flow-through sensors.

Calibrated at 966 mbar, true = reading·966/p: the constant stands in the makers' data
sheets and in public flight-controller code (96600/p). Factors 0.953 at 1013.25 mbar and 1.147 at
842 mbar; a true 100 Pa reads 104.2 at 1006.5 mbar.
"""

import math

import pytest

from linetender.airline.air_state import air_at
from linetender.airline.thermal_sensor import ThermalReading, correction_factor, reading_of


@pytest.mark.parametrize(("ambient_pa", "factor"), [(101_325.0, 0.953), (84_200.0, 1.147)])
def test_factor(ambient_pa: float, factor: float) -> None:
    assert correction_factor(ambient_pa) == pytest.approx(factor, abs=5.1e-4)


def test_true_pressure_is_read_higher_in_dense_air() -> None:
    reading = reading_of(100.0, 100_650.0)
    assert reading.reading_pa == pytest.approx(104.2, abs=0.05)
    assert reading.true_pa(100_650.0) == pytest.approx(100.0)


def test_mass_flow_does_not_depend_on_pressure() -> None:
    """m = K·√(2ρΔp) from one reading at one temperature, dry air, 70 to 101 kPa: identical.

    To 5e-4, by which air differs from the ideal gas of the correction.
    """

    def mass(ambient_pa: float) -> float:
        air = air_at(20.0, ambient_pa, 0.0)
        return math.sqrt(2.0 * air.density_kg_m3 * ThermalReading(50.0).true_pa(ambient_pa))

    at_sea_level = mass(101_325.0)
    assert [mass(p) for p in (70_000.0, 84_556.0, 95_000.0)] == pytest.approx(
        [at_sea_level] * 3, rel=5e-4
    )
