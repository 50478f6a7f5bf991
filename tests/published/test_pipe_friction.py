"""Duct friction against fluids 1.3.1, worked examples and the friction chart.

Examples: Çengel and Cimbala, Fluid Mechanics, 1st edition, example 8-4 (plastic air duct);
White, Fluid Mechanics, example 6.7 (from memory, the figures computed with fluids).
"""

import math

import pytest
from fluids import fittings, friction

from linetender.airline.adapter import Adapter
from linetender.airline.air_state import AirState
from linetender.airline.duct import Duct
from linetender.airline.flow_element import FlagKind, local_exponent
from linetender.airline.friction_factor import colebrook, laminar, reynolds, velocity_m_s
from linetender.airline.pitot import Pitot
from linetender.airline.straight_duct import StraightDuct

AIR = AirState(20.0, 101_325.0, 50.0, 1.20, 18.1e-6)
FLOWS_L_MIN = (100.0, 170.0, 300.0, 425.0, 1000.0, 2000.0)


@pytest.mark.parametrize(
    ("number", "roughness", "factor"),
    [
        (4e3, 0.0, 0.03991),
        (1e4, 0.0, 0.03088),
        (1e5, 0.0, 0.01799),
        (1e6, 0.0, 0.01165),
        (1e5, 1e-4, 0.01851),
        (1e5, 1e-3, 0.02217),
    ],
)
def test_colebrook(number: float, roughness: float, factor: float) -> None:
    assert colebrook(number, roughness) == pytest.approx(factor, abs=5.1e-6)
    assert colebrook(number, roughness) == pytest.approx(
        friction.Clamond(number, roughness), rel=1e-9
    )


def test_laminar() -> None:
    assert laminar(1000.0) == 0.064


def test_plastic_air_duct() -> None:
    """35 °C, 150 m, 0.35 m³/s, head loss 20 m: D 0.267 m, f 0.0180, V 6.24 m/s, Re 100 800."""
    air = AirState(35.0, 101_325.0, 0.0, 1.145, 1.145 * 1.655e-5)
    airflow = 0.35 * 60_000.0
    number = reynolds(airflow, 267.0, air)
    assert velocity_m_s(airflow, 267.0) == pytest.approx(6.24, abs=0.015)
    assert number == pytest.approx(100_800, rel=2e-3)
    assert colebrook(number, 0.0) == pytest.approx(0.0180, abs=5.1e-5)
    head_m = StraightDuct(150.0, 267.0).differential_pa(airflow, air) / 1.145 / 9.81
    assert head_m == pytest.approx(20.09, abs=0.02)


def test_oil_pipe_of_white() -> None:
    """900 kg/m³, 1e-5 m²/s, 0.2 m³/s, 500 m of 200 mm, ε 0.26 mm: f 0.0227, 117.35 m."""
    oil = AirState(20.0, 101_325.0, 0.0, 900.0, 900.0 * 1e-5)
    pipe = StraightDuct(500.0, 200.0, 0.26)
    airflow = 0.2 * 60_000.0
    assert colebrook(reynolds(airflow, 200.0, oil), 0.0013) == pytest.approx(0.02272, abs=5.1e-6)
    head_m = pipe.differential_pa(airflow, oil) / 900.0 / 9.81
    assert head_m == pytest.approx(117.35, rel=5e-4)
    assert head_m == pytest.approx(117.0, rel=0.01)


@pytest.mark.parametrize(
    ("litres_per_s", "pa_per_m"), [(10.0, 0.328), (20.0, 1.12), (30.0, 2.33), (50.0, 5.94)]
)
def test_friction_chart(litres_per_s: float, pa_per_m: float) -> None:
    """100 mm of duct, ε 0.09 mm, air of 1.204 kg/m³."""
    air = AirState(20.0, 101_325.0, 0.0, 1.204, 18.13e-6)
    got = StraightDuct(1.0, 100.0, 0.09).differential_pa(litres_per_s * 60.0, air)
    assert got == pytest.approx(pa_per_m, rel=3e-3)


# Δp (Pa) of 100 mm duct; None in the transition, which is checked by its two branches.
DUCTS = [
    (5.0, 0.0, (0.061, None, 0.48, 0.87, 3.82, 12.9)),
    (10.0, 0.0, (0.123, None, 0.96, 1.74, 7.64, 25.8)),
    (10.0, 3.0, (0.123, None, 1.55, 3.02, 16.0, 63.0)),
]


