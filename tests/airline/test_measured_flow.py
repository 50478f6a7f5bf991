"""Airflow by bag and stopwatch, and by a traverse."""

import math

import pytest

from linetender.airline.measured_flow import flow_of_bag, flow_of_traverse
from linetender.airline.traverse import POINT_COUNTS


def test_a_bag() -> None:
    # 200 L in 70.6 s are 170 L/min.
    flow = flow_of_bag(200.0, 70.588)
    assert flow.airflow_l_min == pytest.approx(170.0, abs=0.01)
    assert flow.random_relative == pytest.approx(math.hypot(0.25 / 70.588, 0.02))
    assert flow.common_relative == 0.03


def test_a_stopwatch_is_worth_less_on_a_short_fill() -> None:
    assert flow_of_bag(20.0, 6.0).random_relative > 2 * flow_of_bag(200.0, 60.0).random_relative


@pytest.mark.parametrize(
    ("volume_l", "seconds"),
    [
        (0.0, 60.0),
        (-200.0, 60.0),
        (math.nan, 60.0),
        (200.0, 0.0),
        (200.0, -60.0),
        (200.0, 4.9),
        (200.0, 1801.0),
        (200.0, math.nan),
    ],
)
def test_a_fill_that_cannot_be_is_refused(volume_l: float, seconds: float) -> None:
    with pytest.raises(ValueError, match=r"bag"):
        flow_of_bag(volume_l, seconds)


@pytest.mark.parametrize("points", POINT_COUNTS)
@pytest.mark.parametrize("diameters", [1, 2])
def test_a_traverse_of_a_flat_profile(points: int, diameters: int) -> None:
    flow = flow_of_traverse([2.0] * (points * diameters), 100.0)
    # 2 m/s through a circle of 0.1 m: 0.015708 m³/s.
    assert flow.airflow_l_min == pytest.approx(2.0 * math.pi * 0.05**2 * 60_000.0)
    assert (flow.random_relative, flow.common_relative) == (0.02, 0.05)


@pytest.mark.parametrize("velocities", [[], [2.0], [2.0] * 7, [0.0] * 6, [2.0] * 5 + [-1.0]])
def test_no_traverse(velocities: list[float]) -> None:
    with pytest.raises(ValueError, match=r"velocit|airflow"):
        flow_of_traverse(velocities, 100.0)
