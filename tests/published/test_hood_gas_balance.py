"""Gases in a hood: closed forms against scipy's integrator and published figures.

Published figures: the CO2 outputs are those of Persily and de Jonge 2017, table 4
(0.0046 and 0.0114 L/s at 0 °C, 0.30 and 0.73 L/min at 20 °C); +689 ppm at 0.31 L/min and
7.5 L/s is the figure behind ASHRAE 62.1 (from memory). The tables were computed from the
same balance by hand and by scipy; free volumes of 8, 15 and 25 L are assumptions.
"""

import math

import pytest
from scipy.integrate import solve_ivp

from linetender.airline import alarm_budget, hood

AIRFLOWS_L_MIN = (85.0, 115.0, 170.0, 300.0, 425.0)


@pytest.mark.parametrize(
    ("co2_l_min", "ppm"),
    [
        (0.30, (3949, 3029, 2185, 1420, 1126)),
        (0.73, (9008, 6768, 4714, 2853, 2138)),
        (2.0, (23_949, 17_811, 12_185, 7087, 5126)),
    ],
)
def test_steady_state(co2_l_min: float, ppm: tuple[float, ...]) -> None:
    got = [hood.steady_fraction(co2_l_min, airflow, 420e-6) * 1e6 for airflow in AIRFLOWS_L_MIN]
    assert got == pytest.approx(ppm, abs=0.51)


def test_rise_behind_ashrae_62_1() -> None:
    assert hood.steady_fraction(0.31, 7.5 * 60.0, 0.0) * 1e6 == pytest.approx(689, abs=0.5)


WASHOUT = [(5.0, 16_891), (10.0, 7904), (20.0, 3050), (30.0, 2316)]


@pytest.mark.parametrize(("seconds", "ppm"), WASHOUT)
def test_washout(seconds: float, ppm: float) -> None:
    """15 L, 170 L/min, 0.30 L/min of CO2, from 40 000 ppm."""
    got = hood.fraction_after(
        seconds,
        initial_fraction=0.04,
        source_l_min=0.30,
        airflow_l_min=170.0,
        volume_l=15.0,
        intake_fraction=420e-6,
    )
    assert got * 1e6 == pytest.approx(ppm, abs=0.51)


def test_washout_against_scipy() -> None:
    solved = solve_ivp(
        lambda _, c: (0.30 + 170.0 * (420e-6 - c)) / 15.0 / 60.0,
        (0.0, 30.0),
        [0.04],
        t_eval=[seconds for seconds, _ in WASHOUT],
        rtol=1e-10,
        atol=1e-13,
    )
    ours = [
        hood.fraction_after(
            seconds,
            initial_fraction=0.04,
            source_l_min=0.30,
            airflow_l_min=170.0,
            volume_l=15.0,
            intake_fraction=420e-6,
        )
        for seconds, _ in WASHOUT
    ]
    assert ours == pytest.approx(list(solved.y[0]), rel=1e-7)


@pytest.mark.parametrize(
    ("volume_l", "co2_l_min", "to_co2_s", "to_o2_s"),
    [
        (8.0, 0.30, (12.5, 28.5, 44.5, 60.5), 19.0),
        (15.0, 0.30, (23.4, 53.4, 83.4, 113.4), 35.7),
        (25.0, 0.30, (39.1, 89.1, 139.1, 189.1), 59.5),
        (8.0, 0.73, (3.5, 10.1, 16.6, 23.2), 7.8),
        (15.0, 0.73, (6.5, 18.8, 31.2, 43.5), 14.7),
        (25.0, 0.73, (10.9, 31.4, 52.0, 72.5), 24.5),
    ],
)
def test_air_stopped_in_a_sealed_hood(
    volume_l: float, co2_l_min: float, to_co2_s: tuple[float, ...], to_o2_s: float
) -> None:
    """To 1, 2, 3, 4 % CO2 from the steady state at 170 L/min; O2 from 20.9 to 19.5 %."""
    start = hood.steady_fraction(co2_l_min, 170.0, 420e-6)
    got = [
        hood.seconds_to(
            percent / 100.0,
            initial_fraction=start,
            source_l_min=co2_l_min,
            airflow_l_min=0.0,
            volume_l=volume_l,
            intake_fraction=420e-6,
        )
        for percent in (1, 2, 3, 4)
    ]
    assert got == pytest.approx(to_co2_s, abs=0.051)
    oxygen = hood.seconds_to(
        0.195,
        initial_fraction=0.209,
        source_l_min=-hood.oxygen_uptake_l_min(co2_l_min),
        airflow_l_min=0.0,
        volume_l=volume_l,
        intake_fraction=hood.INTAKE_O2_FRACTION,
    )
    assert oxygen == pytest.approx(to_o2_s, abs=0.051)


