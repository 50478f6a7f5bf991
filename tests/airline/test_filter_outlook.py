"""What is said of a filter, and what is not said."""

import math
from dataclasses import replace

import pytest

from linetender.airline.filter_history import FilterHistory, FilterPoint, Measure, series_of
from linetender.airline.filter_outlook import DAY_S, HOUR_S, FilterCare, Why, outlook_of
from linetender.airline.viscosity import viscosity_pa_s

BEGIN_S = 1_930_000_000.0
POINT = FilterPoint(BEGIN_S, True, 2.0, element_pa=64.0)


def points(count: int, *, rise: float = 0.01, hours: float = 2.0) -> tuple[FilterPoint, ...]:
    """Uses of every second day, with a resistance of 5·(1 + rise·h) Pa per Pa^½ at 64 Pa."""
    wiggle = (0.002, -0.001, -0.002, 0.001)
    return tuple(
        replace(
            POINT,
            began_s=BEGIN_S + 2 * place * DAY_S,
            hours=hours,
            filter_pa=40.0 * (1.0 + rise * hours * (place + 0.5)) * (1.0 + wiggle[place % 4]),
        )
        for place in range(count)
    )


def history(count: int, **how: float) -> FilterHistory:
    return FilterHistory(BEGIN_S, True, points(count, **how))


def test_pressure_over_airflow_is_a_line_whose_meeting_with_twice_is_foretold() -> None:
    """1 + 0.01·h is 2 at 100 h; at 1 h a day, 60 h on, that is 40 days away."""
    now_s = BEGIN_S + 60 * DAY_S
    outlook = outlook_of(history(30), FilterCare(), 0.5, now_s)
    assert (outlook.why, outlook.series.measure) == (Why.PROJECTED, Measure.RESISTANCE)
    assert outlook.hours == 60.0
    assert outlook.trend is not None and outlook.projected is not None
    assert outlook.trend.loading == pytest.approx(1.6, rel=0.003)
    assert outlook.trend.due_hours.at == pytest.approx(100.0, rel=0.005)
    assert outlook.pace is not None
    assert outlook.pace.hours_per_day == pytest.approx(1.0)
    at_s, low_s, high_s = outlook.projected
    assert (at_s - now_s) / DAY_S == pytest.approx(40.0, rel=0.02)
    assert low_s is not None and high_s is not None
    assert now_s < low_s < at_s < high_s
    assert outlook.due_s == at_s


def test_what_is_past_is_looked_up() -> None:
    outlook = outlook_of(history(60), FilterCare(), 0.5, BEGIN_S + 120 * DAY_S)
    assert outlook.projected is not None
    # 100 h are full at the end of the 50th use, or in the 51st.
    assert (outlook.projected.at_s - BEGIN_S) / DAY_S == pytest.approx(98.0, abs=2.1)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (FilterHistory(BEGIN_S, True), Why.NO_AIR_READINGS),
        (FilterHistory(BEGIN_S, True, (replace(POINT, element_pa=None),) * 9), Why.NO_AIR_READINGS),
        (history(5), Why.FEW_POINTS),
        (history(9, hours=0.5), Why.FEW_HOURS),
        (history(30, rise=0.0), Why.NO_RISE),
        (history(30, rise=-0.003), Why.NO_RISE),
    ],
    ids=["nothing", "no-air", "few", "short", "level", "falling"],
)
def test_what_the_points_do_not_say_is_not_said(seen: FilterHistory, why: Why) -> None:
    outlook = outlook_of(seen, FilterCare(), 0.5, BEGIN_S + 60 * DAY_S)
    assert (outlook.why, outlook.projected, outlook.due_s) == (why, None, None)


