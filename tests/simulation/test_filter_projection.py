"""Whether a filter's due date comes true: lives on a simulated line, against what is said of them.

The truth comes from the simulated line (fan, filter, duct and hose in balance), the projection
from what its sensors see: 500 lives by three measures, with and without changes of the fan's
speed, wild uses and irregular habits.
"""

import sys
from dataclasses import replace
from random import Random
from typing import NamedTuple

import pytest

from linetender.airline.filter_history import FilterHistory, FilterPoint, Measure
from linetender.airline.filter_outlook import FilterCare, FilterOutlook, Why, outlook_of
from linetender.simulation.filter_life import (
    DAY_S,
    FITTED_S,
    FilterLife,
    Habit,
    drawn_habit,
)

LIVES = 500
CARE = FilterCare()
EXPONENT = 0.54
LEFT_OUT = {
    Measure.RESISTANCE: {"fan_rpm": None},
    Measure.FLOW_AT_SPEED: {"filter_pa": None},
    Measure.FLOW: {"filter_pa": None, "fan_rpm": None},
}
STEADY = Habit(per_day=0.5, hours=2.0, doubles_h=100.0, error=0.006)


class Told(NamedTuple):
    """What is said of a filter at some instant, and what is true."""

    outlook: FilterOutlook
    true_h: float
    true_s: float


def seen(life: FilterLife, until_h: float, measure: Measure) -> FilterHistory:
    points: list[FilterPoint] = []
    for point in life.uses():
        points.append(replace(point, **LEFT_OUT[measure]))
        if life.hours >= until_h:
            break
    return FilterHistory(FITTED_S, True, tuple(points))


def told(seed: int, measure: Measure, habit: Habit, part: float) -> Told:
    """Look at a life when `part` of its hours until due have passed, then wait for the truth."""
    life = FilterLife(seed, habit)
    if measure is Measure.RESISTANCE:
        true_h = life.hours_at_loading(CARE.resistance)
    else:
        true_h = life.hours_at_airflow_part(CARE.airflow_part, habit.speeds[-1][1])
    history = seen(life, max(part * true_h, 1.05 * habit.speeds[-1][0]), measure)
    now_s = FITTED_S + (life.day + 1) * DAY_S
    outlook = outlook_of(history, CARE, EXPONENT, now_s)
    uses = life.uses()
    while life.hours < true_h:
        next(uses)
    return Told(outlook, true_h, FITTED_S + life.day * DAY_S)


def test_the_true_due_date_lies_in_the_interval_as_often_as_is_said() -> None:
    inside: dict[Measure, list[bool]] = {measure: [] for measure in Measure}
    for seed in range(LIVES):
        measure, changes = list(Measure)[seed % 3], (0, 0, 1, 3)[seed // 3 % 4]
        random = Random(seed)
        habit = drawn_habit(random, speed_changes=changes)
        outlook, true_h, true_s = told(seed, measure, habit, random.uniform(0.4, 0.85))
        if outlook.projected is None or outlook.projected.low_s is None:
            # Too little use yet for a date, or said to be due already.
            assert outlook.pace is None or outlook.hours > 0.8 * true_h
            continue
        _, low_s, high_s = outlook.projected
        inside[measure].append(low_s <= true_s and (high_s is None or true_s <= high_s))
    every = [each for found in inside.values() for each in found]
    for measure, found in inside.items():
        sys.stdout.write(f"{measure.value}: {sum(found)} of {len(found)} inside\n")
    sys.stdout.write(f"all: {sum(every) / len(every):.1%} of {len(every)} inside, 90 % said\n")
    assert len(every) > 0.9 * LIVES
    assert 0.85 <= sum(every) / len(every) <= 0.95


@pytest.mark.parametrize("measure", Measure, ids=lambda each: each.value)
@pytest.mark.parametrize("speed", [0.7, 0.85, 1.2])
def test_a_change_of_fan_speed_does_not_fool_it(measure: Measure, speed: float) -> None:
    """The same filter with the fan turned down or up: much the same hours, not a loaded one."""
    turned = replace(STEADY, speeds=((0.0, 1.0), (40.0, speed)))
    for seed in range(5):
        outlook, true_h, _ = told(seed, measure, turned, 0.7)
        assert outlook.series.measure is measure
        assert outlook.why is Why.PROJECTED
        assert outlook.trend is not None and outlook.trend.due_hours.at is not None
        assert outlook.trend.due_hours.at == pytest.approx(true_h, rel=0.15)
        if measure is Measure.FLOW:
            assert len(outlook.series.jumps) >= 1


def test_a_jump_of_the_air_alone_is_not_a_loaded_filter() -> None:
    """A filter that never loads, and a fan turned down by a quarter: nothing is projected."""
    clean = replace(STEADY, doubles_h=1e6, speeds=((0.0, 1.0), (40.0, 0.75)))
    for measure in Measure:
        history = seen(FilterLife(3, clean), 80.0, measure)
        outlook = outlook_of(history, CARE, EXPONENT, history.points[-1].began_s + DAY_S)
        assert outlook.trend is not None
        assert outlook.trend.loading == pytest.approx(1.0, abs=0.03)
        due_h = outlook.trend.due_hours
        assert due_h.low is None or due_h.low > 3.0 * outlook.hours


def test_a_new_filter_begins_anew() -> None:
    old = seen(FilterLife(5, STEADY), 90.0, Measure.RESISTANCE)
    fitted_s = old.points[-1].began_s + DAY_S
    before = outlook_of(old, CARE, EXPONENT, fitted_s)
    assert before.trend is not None and before.trend.loading > 1.8
    fresh = outlook_of(FilterHistory(fitted_s, True), CARE, EXPONENT, fitted_s)
    assert (fresh.why, fresh.hours, fresh.trend, fresh.due_s) == (
        Why.NO_AIR_READINGS,
        0.0,
        None,
        None,
    )
    few = outlook_of(
        FilterHistory(fitted_s, True, old.points[:5]), CARE, EXPONENT, fitted_s + 9 * DAY_S
    )
    assert (few.why, few.trend, few.projected) == (Why.FEW_POINTS, None, None)
