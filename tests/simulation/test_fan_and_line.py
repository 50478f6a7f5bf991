"""A fan with inertia, and what its line makes of its speed."""

import math

import pytest

from linetender.airline.alarm_budget import coast_down_s
from linetender.simulation.fan import Fan
from linetender.simulation.line import Line

S = 1_000_000_000


def test_coast_down_from_full_speed() -> None:
    fan = Fan(tau_s=3.0)
    fan.start(0)
    fan.stop(100 * S)
    assert [fan.speed(100 * S + k * 3 * S) for k in (0, 1, 3)] == pytest.approx([1, 1 / 2, 1 / 4])


def test_speed_obeys_its_equation_of_motion() -> None:
    """τ·dω/dt = 1 - ω² under power and -ω² without, by central differences."""
    fan = Fan(tau_s=3.0)
    fan.start(0)
    for switch, torque in ((None, 1.0), (fan.stop, 0.0), (fan.start, 1.0)):
        at = {None: 0, fan.stop: 4 * S, fan.start: 7 * S}[switch]
        if switch is not None:
            switch(at)
        now, h = at + S, S // 1000
        slope_per_s = (fan.speed(now + h) - fan.speed(now - h)) / (2 * h / S)
        assert 3.0 * slope_per_s == pytest.approx(torque - fan.speed(now) ** 2, abs=1e-5)


def test_switching_again_and_switching_on_keeps_the_speed() -> None:
    fan = Fan(tau_s=3.0)
    assert fan.speed(5 * S) == 0.0
    fan.start(5 * S)
    fan.start(6 * S)
    assert fan.speed(8 * S) == pytest.approx(math.tanh(1.0))
    before = fan.speed(8 * S)
    fan.stop(8 * S)
    assert fan.speed(8 * S) == pytest.approx(before)
    fan.start(8 * S)
    assert fan.speed(8 * S) == pytest.approx(before)
    assert fan.speed(3600 * S) == pytest.approx(1.0)


@pytest.mark.parametrize("tau", [0.0, -1.0, math.nan, math.inf])
def test_fan_without_inertia_is_refused(tau: float) -> None:
    with pytest.raises(ValueError, match="time constant"):
        Fan(tau)


def line() -> Line:
    return Line(normal_pa=60.0, normal_l_min=250.0, exponent=0.54)


@pytest.mark.parametrize(
    ("speed", "airflow", "pressure"),
    [(1.0, 250.0, 60.0), (0.65, 162.5, 60.0 * 0.65 ** (1 / 0.54)), (0.0, 0.0, 0.0)],
)
def test_flow_follows_speed_and_pressure_the_hose(
    speed: float, airflow: float, pressure: float
) -> None:
    assert line().airflow_l_min(speed) == pytest.approx(airflow)
    assert line().hood_pressure_pa(speed) == pytest.approx(pressure)


def test_65_percent_of_flow_is_45_percent_of_pressure() -> None:
    assert line().hood_pressure_pa(0.65) / 60.0 == pytest.approx(0.45, abs=0.005)


def test_crushed_duct() -> None:
    crushed = line()
    flows = []
    for fraction in (0.0, 0.25, 0.5, 0.75, 1.0):
        crushed.crush(fraction)
        flows.append(crushed.airflow_l_min(1.0) / 250.0)
    assert flows[0] == 1.0
    assert flows[2] == pytest.approx(0.77, abs=0.001)
    assert flows == sorted(flows, reverse=True)
    assert flows[-1] == 0.0
    crushed.crush(0.5)
    assert crushed.hood_pressure_pa(1.0) == pytest.approx(60.0 * 0.77 ** (1 / 0.54), rel=2e-3)


@pytest.mark.parametrize("fraction", [-0.1, 1.1, math.nan])
def test_crushing_by_no_fraction_is_refused(fraction: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        line().crush(fraction)


def test_loss_of_air_comes_at_the_closed_form_time() -> None:
    """Flow after a stop passes 65 % at τ·(1/0.65 - 1) = 1.615 s."""
    fan, ours = Fan(tau_s=3.0), line()
    fan.start(0)
    fan.stop(1000 * S)
    due_ns = 1000 * S + round(coast_down_s(0.65, 3.0) * S)
    assert ours.airflow_l_min(fan.speed(due_ns - S // 1000)) > 0.65 * 250.0
    assert ours.airflow_l_min(fan.speed(due_ns + S // 1000)) < 0.65 * 250.0
    assert coast_down_s(0.65, 3.0) == pytest.approx(1.615, abs=0.001)
