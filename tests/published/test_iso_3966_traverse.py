"""Traverse depths and pitot velocities.

Depths: a printed traverse appendix, whose misprints (0.32 for 0.032, 0.981 for 0.979) the
symmetry test would catch. It calls them log-Tchebycheff; they are ISO 3966's log-linear
points, as the mean of ln(1 - r/R) shows. Mean of velocities: calcady.com pitot traverse.
"""

import math

import pytest

from linetender.airline.air_state import AirState
from linetender.airline.pitot import CENTRE_TO_MEAN_TURBULENT, measured_velocity_m_s
from linetender.airline.trade_units import M_S_PER_FPM, PA_PER_INCH_OF_WATER
from linetender.airline.traverse import POINT_COUNTS, depths, traverse_airflow_l_min

PUBLISHED = {
    6: (0.032, 0.135, 0.321, 0.679, 0.865, 0.968),
    8: (0.021, 0.117, 0.184, 0.345, 0.655, 0.816, 0.883, 0.979),
    10: (0.019, 0.077, 0.153, 0.217, 0.361, 0.639, 0.783, 0.847, 0.923, 0.981),
}
STANDARD_AIR = AirState(20.0, 101_325.0, 0.0, 1.2014, 18.13e-6)  # 0.075 lb/ft³


@pytest.mark.parametrize("points", POINT_COUNTS)
def test_depths(points: int) -> None:
    assert depths(points) == PUBLISHED[points]
    assert [near + far for near, far in zip(depths(points), depths(points)[::-1], strict=True)] == (
        pytest.approx([1.0] * points)
    )


def test_log_linear_and_not_tchebycheff() -> None:
    """Radii 0.3586, 0.7302, 0.9358; mean of ln(1 - r/R) is -1.5000 as in a logarithmic profile."""
    radii = [1.0 - 2.0 * depth for depth in depths(6)[:3]]
    assert sorted(radii) == pytest.approx((0.3586, 0.7302, 0.9358), abs=6e-4)
    exact = (0.3586, 0.7302, 0.9358)
    assert math.fsum(math.log(1.0 - r) for r in exact) / 3.0 == pytest.approx(-1.5, abs=5e-4)
    other = (0.3754, 0.7252, 0.9358)
    assert math.fsum(math.log(1.0 - r) for r in other) / 3.0 == pytest.approx(-1.5027, abs=5e-4)


@pytest.mark.parametrize(("power", "error_percent"), [(None, -2.5), (7.0, -0.3)])
def test_profile_read_at_six_points(power: float | None, error_percent: float) -> None:
    """A parabola (laminar) is read 2.5 % low, a 1/7-power profile 0.3 %."""
    radii = [abs(1.0 - 2.0 * depth) for depth in depths(6)]
    if power is None:
        velocities, mean = [2.0 * (1.0 - r * r) for r in radii], 1.0
    else:
        velocities = [(1.0 - r) ** (1.0 / power) for r in radii]
        mean = 2.0 * power**2 / ((power + 1.0) * (2.0 * power + 1.0))
        assert mean == pytest.approx(CENTRE_TO_MEAN_TURBULENT, abs=5e-4)
    true_l_min = mean * math.pi / 4.0 * 0.1**2 * 60_000.0
    got = traverse_airflow_l_min(velocities, 100.0)
    assert 100.0 * (got / true_l_min - 1.0) == pytest.approx(error_percent, abs=0.06)


def test_velocity_of_one_inch_of_water() -> None:
    """0.075 lb/ft³: 20.364 m/s, 4008.6 fpm; printed constants vary by 0.2 % (4005 at 68 °F)."""
    velocity = measured_velocity_m_s(PA_PER_INCH_OF_WATER, STANDARD_AIR)
    assert velocity == pytest.approx(20.364, abs=2e-3)
    assert velocity / M_S_PER_FPM == pytest.approx(4008.6, abs=0.4)
    assert velocity / M_S_PER_FPM == pytest.approx(4005.0, rel=2e-3)


def test_velocities_are_averaged_not_pressures() -> None:
    """0.16, 0.25 and 0.36 inches of water: 2002 fpm."""
    velocities = [
        measured_velocity_m_s(inches * PA_PER_INCH_OF_WATER, STANDARD_AIR)
        for inches in (0.16, 0.25, 0.36)
    ]
    area_m2 = math.pi / 4.0 * 0.1**2
    mean_fpm = traverse_airflow_l_min(velocities, 100.0) / 60_000.0 / area_m2 / M_S_PER_FPM
    assert mean_fpm == pytest.approx(2002.0, rel=2e-3)
