"""Fan, line and weather: the operating point, and why there may be none."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airline.elements import ROOM, air_of, airs
from linetender.airline.adapter import Adapter
from linetender.airline.air_state import AirState, air_at
from linetender.airline.bracketed_root import argument_at, root_between
from linetender.airline.disturbance import Disturbance
from linetender.airline.duct import EXIT_LOSS, SHARP_ENTRY_LOSS, Duct
from linetender.airline.fan import (
    EFFICIENCY_RANGE,
    CurvePoint,
    Fan,
    FanCurve,
    ParabolicCurve,
    PointCurve,
    affinity,
    curve_from_power,
)
from linetender.airline.filter import HEPA_PANEL, Filter, loading_index
from linetender.airline.flow_element import FlagKind
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.loss import Loss
from linetender.airline.network import Drop, NoOperatingPoint, operating_point
from linetender.airline.orifice import Orifice, OrificeLoss

FAN = Fan(ParabolicCurve(5600.0, 240.0))
POINTS = PointCurve((CurvePoint(0.0, 240.0), CurvePoint(3000.0, 150.0), CurvePoint(5600.0, 0.0)))

LINE: tuple[Loss, ...] = (
    Filter.panel("filter", HEPA_PANEL, 305.0, 305.0),
    Duct("duct", 8.0, 100.0, quarter_bends=2.0, fittings_loss=SHARP_ENTRY_LOSS),
    OrificeLoss(Orifice(100.0, 60.0)),
    Adapter("reducer", 100.0, 38.0),
    Duct("hose", 1.2, 38.0, 1.0, quarter_bends=1.0, fittings_loss=EXIT_LOSS),
    HoodOutlet(40.0),
)


@pytest.mark.parametrize("curve", [FAN.curve, POINTS])
@settings(max_examples=25)
@given(
    air=airs,
    speed=st.floats(0.2, 1.2),
    loading=st.floats(1.0, 4.0),
    length_m=st.floats(0.5, 30.0),
    wind_pa=st.floats(-4.0, 4.0),
)
def test_operating_point_lies_on_both_curves(
    curve: FanCurve, air: AirState, speed: float, loading: float, length_m: float, wind_pa: float
) -> None:
    losses = (
        Filter("filter", 60.0, 400.0, loading),
        Duct("duct", length_m, 100.0),
        *LINE[3:],
    )
    fan = Fan(curve)
    wind = Disturbance("wind", wind_pa)
    point = operating_point(fan, losses, air, speed=speed, disturbances=(wind,))
    assert 0.0 < point.airflow_l_min < fan.last_l_min(speed)
    assert point.fan_pa == pytest.approx(
        fan.pressure_pa(point.airflow_l_min, air.density_kg_m3, speed)
    )
    assert point.lost_pa == pytest.approx(point.fan_pa + wind_pa, rel=1e-9)
    assert point.drops == tuple(
        Drop(loss.name, loss.pressure_drop_pa(point.airflow_l_min, air)) for loss in losses
    )


@settings(max_examples=30)
@given(loading=st.floats(1.0, 5.0), more=st.floats(1.01, 2.0), speed=st.floats(0.3, 1.0))
def test_each_change_moves_the_flow_the_right_way(
    loading: float, more: float, speed: float
) -> None:
    def flow(loading: float, speed: float) -> float:
        losses = (Filter("filter", 60.0, 400.0, loading), *LINE[1:])
        return operating_point(FAN, losses, ROOM, speed=speed).airflow_l_min

    assert flow(loading * more, speed) < flow(loading, speed) < flow(loading, speed * more)


def test_where_each_pascal_goes() -> None:
    point = operating_point(FAN, LINE, ROOM)
    names = ["filter", "duct", "orifice plate", "reducer", "hose", "hood outlet"]
    assert [drop.name for drop in point.drops] == names
    assert sum(point.share_of(name) for name in names) == pytest.approx(1.0)
    assert point.share_of("hose") == max(point.share_of(name) for name in names)
    with pytest.raises(KeyError, match="cellar"):
        point.share_of("cellar")


def test_pieces_outside_their_formulas_are_named() -> None:
    """At half the speed the duct is in transition, and the plate below its least Re."""
    point = operating_point(FAN, LINE, ROOM, speed=0.5)
    named = [(flag.kind, flag.text.partition(":")[0]) for flag in point.flags]
    assert named == [(FlagKind.TRANSITION, "duct"), (FlagKind.REYNOLDS, "orifice plate")]
    assert operating_point(FAN, LINE, ROOM).flags == ()


def test_a_filter_far_past_its_rating_is_flagged() -> None:
    assert Filter("f", 60.0, 100.0).flags(200.0, ROOM) == ()
    (flag,) = Filter("f", 60.0, 100.0).flags(201.0, ROOM)
    assert flag.text == "201 L/min is past twice the rated 100 L/min"


def test_wind_helps_and_hinders() -> None:
    still, helped, hindered = (
        operating_point(FAN, LINE, ROOM, disturbances=(Disturbance("wind", pa),)).airflow_l_min
        for pa in (0.0, 5.4, -5.4)
    )
    assert hindered < still < helped


def test_wind_stronger_than_the_fan() -> None:
    with pytest.raises(NoOperatingPoint, match=r"2\.4 Pa at most.*5\.4 Pa against it"):
        operating_point(
            FAN, LINE, air_of(1.2), speed=0.1, disturbances=(Disturbance("wind", -5.4),)
        )


def test_line_past_the_end_of_the_curve() -> None:
    short = PointCurve((CurvePoint(0.0, 240.0), CurvePoint(300.0, 230.0)))
    with pytest.raises(NoOperatingPoint, match="at 300 L/min, where the fan's curve ends"):
        operating_point(Fan(short), LINE[:3], ROOM)


def test_free_delivery_into_nothing() -> None:
    with pytest.raises(NoOperatingPoint, match="at 5600 L/min"):
        operating_point(
            FAN, (Adapter("none", 100.0, 100.0),), ROOM, disturbances=(Disturbance("wind", 5.0),)
        )


@pytest.mark.parametrize("speed", [0.0, -1.0, math.nan])
def test_speed_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="fan speed"):
        operating_point(FAN, LINE, ROOM, speed=speed)


def test_line_of_nothing_refused() -> None:
    with pytest.raises(ValueError, match="without any piece"):
        operating_point(FAN, (), ROOM)


@given(speed=st.floats(0.1, 1.5), density=st.floats(0.7, 1.4), part=st.floats(0.0, 1.0))
def test_fan_laws_scale_the_curve(speed: float, density: float, part: float) -> None:
    flow = part * 5600.0
    scale = affinity(speed, density / 1.2)
    got = FAN.pressure_pa(part * FAN.last_l_min(speed), density, speed)
    assert got == pytest.approx(scale.pressure * FAN.curve.pressure_pa(flow), rel=1e-9, abs=1e-9)


def test_thin_air_moves_as_many_litres_but_less_mass() -> None:
    """Square losses and a fan both scale with density: the same actual airflow."""
    losses = (HoodOutlet(40.0), Adapter("reducer", 100.0, 38.0))
    thick, thin = (
        operating_point(FAN, losses, air_of(density)).airflow_l_min for density in (1.2, 0.95)
    )
    assert thin == pytest.approx(thick)


def test_curve_between_points() -> None:
    assert [POINTS.pressure_pa(q) for q in (0.0, 1500.0, 3000.0, 4300.0, 5600.0)] == (
        pytest.approx([240.0, 195.0, 150.0, 75.0, 0.0])
    )
    with pytest.raises(ValueError, match="outside the fan curve"):
        POINTS.pressure_pa(5601.0)
    with pytest.raises(ValueError, match="outside the fan curve"):
        FAN.pressure_pa(5601.0, 1.2)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([(0.0, 240.0)], "at least 2 points"),
        ([(0.0, 240.0), (100.0, -1.0)], "negative or not finite"),
        ([(0.0, math.nan), (100.0, 1.0)], "negative or not finite"),
        ([(50.0, 240.0), (100.0, 1.0)], "shut-off pressure as the first point"),
        ([(0.0, 240.0), (100.0, 200.0), (100.0, 150.0)], "list the points by rising airflow"),
        ([(0.0, 240.0), (200.0, 200.0), (100.0, 150.0)], "list the points by rising airflow"),
        ([(0.0, 200.0), (100.0, 240.0), (200.0, 0.0)], "240.0 Pa at 100.0 L/min is not below"),
        ([(0.0, 200.0), (100.0, 200.0), (200.0, 0.0)], "may surge"),
    ],
)
def test_fan_curve_refused(points: list[tuple[float, float]], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        PointCurve(tuple(CurvePoint(*point) for point in points))


def test_fan_from_its_power() -> None:
    """The greatest of Q·p, found by trying, is the stated part of the electrical power."""
    curve = curve_from_power(5400.0, 28.0)
    best_w = max(
        curve.pressure_pa(q) * q / 60_000.0 for q in (5400.0 * i / 2000 for i in range(2001))
    )
    assert best_w == pytest.approx(0.25 * 28.0, rel=1e-5)
    low, high = (curve_from_power(5400.0, 28.0, e).shut_off_pa for e in EFFICIENCY_RANGE)
    assert low < curve.shut_off_pa < high


@pytest.mark.parametrize(
    ("flow", "power", "efficiency", "message"),
    [
        (0.0, 28.0, 0.25, "free airflow"),
        (5400.0, 0.0, 0.25, "electrical power"),
        (5400.0, 28.0, 0.0, "efficiency"),
        (5400.0, 28.0, 1.1, "efficiency"),
    ],
)
def test_fan_from_power_refused(flow: float, power: float, efficiency: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        curve_from_power(flow, power, efficiency)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_fan_figures_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="free airflow"):
        ParabolicCurve(bad, 240.0)
    with pytest.raises(ValueError, match="shut-off"):
        ParabolicCurve(5600.0, bad)
    with pytest.raises(ValueError, match="speed ratio"):
        affinity(bad)
    with pytest.raises(ValueError, match="density ratio"):
        affinity(1.0, bad)


@pytest.mark.parametrize("loss", LINE, ids=lambda loss: loss.name)
@settings(max_examples=20)
@given(flow=st.floats(0.0, 2000.0), more=st.floats(1.0, 2.0), air=airs)
def test_losses_rise_with_flow(loss: Loss, flow: float, more: float, air: AirState) -> None:
    assert loss.pressure_drop_pa(0.0, air) == loss.pressure_drop_pa(-5.0, air) == 0.0
    assert loss.pressure_drop_pa(flow * more, air) >= loss.pressure_drop_pa(flow, air) >= 0.0


@pytest.mark.parametrize("loss", LINE, ids=lambda loss: loss.name)
def test_losses_refuse_what_is_no_number(loss: Loss) -> None:
    with pytest.raises(ValueError, match="finite"):
        loss.pressure_drop_pa(math.nan, ROOM)


@given(loading=st.floats(1.0, 5.0), flow=st.floats(50.0, 800.0), t=st.floats(-10.0, 40.0))
def test_loading_index_finds_the_loading(loading: float, flow: float, t: float) -> None:
    clean, air = Filter("filter", 60.0, 400.0), air_at(t, 101_325.0)
    pressure = clean.loaded(loading).pressure_drop_pa(flow, air)
    assert loading_index(pressure, flow, air, clean) == pytest.approx(loading)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Filter("f", 60.0, 400.0, 0.9), "below 1, a new filter"),
        (lambda: Filter("f", -1.0, 400.0), "rated pressure"),
        (lambda: Filter("f", 60.0, 0.0), "rated airflow"),
        (lambda: Filter.panel("f", HEPA_PANEL, 0.0, 305.0), "width"),
        (lambda: Duct("duct", 0.0, 100.0), "duct: length"),
        (lambda: Duct("duct", 1.0, 100.0, quarter_bends=-1.0), "number of bends"),
        (lambda: Duct("duct", 1.0, 100.0).transit_s(0.0), "airflow"),
        (lambda: Adapter("a", 0.0, 100.0), "first diameter"),
        (lambda: loading_index(10.0, 0.0, ROOM, Filter("f", 60.0, 400.0)), "airflow"),
        (lambda: loading_index(10.0, 100.0, ROOM, Filter("f", 0.0, 400.0)), "new filter"),
    ],
)
def test_refused(make: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()


def test_roots() -> None:
    assert root_between(lambda x: x**3 - 8.0, 0.0, 10.0) == pytest.approx(2.0, rel=1e-13)
    assert argument_at(lambda x: x * x, 1e6) == pytest.approx(1000.0, rel=1e-13)
    assert argument_at(lambda x: x * x, 0.0) == 0.0
    with pytest.raises(ValueError, match="no sign change"):
        root_between(lambda x: x + 1.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="does not reach"):
        argument_at(lambda x: 1.0 - math.exp(-x), 2.0)
    with pytest.raises(ValueError, match="negative or not finite"):
        argument_at(lambda x: x, -1.0)
