"""Seconds that there are against seconds that it takes."""

import math

import pytest

from linetender.airline.alarm_budget import AlarmBudget, budget_s, coast_down_s


def test_default_rule_meets_the_budget_of_a_small_hood() -> None:
    budget = AlarmBudget(
        available_s=budget_s(170.0),
        coast_down_s=coast_down_s(0.65, 3.0),
        sensing_s=0.2,
        on_delay_s=2.0,
    )
    assert budget.needed_s == pytest.approx(3.0 * (1 / 0.65 - 1) + 0.2 + 2.0 + 5.0)
    assert budget.is_met
    assert budget.leaves_time_for(7.0)
    assert not budget.leaves_time_for(25.0)


def test_a_long_delay_does_not() -> None:
    assert not AlarmBudget(budget_s(170.0), 1.6, 0.2, on_delay_s=10.0).is_met


@pytest.mark.parametrize(
    ("fraction", "tau", "expected"),
    [(0.5, 3.0, 3.0), (0.25, 3.0, 9.0), (1.0, 3.0, 0.0), (1.2, 3.0, 0.0), (0.65, 0.0, 0.0)],
)
def test_coast_down(fraction: float, tau: float, expected: float) -> None:
    assert coast_down_s(fraction, tau) == pytest.approx(expected)


def test_no_time_left_where_the_steady_state_is_past_the_limit() -> None:
    assert budget_s(20.0, co2_l_min=0.73) == 0.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="not above 0"):
        budget_s(bad)
    with pytest.raises(ValueError, match="not above 0"):
        budget_s(170.0, volume_l=bad)
    with pytest.raises(ValueError, match="not above 0"):
        budget_s(170.0, co2_l_min=bad)
    with pytest.raises(ValueError, match="not above 0"):
        coast_down_s(bad, 3.0)
    with pytest.raises(ValueError, match="coast-down time"):
        coast_down_s(0.5, -1.0)
