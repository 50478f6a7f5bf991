"""One world: the same for the same seed, whoever looks and when."""

import statistics

import pytest

from linetender.airline.alarm_budget import coast_down_s
from linetender.simulation.knobs import Knob
from linetender.simulation.world import World

S = 1_000_000_000
SAMPLE_NS = 40_000_000


def running(seed: int = 1) -> World:
    world = World(seed)
    world.fan_start(0)
    return world


def pressures(world: World, from_s: int, to_s: int) -> list[float]:
    return [world.hood_pressure_pa(at) for at in range(from_s * S, to_s * S, SAMPLE_NS)]


def a_day(seed: int) -> list[float]:
    world = running(seed)
    world.hood_on(10 * S)
    seen = pressures(world, 10, 20)
    world.crush(20 * S, 0.5)
    seen += pressures(world, 20, 30)
    world.fan_stop(30 * S)
    seen += pressures(world, 30, 60)
    return [*seen, world.spo2_percent(60 * S), world.pulse_rate_bpm(60 * S)]


def test_same_seed_same_day() -> None:
    assert a_day(1) == a_day(1)
    assert a_day(1) != a_day(2)


def test_looking_more_often_changes_nothing() -> None:
    def after_a_stop(looks_ns: range) -> tuple[float, ...]:
        world = running()
        world.hood_on(10 * S)
        for at in looks_ns:
            if at < 60 * S:
                world.spo2_percent(at)
        world.fan_stop(60 * S)
        for at in looks_ns:
            if at > 60 * S:
                world.hood_o2_fraction(at)
        at = 120 * S
        return (
            world.hood_pressure_pa(at),
            world.airflow_l_min(at),
            world.hood_o2_fraction(at),
            world.spo2_percent(at),
            world.pulse_rate_bpm(at),
        )

    assert after_a_stop(range(0)) == after_a_stop(range(10 * S, 120 * S, 33_000_000))


def test_at_first_nothing_moves() -> None:
    assert pressures(World(1), 0, 5) == [0.0] * 125


def test_normal_pressure_and_its_noise() -> None:
    """60 Pa; turbulence alone 2 % of it, for many seeds within a tenth of a percent point or so."""
    seen = pressures(running(), 60, 1260)
    assert statistics.fmean(seen) == pytest.approx(60.0, rel=0.003)
    assert statistics.pstdev(seen) / 60.0 == pytest.approx(0.02, abs=0.003)


def test_breathing_shows_only_while_the_hood_is_worn() -> None:
    """0.8 Pa of sine, 18 per minute: the mean of breaths out less that of breaths in."""

    def swing(worn: bool) -> float:
        world = running()
        if worn:
            world.hood_on(30 * S)
        period_ns = round(60 * S / 18)
        out, inwards = [], []
        for at in range(60 * S, 660 * S, SAMPLE_NS):
            half = out if at % period_ns < period_ns // 2 else inwards
            half.append(world.hood_pressure_pa(at))
        return statistics.fmean(out) - statistics.fmean(inwards)

    assert abs(swing(worn=False)) < 0.1
    assert swing(worn=True) - swing(worn=False) == pytest.approx(2 * 0.8 * 2 / 3.1416, abs=0.02)


@pytest.mark.parametrize("seed", range(20))
def test_half_crushed_is_low_and_never_lost(seed: int) -> None:
    """In percent of normal flow: under the 80 % of "air falling", over the 65 % of "air lost"."""
    world = running(seed)
    world.hood_on(10 * S)
    world.crush(30 * S, 0.5)
    percents = [100.0 * (pressure / 60.0) ** 0.54 for pressure in pressures(world, 30, 60)]
    assert statistics.fmean(percents) == pytest.approx(77.0, abs=1.0)
    assert 70.0 < min(percents) < max(percents) < 85.0


def test_flow_after_a_stop_falls_faster_than_the_fan() -> None:
    """A filter is linear in flow: where the fan has coasted to 65 %, the flow is lower still."""
    world = running()
    world.fan_stop(100 * S)
    due_ns = 100 * S + round(coast_down_s(0.65, world.figures.fan_tau_s) * S)
    assert world.fan_speed(due_ns) == pytest.approx(0.65)
    assert 0.5 < world.airflow_l_min(due_ns) / world.figures.normal_l_min < 0.65


def test_a_knob_that_is_turned_slowly() -> None:
    world = running()
    world.turn(100 * S, Knob.CRUSH, 0.8, over_s=10.0)
    world.turn(100 * S, Knob.FAN, 0.5, over_s=10.0)
    flows = [world.airflow_l_min(at * S) for at in range(100, 125)]
    assert flows == sorted(flows, reverse=True)
    assert world.value(Knob.CRUSH, 125 * S) == 0.8
    assert world.fan_speed(160 * S) == pytest.approx(0.5, abs=1e-3)
    with pytest.raises(ValueError, match=r"crush of 2\.0 is outside"):
        world.turn(160 * S, Knob.CRUSH, 2.0)


def test_a_filter_loads_on_while_the_hose_is_kinked_for_a_moment() -> None:
    world = running()
    world.turn(100 * S, Knob.FILTER, 5.0, over_s=100.0)
    world.turn(110 * S, Knob.KINK, 0.5)
    world.turn(111 * S, Knob.KINK, 0.0)
    flows = [world.airflow_l_min(at * S) for at in range(112, 200, 10)]
    assert flows == sorted(flows, reverse=True)
    assert flows[-1] < 0.8 * flows[0]


def test_wind_through_a_stopped_line_draws_air_out_of_the_hood() -> None:
    world = World(1)
    world.hood_on(0)
    world.turn(60 * S, Knob.GUST, 8.0)
    assert world.airflow_l_min(61 * S) < -30.0
    assert world.hood_pressure_pa(61 * S) < -1.0
    closed_in = world.hood_co2_fraction(60 * S + S)
    world.turn(61 * S, Knob.GUST, 10.0)
    # What is drawn out comes in from the room: the hood is the fresher for it.
    assert world.hood_co2_fraction(120 * S) < closed_in


def test_wind_and_warmth_help_or_hinder() -> None:
    def flow(knob: Knob, to: float) -> float:
        world = running()
        world.turn(60 * S, knob, to)
        return statistics.fmean(world.airflow_l_min(at * S) for at in range(61, 121))

    assert flow(Knob.WIND, 25.0) < 0.0 < flow(Knob.WIND, 7.0) < 249.0
    assert flow(Knob.WARMER, -20.0) < 250.0 < flow(Knob.WARMER, 20.0)


def test_exhaust_arrives_when_the_duct_has_been_emptied() -> None:
    """78.5 L at 250 L/min: 18.8 s."""
    world = running()
    world.turn(60 * S, Knob.EXHAUST_CO_PPM, 200.0)
    assert [world.arriving(round(at * S)).co_ppm for at in (78.5, 79.2)] == [0.0, 200.0]


def test_time_does_not_run_back() -> None:
    world = running()
    world.hood_pressure_pa(10 * S)
    with pytest.raises(ValueError, match="cannot go back"):
        world.fan_stop(9 * S)
