"""The uncertainty budget of an airflow, against simulation and by hand."""

import math
import random
import statistics

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airline.elements import ELEMENTS, ROOM
from linetender.airline.air_state import air_at
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.flow_element import FlagKind, FlowElement, Source
from linetender.airline.flow_estimate import AirUncertainty, flow_estimate
from linetender.airline.orifice import Orifice
from linetender.airline.pitot import Pitot
from linetender.airline.pressure_sensor import MEMBRANE_1_PSI, SDP8XX_500, PressureSensor

WELL_KNOWN_AIR = AirUncertainty(0.0, 0.0, 0.0)


def test_budget_of_a_calibrated_element_by_hand() -> None:
    """Q = 40·√Δp at 25 Pa: 200 L/min, slope 4 L/min per Pa."""
    element = CalibratedElement(40.0, 0.5, ROOM, 0.03)
    sensor = PressureSensor(zero_pa=0.1, span_relative=0.02, range_pa=500.0)
    got = flow_estimate(element, 25.0, ROOM, sensor, WELL_KNOWN_AIR)
    assert got.airflow_l_min == pytest.approx(200.0)
    parts = {part.source: part.l_min for part in got.contributions}
    assert parts[Source.SENSOR_ZERO] == pytest.approx(0.4, rel=1e-4)
    assert parts[Source.SENSOR_SPAN] == pytest.approx(2.0, rel=1e-3)
    assert parts[Source.CALIBRATION] == pytest.approx(6.0)
    assert got.standard_uncertainty_l_min == pytest.approx(math.hypot(0.4, 2.0, 6.0), rel=1e-3)
    low, high = got.interval_l_min()
    assert (high - low, high + low) == (
        pytest.approx(4.0 * got.standard_uncertainty_l_min),
        pytest.approx(400.0),
    )
    assert got.flags == ()


def test_against_simulation() -> None:
    """4000 seeded draws of zero, span, bore and air: the spread that the budget foretells."""
    seed = random.Random(20_260_401)
    orifice = Orifice(100.0, 50.0, pipe_uncertainty_mm=0.0, installation_relative=0.0)
    sensor = PressureSensor(0.3, 0.02, 500.0)
    doubt = AirUncertainty(5.0, 1500.0, 10.0)
    true_pa = orifice.differential_pa(600.0, ROOM)
    got = flow_estimate(orifice, true_pa, ROOM, sensor, doubt)
    flows = []
    for _ in range(4000):
        air = air_at(seed.gauss(20.0, 5.0), seed.gauss(101_325.0, 1500.0), seed.gauss(50.0, 10.0))
        bore = Orifice(100.0, seed.gauss(50.0, orifice.bore_uncertainty_mm))
        read = true_pa * (1.0 + seed.gauss(0.0, 0.02)) + seed.gauss(0.0, 0.3)
        flows.append(bore.airflow_l_min(read, air) * (1.0 + seed.gauss(0.0, 0.0025)))
    assert got.standard_uncertainty_l_min == pytest.approx(statistics.stdev(flows), rel=0.04)
    assert got.airflow_l_min == pytest.approx(statistics.fmean(flows), rel=2e-3)


@pytest.mark.parametrize("element", ELEMENTS.values(), ids=ELEMENTS.keys())
@settings(max_examples=20)
@given(pressure=st.floats(-5.0, 490.0))
def test_always_a_finite_budget(element: FlowElement, pressure: float) -> None:
    got = flow_estimate(element, pressure, ROOM, SDP8XX_500)
    assert all(0.0 <= part.l_min < math.inf for part in got.contributions)
    assert len({part.source for part in got.contributions}) == len(got.contributions)
    low, high = got.interval_l_min()
    assert 0.0 <= low <= got.airflow_l_min <= high
    assert got.standard_uncertainty_l_min > 0.0


