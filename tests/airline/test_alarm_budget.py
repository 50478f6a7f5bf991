"""Seconds that there are against seconds that it takes."""

import math

import pytest

from linetender.airline.alarm_budget import (
    AlarmBudget,
    BudgetVerdict,
    budget_s,
    coast_down_s,
)


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
    ("on_delay_s", "exit_time_s", "verdict"),
    [
        (2.0, 7.0, BudgetVerdict.LEAVES_IN_TIME),
        (2.0, 7.8, BudgetVerdict.LEAVES_IN_TIME),
        (2.0, 7.9, BudgetVerdict.OPEN_HOOD_WHILE_GOING),
        (2.0, None, BudgetVerdict.EXIT_NOT_MEASURED),
        (9.8, 0.0, BudgetVerdict.LEAVES_IN_TIME),
        (9.9, 0.0, BudgetVerdict.TOO_LATE),
        (9.9, None, BudgetVerdict.TOO_LATE),
    ],
)
def test_verdict(on_delay_s: float, exit_time_s: float | None, verdict: BudgetVerdict) -> None:
    """16.6 s there are; 1.6 + 0.2 + 5 s go by besides the delay."""
    budget = AlarmBudget(16.63, 1.62, 0.2, on_delay_s, exit_time_s=exit_time_s)
    assert budget.verdict is verdict
    assert budget.longest_on_delay_s == pytest.approx(16.63 - 6.82)
    assert budget.spare_s == pytest.approx(16.63 - 6.82 - on_delay_s)


def test_no_delay_is_short_enough_where_no_time_is_left() -> None:
    budget = AlarmBudget(5.0, 1.62, 0.2, 2.0)
    assert budget.longest_on_delay_s == 0.0
    assert budget.verdict is BudgetVerdict.TOO_LATE


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
