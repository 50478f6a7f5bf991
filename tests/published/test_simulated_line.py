"""The simulated line against worked operating points of fan, filter and system.

Fan p = 250·(1 - (Q/0.0472)²) Pa on a system of 1e6·Q² Pa (Q in m³/s), alone and with
filters of 6000 and 12 000 Pa·s/m³: closed form, and scipy's root finding.
"""

import pytest

from linetender.simulation.line import Line, LineFigures, LineState

FULL_L_MIN = 0.0472 * 60_000.0


@pytest.mark.parametrize(
    ("r_pa_s_m3", "airflow", "filter_pa"),
    [(0.0, 899.55, 0.0), (6000.0, 752.16, 75.22), (12_000.0, 632.34, 126.47)],
)
def test_operating_points(r_pa_s_m3: float, airflow: float, filter_pa: float) -> None:
    q_m3_s = airflow / 60_000.0
    # The figures of a line are its drops at normal flow. The system's square loss is
    # shared by the duct and by a hood of exponent 1/2.
    figures = LineFigures(
        normal_pa=0.5e6 * q_m3_s**2,
        normal_l_min=airflow,
        exponent=0.5,
        filter_pa=r_pa_s_m3 * q_m3_s,
        duct_pa=0.5e6 * q_m3_s**2,
        free_l_min=FULL_L_MIN,
    )
    assert figures.shut_off_pa == pytest.approx(250.0, abs=0.01)
    air = Line(figures).at(1.0)
    assert air.fan_l_min == pytest.approx(airflow, abs=0.01)
    assert air.filter_pa == pytest.approx(filter_pa, abs=0.01)


def test_a_filter_of_twice_the_resistance_takes_only_1_68_times_the_pressure() -> None:
    q_m3_s = 752.16 / 60_000.0
    figures = LineFigures(
        normal_pa=0.5e6 * q_m3_s**2,
        normal_l_min=752.16,
        exponent=0.5,
        filter_pa=6000.0 * q_m3_s,
        duct_pa=0.5e6 * q_m3_s**2,
        free_l_min=FULL_L_MIN,
    )
    line = Line(figures)
    new = line.at(1.0)
    line.set(LineState(filter=2.0))
    loaded = line.at(1.0)
    assert loaded.fan_l_min == pytest.approx(632.34, abs=0.05)
    assert loaded.filter_pa / new.filter_pa == pytest.approx(1.68, abs=0.005)