def test_air_stopped_with_a_leak() -> None:
    """15 L, 0.30 L/min, 10 L/min still coming in: 4 % is never reached."""
    start = hood.steady_fraction(0.30, 170.0, 420e-6)
    got = [
        hood.seconds_to(
            percent / 100.0,
            initial_fraction=start,
            source_l_min=0.30,
            airflow_l_min=10.0,
            volume_l=15.0,
            intake_fraction=420e-6,
        )
        for percent in (1, 2, 3, 4)
    ]
    assert got == pytest.approx([29.2, 89.7, 379.0, math.inf], abs=0.51)


def test_budget_at_the_least_flow_of_a_loose_hood() -> None:
    """8 L, 3 met, 170 L/min (42 CFR 84, loose hood): 16.6 s to 3 % CO2."""
    assert alarm_budget.budget_s(170.0) == pytest.approx(16.6, abs=0.05)


def test_coast_down_against_scipy() -> None:
    """A fan that runs down as 1/(1 + t/τ): CO2 and oxygen by the closed form and by solve_ivp."""
    times = [0.5, 2.0, 5.0, 20.0, 60.0]
    for source, start, intake in ((0.73, 0.00471, 420e-6), (-0.86, 0.2039, 0.209)):
        solved = solve_ivp(
            lambda t, c, source=source, intake=intake: (
                (source + 170.0 / (1.0 + t / 3.0) * (intake - c)) / 8.0 / 60.0
            ),
            (0.0, 60.0),
            [start],
            t_eval=times,
            rtol=1e-10,
            atol=1e-13,
        )
        ours = [
            hood.fraction_while_coasting(
                t,
                initial_fraction=start,
                source_l_min=source,
                airflow_l_min=170.0,
                tau_s=3.0,
                volume_l=8.0,
                intake_fraction=intake,
            )
            for t in times
        ]
        assert ours == pytest.approx(list(solved.y[0]), rel=1e-7)


@pytest.mark.parametrize("leakage_l_min", [0.0, 2.0, 10.0, 40.0])
def test_hood_after_the_stop_against_scipy(leakage_l_min: float) -> None:
    """CO2 and oxygen together, from the steady state at 170 L/min, with what leaks in."""
    worn = hood.WornHood(8.0, 0.73, leakage_l_min)
    before = worn.in_flow(170.0)
    assert before.co2_fraction * 1e6 == pytest.approx(4714, abs=0.51)
    uptake = 0.73 / 0.85
    times = [1.0, 5.0, 15.0, 60.0, 240.0]
    solved = solve_ivp(
        lambda _, c: [
            (0.73 + leakage_l_min * (420e-6 - c[0])) / 8.0 / 60.0,
            (-uptake + leakage_l_min * (0.209 - c[1])) / 8.0 / 60.0,
        ],
        (0.0, 240.0),
        list(before),
        t_eval=times,
        rtol=1e-10,
        atol=1e-13,
    )
    ours = [worn.after_stop(t, 170.0) for t in times]
    assert [gas.co2_fraction for gas in ours] == pytest.approx(list(solved.y[0]), rel=1e-7)
    assert [gas.o2_fraction for gas in ours] == pytest.approx(list(solved.y[1]), rel=1e-7)


def test_oxygen_reaches_19_5_percent_between_1_and_2_percent_of_co2() -> None:
    """From 20.9 %; where the steady state in flow is lower already, it is sooner."""
    worn = hood.WornHood(8.0, 0.30)
    one, two = (worn.seconds_to_co2(limit, 170.0) for limit in (0.01, 0.02))
    assert (one, two) == (pytest.approx(12.5, abs=0.051), pytest.approx(28.5, abs=0.051))
    assert one < worn.seconds_to_o2(0.195, 170.0) < 19.0 < two