def test_without_two_weeks_of_use_there_are_hours_and_no_date() -> None:
    close = tuple(
        replace(point, began_s=BEGIN_S + place * 6 * HOUR_S)
        for place, point in enumerate(points(30))
    )
    outlook = outlook_of(
        FilterHistory(BEGIN_S, True, close), FilterCare(), 0.5, BEGIN_S + 8 * DAY_S
    )
    assert outlook.why is Why.PROJECTED
    assert outlook.trend is not None
    assert outlook.trend.due_hours.at == pytest.approx(100.0, rel=0.005)
    assert (outlook.pace, outlook.projected, outlook.due_s) == (None, None, None)


def test_a_clock_that_nobody_set_gives_no_date() -> None:
    unset = tuple(replace(point, synchronised=False) for point in points(30))
    outlook = outlook_of(
        FilterHistory(BEGIN_S, True, unset), FilterCare(), 0.5, BEGIN_S + 60 * DAY_S
    )
    assert (outlook.why, outlook.pace, outlook.projected) == (Why.PROJECTED, None, None)


@pytest.mark.parametrize(
    ("care", "days"),
    [
        (FilterCare(good_for_days=30.0), 30.0),
        (FilterCare(good_for_hours=20.0), 18.0 + 2 / 24),
        (FilterCare(good_for_hours=70.0), 70.0),
        (FilterCare(good_for_days=30.0, good_for_hours=70.0), 30.0),
    ],
)
def test_a_stated_life_counts_besides(care: FilterCare, days: float) -> None:
    outlook = outlook_of(history(30, rise=0.0), care, 0.5, BEGIN_S + 60 * DAY_S)
    assert outlook.why is Why.NO_RISE
    assert outlook.due_s is not None
    assert (outlook.due_s - BEGIN_S) / DAY_S == pytest.approx(days, abs=0.01)


def test_the_least_airflow_comes_before_a_part_of_the_new_filters() -> None:
    """Air of 90 % of the new filter's is the least permitted: that is due before 80 %."""
    flows = tuple(
        replace(point, filter_pa=None, element_pa=64.0 * math.exp(-0.004 * 2.0 * (place + 0.5)))
        for place, point in enumerate(points(20))
    )
    seen, now_s = FilterHistory(BEGIN_S, True, flows), BEGIN_S + 40 * DAY_S
    by_part = outlook_of(seen, FilterCare(), 0.5, now_s)
    by_flow = outlook_of(seen, FilterCare(least_element_pa=64.0 * 0.81), 0.5, now_s)
    assert by_part.trend is not None and by_flow.trend is not None
    assert by_part.series.measure is Measure.FLOW
    assert by_part.trend.limit == pytest.approx(0.8)
    assert by_flow.trend.limit == pytest.approx(0.9, abs=0.01)
    assert by_flow.trend.due_hours.at is not None and by_part.trend.due_hours.at is not None
    assert by_flow.trend.due_hours.at < 0.6 * by_part.trend.due_hours.at


def test_warmth_is_not_loading() -> None:
    """One filter at 0 and 30 °C: Δp = r·μ·Q, and Q = k·√(Δp_e/ρ) at the same Δp_e."""
    cold, warm = (
        replace(
            POINT,
            filter_pa=40.0
            * viscosity_pa_s(t)
            / viscosity_pa_s(20.0)
            * ((t + 273.15) / 293.15) ** 0.5,
            temperature_c=t,
        )
        for t in (0.0, 30.0)
    )
    values = series_of((cold, warm), 0.5).values
    assert values[0] == pytest.approx(values[1], rel=1e-9)


def test_a_measure_counts_when_half_of_the_points_have_it() -> None:
    bare, by_filter = POINT, replace(POINT, filter_pa=40.0)
    by_speed = replace(POINT, fan_rpm=2800.0)
    for seen, measure, count in (
        ((bare, bare, bare), Measure.FLOW, 3),
        ((bare, by_speed, by_speed), Measure.FLOW_AT_SPEED, 2),
        ((bare, by_filter, by_speed, by_filter), Measure.RESISTANCE, 2),
        ((bare, bare, by_filter), Measure.FLOW, 3),
    ):
        series = series_of(seen, 0.5)
        assert (series.measure, len(series.values)) == (measure, count)
