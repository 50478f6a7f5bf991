"""A line drawn with its doubts: pieces in order, airflow between its ends, elements judged."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airline.elements import ROOM
from linetender.airline.air_line import AirLine, Doubt, Run, Wall
from linetender.airline.duct import FLEXIBLE_BEND_LOSS, FLEXIBLE_STRETCHED, WRINKLED_FILM
from linetender.airline.element_choice import ElementKind, candidates, hood_hose, judge, plate
from linetender.airline.fan import Fan, ParabolicCurve, ScaledCurve
from linetender.airline.filter import LOADED_INDEX, Filter
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.network import NoOperatingPoint, operating_point
from linetender.airline.orifice import LARGEST_PRESSURE_PART, Orifice, OrificeLoss
from linetender.airline.pressure_sensor import MEMBRANE_1_PSI, SDP8XX_125, SDP8XX_500
from linetender.airline.sizing import Change, Wearer, size_line

FILM = Run("film", 8.0, 100.0, WRINKLED_FILM, 2.0, FLEXIBLE_BEND_LOSS)
HOSE = Run("hose", 1.5, 44.0, FLEXIBLE_STRETCHED, 1.0, FLEXIBLE_BEND_LOSS)
LINE = AirLine(
    fan=Fan(ParabolicCurve(5660.0, 300.0)),
    fan_doubt=Doubt(0.75, 1.15),
    runs=(FILM, HOSE),
    outlet=HoodOutlet(45.0),
    air=ROOM,
    filter=Filter("filter", 25.0, 1000.0),
    plate=Orifice(100.0, 50.0),
    wind_pa=(-7.5, 15.0),
)
SENSORS = (SDP8XX_500, SDP8XX_125, MEMBRANE_1_PSI)


def test_pieces_in_the_order_of_the_air_with_adapters_between() -> None:
    names = [loss.name for loss in LINE.losses()]
    assert names == [
        "filter",
        "orifice plate",
        "film",
        "adapter 100 to 44 mm",
        "hose",
        "hood outlet",
    ]
    narrow = replace(LINE, plate=Orifice(75.0, 40.0), filter=None)
    assert [loss.name for loss in narrow.losses()] == [
        "adapter 100 to 75 mm",
        "orifice plate",
        "adapter 75 to 100 mm",
        "film",
        "adapter 100 to 44 mm",
        "hose",
        "hood outlet",
    ]
    at_the_hose = replace(LINE, plate_before=1, filter=None)
    assert [loss.name for loss in at_the_hose.losses()][:2] == ["film", "orifice plate"]


def test_the_air_leaves_the_last_run_with_all_its_head() -> None:
    film, hose = (loss for loss in LINE.losses() if loss.name in ("film", "hose"))
    assert film == FILM.duct()
    assert hose == HOSE.duct(fittings_loss=1.0)


def test_a_likely_wall_is_the_geometric_mean() -> None:
    walls = [HOSE.duct(wall).roughness_mm for wall in Wall]
    assert walls == pytest.approx([0.09, (0.09 * 0.9) ** 0.5, 0.9])


def test_the_line_meets_its_fan_as_the_network_says() -> None:
    point = LINE.operating_point()
    assert point == operating_point(LINE.fan, LINE.losses(), ROOM)
    assert point.lost_pa == pytest.approx(point.fan_pa, rel=1e-9)


@given(
    free=st.floats(500.0, 20_000.0),
    shut_off=st.floats(20.0, 2000.0),
    hose_mm=st.floats(20.0, 100.0),
    film_m=st.floats(0.5, 30.0),
    outlet_cm2=st.floats(5.0, 200.0),
)
def test_worst_is_below_likely_and_likely_below_best(
    free: float, shut_off: float, hose_mm: float, film_m: float, outlet_cm2: float
) -> None:
    line = replace(
        LINE,
        fan=Fan(ParabolicCurve(free, shut_off)),
        runs=(replace(FILM, length_m=film_m), replace(HOSE, diameter_mm=hose_mm)),
        outlet=HoodOutlet(outlet_cm2),
    )
    likely = line.operating_point().airflow_l_min
    due, new = line.least_l_min(LOADED_INDEX), line.least_l_min()
    assert 0.0 < due <= new <= likely <= line.greatest_l_min() <= free


def test_without_an_operating_point_the_ends_are_told() -> None:
    held = replace(LINE, wind_pa=(-1000.0, 15.0))
    assert held.least_l_min() == 0.0
    blown = replace(LINE, wind_pa=(0.0, 1e9))
    assert blown.greatest_l_min() == LINE.fan.last_l_min()
    with pytest.raises(NoOperatingPoint) as none:
        LINE.operating_point(wind_pa=-1000.0)
    assert none.value.nearest_l_min == 0.0


@pytest.mark.parametrize("plate_before", [-1, 2])
def test_a_plate_stands_somewhere(plate_before: int) -> None:
    with pytest.raises(ValueError, match="no run"):
        replace(LINE, plate_before=plate_before)
    with pytest.raises(ValueError, match="at least one duct"):
        replace(LINE, runs=())


def test_a_scaled_curve() -> None:
    curve = ScaledCurve(ParabolicCurve(1000.0, 100.0), 0.4)
    assert (curve.shut_off_pa, curve.last_l_min) == (40.0, 1000.0)
    assert curve.pressure_pa(500.0) == pytest.approx(30.0)
    with pytest.raises(ValueError, match="factor"):
        ScaledCurve(curve, 0.0)


def test_a_plate_takes_ever_more_past_where_the_standard_ends() -> None:
    loss = OrificeLoss(Orifice(50.0, 20.0))
    last = loss.orifice.airflow_l_min(LARGEST_PRESSURE_PART * ROOM.pressure_pa, ROOM)
    below, at, beyond = (loss.pressure_drop_pa(last * part, ROOM) for part in (0.999, 1.0, 2.0))
    assert below == pytest.approx(at, rel=0.01)
    assert below < at
    assert beyond == pytest.approx(4.0 * at)


def test_what_a_pressure_could_be_measured_across() -> None:
    own = plate(100.0, 50.0, is_own=True)
    found = candidates(LINE, own)
    assert [(each.name, each.is_own) for each in found] == [
        ("orifice, 50 mm hole in 100 mm", True),
        ("orifice, 40 mm hole in 100 mm", False),
        ("orifice, 60 mm hole in 100 mm", False),
        ("orifice, 37.5 mm hole in 75 mm", False),
        ("orifice, 25 mm hole in 50 mm", False),
        ("pitot tube in 100 mm", False),
        ("bare duct, 8 m of 100 mm", False),
        ("hose and hood, 1.5 m of 44 mm", False),
    ]


def test_a_hose_wider_than_its_duct_is_no_element() -> None:
    assert hood_hose(replace(LINE, runs=(HOSE, FILM))) is None


def test_a_plate_takes_the_place_of_the_lines_own() -> None:
    wide = judge(LINE, plate(100.0, 60.0), SENSORS, 170.0)
    bare = judge(LINE, next(_of(ElementKind.PITOT)), SENSORS, 170.0)
    own = judge(LINE, plate(100.0, 50.0, is_own=True), SENSORS, 170.0)
    assert own.airflow_l_min == LINE.operating_point().airflow_l_min
    assert own.airflow_l_min < wide.airflow_l_min < bare.airflow_l_min
    assert own.usable_with == (0, 1)
    assert (bare.usable_with, own.objections) == ((), ())
    assert "0.078 Pa at the least airflow" in bare.objections[0].replace("0.0776", "0.078")


def test_a_plate_that_chokes_the_line() -> None:
    choked = judge(LINE, plate(50.0, 12.5), SENSORS, 170.0)
    assert choked.usable_with == ()
    assert choked.objections == (
        f"with it the line brings {choked.airflow_l_min:.0f} L/min, too little",
    )


def test_what_may_happen_to_a_line() -> None:
    sizing = size_line(LINE, plate(100.0, 50.0, is_own=True), SENSORS, 170.0, Wearer(0.73, 0.0))
    flows = {each.change: each.airflow_l_min for each in sizing.changes}
    likely = sizing.likely.airflow_l_min
    assert flows[Change.DUE] < flows[Change.HALF_LOADED] < likely
    assert flows[Change.WEAKER_FAN] < flows[Change.SLOWER_FAN] < likely
    assert likely < flows[Change.LARGER_FILTER]
    assert likely < flows[Change.NO_PLATE]
    assert sizing.is_enough
    assert sizing.filter_share == pytest.approx(
        25.0 * likely / 1000.0 / sizing.likely.lost_pa, 0.01
    )
    assert sizing.own is sizing.elements[0]
    needed, usual = sizing.worn
    assert (needed.airflow_l_min, usual.airflow_l_min) == (170.0, likely)
    # 4714 ppm at 170 L/min and 0.73 L/min; 78.5 L per 10 m of 100 mm: 27.7 s at 170 L/min.
    assert needed.co2_fraction == pytest.approx(4714e-6, abs=1e-6)
    volume_l = 78.54 * 0.8 + 1.5 * 3.1416 / 4 * 0.44**2 * 10
    assert needed.transit_s == pytest.approx(volume_l / 170.0 * 60.0, rel=1e-4)
    # 1.2 kg/m³ · 170 L/min · 1006 J/(kg·K) · 20 K
    assert needed.heat_w == pytest.approx(68.4, rel=2e-3)


def test_the_plate_to_choose_has_much_signal_for_little_air() -> None:
    sizing = size_line(LINE, None, SENSORS, 170.0, Wearer(0.73, 0.0))
    best = sizing.best_plate
    assert best is not None
    plates = [e for e in sizing.elements if e.candidate.kind is ElementKind.ORIFICE]
    most = max(each.airflow_l_min for each in plates if each.usable_with)
    assert best.airflow_l_min >= 0.95 * most
    assert all(
        each.likely_pa <= best.likely_pa
        for each in plates
        if each.usable_with and each.airflow_l_min >= 0.95 * most
    )


def _of(kind: ElementKind):
    return (each for each in candidates(LINE, None) if each.kind is kind)
