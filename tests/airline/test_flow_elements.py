"""What holds for every flow element, and the flags and refusals of each."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airline.elements import ELEMENTS, HOSE, ROOM, airs
from linetender.airline.air_state import AirState
from linetender.airline.fitted_element import CalibratedElement, FitCovariance, k_at_density
from linetender.airline.flow_element import (
    FlagKind,
    FlowElement,
    Source,
    local_exponent,
    sensitivity_l_min_per_pa,
    zero_needed_pa,
)
from linetender.airline.hood_hose import HoodHose
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.orifice import Orifice, OrificeLoss
from linetender.airline.pitot import Pitot
from linetender.airline.straight_duct import StraightDuct

every_element = pytest.mark.parametrize("element", ELEMENTS.values(), ids=ELEMENTS.keys())


@every_element
@settings(max_examples=30)
@given(pressure=st.floats(1e-3, 2000.0), air=airs)
def test_there_and_back(element: FlowElement, pressure: float, air: AirState) -> None:
    flow = element.airflow_l_min(pressure, air)
    assert element.differential_pa(flow, air) == pytest.approx(pressure, rel=1e-9)


@every_element
@settings(max_examples=30)
@given(flow=st.floats(0.1, 900.0), more=st.floats(1.0001, 2.0), air=airs)
def test_more_flow_takes_more_pressure(
    element: FlowElement, flow: float, more: float, air: AirState
) -> None:
    assert element.differential_pa(flow * more, air) > element.differential_pa(flow, air) > 0.0


@every_element
def test_no_pressure_is_no_flow(element: FlowElement) -> None:
    assert [element.airflow_l_min(p, ROOM) for p in (0.0, -3.0)] == [0.0, 0.0]
    assert [element.differential_pa(q, ROOM) for q in (0.0, -3.0)] == [0.0, 0.0]


@every_element
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused(element: FlowElement, bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        element.airflow_l_min(bad, ROOM)
    with pytest.raises(ValueError, match="finite"):
        element.differential_pa(bad, ROOM)


@every_element
@settings(max_examples=15)
@given(pressure=st.floats(0.05, 400.0))
def test_sensitivity_is_the_slope(element: FlowElement, pressure: float) -> None:
    """Judged by a chord ten times as wide as the step that finds it."""
    step = 1e-3 * pressure
    chord = (
        element.airflow_l_min(pressure + step, ROOM) - element.airflow_l_min(pressure - step, ROOM)
    ) / (2.0 * step)
    assert sensitivity_l_min_per_pa(element, pressure, ROOM) == pytest.approx(chord, rel=0.01)


@every_element
def test_zero_needed_does_what_it_says(element: FlowElement) -> None:
    pressure = element.differential_pa(600.0, ROOM)
    zero = zero_needed_pa(element, 600.0, ROOM, 0.001)
    off = element.airflow_l_min(pressure + zero, ROOM) / 600.0 - 1.0
    assert off == pytest.approx(0.001, rel=0.01)


@every_element
def test_sensitivity_needs_a_pressure(element: FlowElement) -> None:
    with pytest.raises(ValueError, match=r"pressure 0\.0 Pa is not above 0"):
        local_exponent(element, 0.0, ROOM)


@pytest.mark.parametrize(
    ("name", "flow", "least", "most"),
    [
        ("averaging pitot", 170.0, 0.4999, 0.5001),
        ("orifice", 1000.0, 0.48, 0.50),
        ("smooth duct", 100.0, 0.9999, 1.0001),
        ("smooth duct", 1000.0, 0.55, 0.58),
        ("rough duct", 2000.0, 0.50, 0.52),
        ("hose and hood", 400.0, 0.50, 0.55),
        ("calibrated", 170.0, 0.5399, 0.5401),
    ],
)
def test_local_exponent(name: str, flow: float, least: float, most: float) -> None:
    element = ELEMENTS[name]
    assert least < local_exponent(element, element.differential_pa(flow, ROOM), ROOM) < most


@pytest.mark.parametrize(
    ("element", "flow", "kinds"),
    [
        (Orifice(100.0, 50.0), 425.0, []),
        (Orifice(100.0, 50.0), 300.0, [FlagKind.REYNOLDS]),
        (Orifice(100.0, 70.0), 425.0, [FlagKind.REYNOLDS]),
        (Orifice(49.0, 24.5), 425.0, [FlagKind.PIPE_DIAMETER]),
        (Orifice(100.0, 12.0), 425.0, [FlagKind.BORE]),
        (Orifice(1100.0, 100.0), 9000.0, [FlagKind.PIPE_DIAMETER, FlagKind.DIAMETER_RATIO]),
        (Orifice(100.0, 76.0), 1000.0, [FlagKind.DIAMETER_RATIO]),
        (Pitot(100.0), 1000.0, []),
        (Pitot(100.0), 170.0, [FlagKind.TRANSITION, FlagKind.REYNOLDS]),
        (StraightDuct(10.0, 100.0), 100.0, []),
        (StraightDuct(10.0, 100.0), 170.0, [FlagKind.TRANSITION]),
        (StraightDuct(10.0, 100.0), 425.0, []),
        (HoodHose(100.0, HOSE, HoodOutlet(40.0)), 170.0, [FlagKind.UNCALIBRATED]),
        (
            HoodHose(100.0, HOSE, HoodOutlet(40.0)),
            80.0,
            [FlagKind.UNCALIBRATED, FlagKind.TRANSITION],
        ),
        (CalibratedElement(40.0, 0.5, ROOM, 0.03, least_pa=9.0, greatest_pa=30.0), 170.0, []),
        (
            CalibratedElement(40.0, 0.5, ROOM, 0.03, least_pa=9.0, greatest_pa=30.0),
            100.0,
            [FlagKind.EXTRAPOLATED],
        ),
    ],
)
def test_flags(element: FlowElement, flow: float, kinds: list[FlagKind]) -> None:
    flags = element.flags(flow, ROOM)
    assert [flag.kind for flag in flags] == kinds
    assert all(any(letter.isdigit() for letter in flag.text) for flag in flags[1:])


@given(pressure=st.floats(1e-3, 100.0), roughness=st.floats(0.0, 5.0), air=airs)
def test_transition_lies_between_its_branches(
    pressure: float, roughness: float, air: AirState
) -> None:
    duct = StraightDuct(10.0, 100.0, roughness)
    low, high = duct.airflow_range_l_min(pressure, air)
    flow = duct.airflow_l_min(pressure, air)
    assert low <= flow * (1 + 1e-9)
    assert flow <= high * (1 + 1e-9)
    is_flagged = bool(duct.flags(flow, air))
    assert is_flagged == (low < high)
    parts = {part.source: part.l_min for part in duct.own_contributions(flow, air)}
    assert (parts[Source.TRANSITION] > 0.0) == is_flagged


@given(pressure=st.floats(0.01, 500.0), beta=st.floats(0.1, 0.75))
def test_permanent_loss_is_a_part(pressure: float, beta: float) -> None:
    orifice = Orifice(100.0, 100.0 * beta)
    assert 0.0 < orifice.permanent_loss_pa(pressure, ROOM) < pressure


def test_small_bores_recover_nothing() -> None:
    """The smaller the bore, the nearer the loss is to the whole pressure."""
    shares = [Orifice(100.0, d).permanent_loss_pa(100.0, ROOM) / 100.0 for d in (70.0, 50.0, 20.0)]
    assert shares == sorted(shares)
    assert shares[-1] > 0.95
    assert Orifice(100.0, 50.0).permanent_loss_pa(0.0, ROOM) == 0.0
    assert OrificeLoss(Orifice(100.0, 50.0)).pressure_drop_pa(0.0, ROOM) == 0.0


def test_an_orifice_takes_no_quarter_of_the_air() -> None:
    with pytest.raises(ValueError, match="above a quarter"):
        Orifice(100.0, 50.0).airflow_l_min(26_000.0, ROOM)
    with pytest.raises(ValueError, match="above a quarter"):
        Orifice(100.0, 20.0).differential_pa(1e5, ROOM)


def test_calibration_moves_with_the_air() -> None:
    element = CalibratedElement(40.0, 0.54, ROOM, 0.03)
    air = AirState(20.0, 80_000.0, 50.0, ROOM.density_kg_m3 * 0.9, ROOM.viscosity_pa_s)
    expected = k_at_density(40.0, 0.54, air.density_kg_m3, ROOM.density_kg_m3) * 25.0**0.54
    assert element.airflow_l_min(25.0, air) == pytest.approx(expected)
    assert element.airflow_l_min(25.0, air) > element.airflow_l_min(25.0, ROOM)


def test_covariance_of_a_fit_widens_away_from_its_points() -> None:
    """Points around 20 Pa: variance of ln k and n with their covariance cancel there."""
    centre = math.log(20.0)
    fit = FitCovariance(1e-4 + 4e-4 * centre**2, -4e-4 * centre, 4e-4)
    element = CalibratedElement(40.0, 0.54, ROOM, 0.02, fit)
    relative = [
        element.own_contributions(element.airflow_l_min(p, ROOM), ROOM)[0].l_min
        / element.airflow_l_min(p, ROOM)
        for p in (20.0, 5.0, 80.0)
    ]
    assert relative[0] == pytest.approx(math.hypot(0.02, 0.01))
    assert relative[1] == pytest.approx(relative[2])
    assert relative[1] > relative[0]
    assert element.own_contributions(0.0, ROOM)[0].l_min == 0.0


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Orifice(100.0, 100.0), "not between 0 and pipe"),
        (lambda: Orifice(100.0, math.nan), "not between 0 and pipe"),
        (lambda: Orifice(100.0, 50.0, bore_uncertainty_mm=-1.0), "bore uncertainty"),
        (lambda: Pitot(0.0), "pipe"),
        (lambda: Pitot(100.0, 0.0), "ratio of mean"),
        (lambda: StraightDuct(0.0, 100.0), "length"),
        (lambda: StraightDuct(1.0, 100.0, -1.0), "roughness"),
        (lambda: StraightDuct(1.0, 100.0, roughness_relative=1.5), "outside 0 to 1"),
        (lambda: HoodHose(30.0, HOSE, HoodOutlet(40.0)), "tap the wide side"),
        (lambda: HoodOutlet(0.0), "open area"),
        (lambda: HoodOutlet(40.0, 1.5), "discharge coefficient"),
        (lambda: CalibratedElement(0.0, 0.5, ROOM, 0.03), "calibration factor"),
        (lambda: CalibratedElement(40.0, 0.4, ROOM, 0.03), "exponent"),
        (lambda: CalibratedElement(40.0, 0.5, ROOM, -0.03), "uncertainty of the calibration"),
        (lambda: CalibratedElement(40.0, 0.5, ROOM, 0.03, least_pa=9.0, greatest_pa=9.0), "range"),
    ],
)
def test_refused(make: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()