@pytest.mark.parametrize(("is_thermal", "part"), [(False, 0.5), (True, 1.0)])
def test_air_pressure_counts_twice_for_a_thermal_sensor(is_thermal: bool, part: float) -> None:
    """Q goes with 1/√p by density, and again with 1/√p by the correction of the reading."""
    sensor = PressureSensor(0.0, 0.0, 500.0, is_thermal)
    doubt = AirUncertainty(0.0, 1000.0, 0.0)
    element = CalibratedElement(40.0, 0.5, ROOM, 0.0)
    got = flow_estimate(element, 25.0, ROOM, sensor, doubt)
    assert got.relative_uncertainty == pytest.approx(part * 1000.0 / 101_325.0, rel=0.01)


def test_without_flow_the_zero_still_counts() -> None:
    got = flow_estimate(Orifice(100.0, 50.0), 0.0, ROOM, SDP8XX_500)
    assert got.airflow_l_min == 0.0
    assert got.relative_uncertainty == math.inf
    assert got.interval_l_min()[1] > 10.0
    assert FlagKind.DROWNED in [flag.kind for flag in got.flags]


def test_a_pitot_drowns_where_an_orifice_does_not() -> None:
    pitot, plate = Pitot(100.0), Orifice(100.0, 50.0)
    drowned, clear = (
        flow_estimate(each, each.differential_pa(170.0, ROOM), ROOM, SDP8XX_500)
        for each in (pitot, plate)
    )
    assert FlagKind.DROWNED in [flag.kind for flag in drowned.flags]
    assert FlagKind.DROWNED not in [flag.kind for flag in clear.flags]
    assert drowned.relative_uncertainty > 0.3
    assert clear.relative_uncertainty < 0.05


def test_membrane_sensor_of_1_psi_is_no_use() -> None:
    plate = Orifice(100.0, 40.0)
    got = flow_estimate(plate, plate.differential_pa(170.0, ROOM), ROOM, MEMBRANE_1_PSI)
    assert got.relative_uncertainty > 0.5


@pytest.mark.parametrize(
    ("pressure", "kind"),
    [(-0.12, FlagKind.REVERSED), (-0.1, FlagKind.DROWNED), (0.1, FlagKind.DROWNED), (0.12, None)],
)
def test_around_the_zero(pressure: float, kind: FlagKind | None) -> None:
    """Two standard uncertainties of the zero are 0.115 Pa."""
    got = flow_estimate(CalibratedElement(40.0, 0.5, ROOM, 0.03), pressure, ROOM, SDP8XX_500)
    assert [flag.kind for flag in got.flags] == ([kind] if kind else [])


def test_past_the_range_of_the_sensor() -> None:
    got = flow_estimate(Orifice(100.0, 50.0), 501.0, ROOM, SDP8XX_500)
    assert [flag.kind for flag in got.flags] == [FlagKind.SENSOR_RANGE]
    assert got.flags[0].text == "501 Pa is past the sensor's range of 500 Pa"


@pytest.mark.parametrize("temperature_c", [10.0, 30.0])
def test_outside_the_temperatures_of_the_density_formula(temperature_c: float) -> None:
    air = air_at(temperature_c, 101_325.0)
    got = flow_estimate(Orifice(100.0, 50.0), 50.0, air, SDP8XX_500)
    assert [flag.kind for flag in got.flags] == [FlagKind.TEMPERATURE]


def test_limits_of_a_data_sheet_are_rectangular() -> None:
    sensor = PressureSensor.within(0.1, 3.0, 500.0)
    assert sensor.zero_pa == pytest.approx(0.1 / math.sqrt(3.0))
    assert sensor.span_relative == pytest.approx(0.03 / math.sqrt(3.0))


@pytest.mark.parametrize(
    ("zero", "span", "reach"), [(-0.1, 0.0, 1.0), (0.1, -0.1, 1.0), (0.1, 0.1, 0.0)]
)
def test_sensor_refused(zero: float, span: float, reach: float) -> None:
    with pytest.raises(ValueError, match=r"sensor range|uncertainty"):
        PressureSensor(zero, span, reach)