@pytest.mark.parametrize(("length_m", "roughness_mm", "expected"), DUCTS)
def test_pressure_over_airflow(
    length_m: float, roughness_mm: float, expected: tuple[float | None, ...]
) -> None:
    duct = StraightDuct(length_m, 100.0, roughness_mm)
    for flow, pressure in zip(FLOWS_L_MIN, expected, strict=True):
        flagged = [flag.kind for flag in duct.flags(flow, AIR)]
        if pressure is None:
            assert flagged == [FlagKind.TRANSITION]
            continue
        assert flagged == []
        assert duct.differential_pa(flow, AIR) == pytest.approx(pressure, rel=8e-3)


@pytest.mark.parametrize(
    ("length_m", "roughness_mm", "turbulent_pa"), [(5, 0.0, 0.18), (10, 0.0, 0.36), (10, 3.0, 0.53)]
)
def test_transition_has_two_pressures(
    length_m: float, roughness_mm: float, turbulent_pa: float
) -> None:
    """At 170 L/min (Re 2392): 0.10 Pa laminar and 0.18 Pa turbulent over 5 m of smooth duct."""
    duct = StraightDuct(length_m, 100.0, roughness_mm)
    assert duct.laminar_pa(170.0, AIR) == pytest.approx(0.1045 * length_m / 5.0, rel=1e-3)
    assert duct.turbulent_pa(170.0, AIR) == pytest.approx(turbulent_pa, abs=0.0051)
    low, high = duct.airflow_range_l_min(duct.differential_pa(170.0, AIR), AIR)
    assert low < 170.0 <= high + 1e-9


def test_velocities_and_reynolds_numbers() -> None:
    assert [velocity_m_s(flow, 100.0) for flow in FLOWS_L_MIN] == pytest.approx(
        (0.21, 0.36, 0.64, 0.90, 2.12, 4.24), abs=0.0051
    )
    assert [reynolds(flow, 100.0, AIR) for flow in FLOWS_L_MIN] == pytest.approx(
        (1407, 2392, 4221, 5979, 14_069, 28_138), abs=0.6
    )


def test_pitot_over_airflow() -> None:
    """½ρV² of the mean velocity in 100 mm."""
    got = [Pitot(100.0).differential_pa(flow, AIR) for flow in FLOWS_L_MIN]
    assert got == pytest.approx((0.027, 0.078, 0.243, 0.488, 2.70, 10.8), rel=5e-3)


def test_bare_elements_cannot_see_170_l_min() -> None:
    """0.1 Pa and 3 % falsify a pitot's flow by 64 % and that of 10 m of duct by 14 % (or more).

    The 14 % take a square-root law; with the duct's own turbulent exponent it is 16 %.
    """
    pitot = Pitot(100.0)
    pressure = pitot.differential_pa(170.0, AIR)
    exponent = local_exponent(pitot, pressure, AIR)
    assert exponent == pytest.approx(0.5, rel=1e-6)
    assert 100.0 * exponent * math.hypot(0.1 / pressure, 0.03) == pytest.approx(64.0, abs=0.6)
    turbulent = StraightDuct(10.0, 100.0).turbulent_pa(170.0, AIR)
    assert 100.0 * 0.5 * math.hypot(0.1 / turbulent, 0.03) == pytest.approx(14.0, abs=0.5)


def test_air_in_the_duct() -> None:
    """10 m of 100 mm hold 78.5 L: 27.7 s at 170 L/min, 11.1 s at 425."""
    duct = Duct("duct", 10.0, 100.0)
    assert duct.volume_l == pytest.approx(78.5, abs=0.05)
    assert [duct.transit_s(flow) for flow in (170.0, 425.0)] == pytest.approx(
        (27.7, 11.1), abs=0.05
    )


@pytest.mark.parametrize(("from_mm", "to_mm"), [(38.0, 100.0), (75.0, 100.0), (100.0, 100.0)])
def test_widening_against_fluids(from_mm: float, to_mm: float) -> None:
    """Borda and Carnot, as fluids' diffuser_sharp."""
    witness = fittings.diffuser_sharp(Di1=from_mm / 1000.0, Di2=to_mm / 1000.0)
    assert Adapter("adapter", from_mm, to_mm).loss_coefficient == pytest.approx(witness, abs=1e-12)


@pytest.mark.parametrize(("from_mm", "to_mm"), [(100.0, 38.0), (100.0, 75.0)])
def test_narrowing_against_crane(from_mm: float, to_mm: float) -> None:
    """Crane TP 410 for a sudden contraction, as fluids has it."""
    witness = fittings.contraction_sharp(Di1=from_mm / 1000.0, Di2=to_mm / 1000.0, method="Crane")
    assert Adapter("adapter", from_mm, to_mm).loss_coefficient == pytest.approx(witness, rel=1e-9)
