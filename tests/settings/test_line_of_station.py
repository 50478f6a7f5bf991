"""From the tables that draw a line to the line."""

from pathlib import Path

import pytest

from linetender.airline.air_line import Doubt
from linetender.airline.duct import PVC_PIPE, SMOOTH_BEND_LOSS, Roughness
from linetender.airline.element_choice import ElementKind
from linetender.airline.fan import TYPICAL_EFFICIENCY, CurvePoint, PointCurve, curve_from_power
from linetender.airline.filter import HEPA_PANEL, Filter
from linetender.settings.line_of_station import line_of, own_candidate, required_l_min
from linetender.settings.load import validated
from linetender.settings.problems import StationFileError
from linetender.settings.sized_station import size_station
from linetender.settings.station_file import StationFile
from linetender.settings.toml_file import read_toml
from settings.station_texts import AIR, ELEMENT, HANDS, STATION, WHOLE, load, refusal

DUCT = '[[duct]]\nlength_m = 6\ndiameter_mm = 100\nmaterial = "pvc_pipe"\nquarter_bends = 2\n'
HOSE = '[[duct]]\nname = "hose"\nlength_m = 1\ndiameter_mm = 40\nroughness_mm = 1\n'
OUTLET = "[hood]\noutlet_cm2 = 30\n"
FAN = "[fan]\nrated_airflow_l_min = 5660\nshut_off_pa = 300\n"


def _file(folder: Path, text: str) -> StationFile:
    path = folder / "shed.toml"
    path.write_text(text, encoding="utf-8")
    return validated(read_toml(path))


def _line(folder: Path, fan: str = FAN, more: str = ""):
    return line_of(_file(folder, WHOLE + fan + OUTLET + DUCT + HOSE + more))


def test_watching_does_without_a_drawn_line(tmp_path: Path) -> None:
    drawn = load(tmp_path, WHOLE + FAN + OUTLET + DUCT + HOSE)
    assert drawn.plan == load(tmp_path, WHOLE).plan


def test_ducts_in_their_order(tmp_path: Path) -> None:
    first, second = _line(tmp_path).runs
    assert (first.name, first.roughness) == ("duct 1, 6 m of 100 mm", PVC_PIPE)
    assert (first.quarter_bends, first.loss_per_bend) == (2.0, SMOOTH_BEND_LOSS)
    assert (second.name, second.roughness) == ("hose", Roughness(0.5, 1.5))


@pytest.mark.parametrize(
    ("fan", "shut_off_pa", "doubt"),
    [
        (FAN, 300.0, Doubt(0.75, 1.15)),
        (
            "[fan]\npoints = [{ airflow_l_min = 0, pressure_pa = 200 }, "
            "{ airflow_l_min = 900, pressure_pa = 0 }]\n",
            200.0,
            Doubt(0.9, 1.1),
        ),
        (
            "[fan]\nrated_airflow_l_min = 5660\npower_w = 50\n",
            curve_from_power(5660.0, 50.0).shut_off_pa,
            Doubt(0.15 / TYPICAL_EFFICIENCY, 0.35 / TYPICAL_EFFICIENCY),
        ),
    ],
)
def test_three_ways_to_tell_a_fan(
    fan: str, shut_off_pa: float, doubt: Doubt, tmp_path: Path
) -> None:
    line = _line(tmp_path, fan)
    assert (line.fan.curve.shut_off_pa, line.fan_doubt) == (shut_off_pa, doubt)


def test_a_curve_by_points(tmp_path: Path) -> None:
    points = "{ airflow_l_min = 0, pressure_pa = 200 }, { airflow_l_min = 900, pressure_pa = 0 }"
    line = _line(tmp_path, f"[fan]\nspeed_percent = 60\npoints = [{points}]\n")
    assert line.fan.curve == PointCurve((CurvePoint(0.0, 200.0), CurvePoint(900.0, 0.0)))
    assert line.speed == 0.6


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("", None),
        (
            '[filter]\nmedium = "hepa"\nwidth_mm = 305\nheight_mm = 152\n',
            Filter.panel("filter", HEPA_PANEL, 305.0, 152.0),
        ),
        ("[filter]\nrated_pa = 60\nrated_airflow_l_min = 600\n", Filter("filter", 60.0, 600.0)),
    ],
)
def test_two_ways_to_tell_a_filter(table: str, expected: Filter | None, tmp_path: Path) -> None:
    assert _line(tmp_path, more=table).filter == expected


def test_weather_and_place(tmp_path: Path) -> None:
    line = _line(tmp_path, more="[intake]\ntemperature_c = 10\nwind_m_s = 3\nrise_m = 4\n")
    # Air of 50 % humidity at 101 325 Pa: 1.2444 kg/m³ at 10 °C (psychrolib 1.2438), 1.1993 at
    # 20 °C (CIPM-2007). Wind ½·ρ·V², in the lee half of it; draught g·h·Δρ.
    assert line.wind_pa == pytest.approx((-0.25 * 1.2444 * 9, 0.5 * 1.2444 * 9), rel=1e-3)
    assert line.stack_pa == pytest.approx(9.80665 * 4 * (1.1993 - 1.2444), rel=5e-3)
    assert line.air.temperature_c == 10.0


ORIFICE = '[element]\nkind = "orifice"\nbore_mm = 50\npipe_mm = 100\nnormal_pa = 45\n'
FITTED = '[element]\nkind = "fitted"\nk = 20\nn = 0.55\nnormal_pa = 45\n'


@pytest.mark.parametrize(
    ("element", "kind"),
    [
        (ELEMENT, ElementKind.HOOD_HOSE),
        (ORIFICE, ElementKind.ORIFICE),
        (FITTED, ElementKind.FITTED),
        ('[element]\nkind = "pitot"\n', ElementKind.PITOT),
        ('[element]\nkind = "duct"\n', ElementKind.DUCT),
    ],
)
def test_the_stations_own_element(element: str, kind: ElementKind, tmp_path: Path) -> None:
    file = _file(tmp_path, STATION + element + AIR + HANDS + FAN + OUTLET + DUCT + HOSE)
    own = own_candidate(file, line_of(file))
    assert own is not None
    assert (own.kind, own.is_own) == (kind, True)


@pytest.mark.parametrize(("arrangement", "place"), [("fan_side", 0), ("wearer_side", 1)])
def test_where_the_plate_stands(arrangement: str, place: int, tmp_path: Path) -> None:
    station = STATION.replace("wearer_side", arrangement)
    line = line_of(_file(tmp_path, station + ORIFICE + AIR + HANDS + FAN + OUTLET + DUCT + HOSE))
    assert line.plate is not None
    assert (line.plate.bore_mm, line.plate_before) == (50.0, place)


def test_what_is_needed_is_the_published_least_or_the_files_own(tmp_path: Path) -> None:
    assert required_l_min(_file(tmp_path, WHOLE)) == 170.0
    more = STATION + "required_airflow_l_min = 250\n"
    assert required_l_min(_file(tmp_path, more + ELEMENT + AIR + HANDS)) == 250.0


FAULTS = {
    "two curves": (
        FAN + "points = [{ airflow_l_min = 0, pressure_pa = 9 }, "
        "{ airflow_l_min = 9, pressure_pa = 0 }]\n",
        ("fan.shut_off_pa", "one form", "keep one form"),
    ),
    "pressure alone": ("[fan]\nshut_off_pa = 300\n", ("fan.shut_off_pa", "alone tells no", "add")),
    "half a filter": (
        '[filter]\nmedium = "hepa"\nwidth_mm = 305\n',
        ("filter", "expected medium, width_mm and height_mm", "here are medium, width_mm"),
    ),
    "an empty filter": ("[filter]\n", ("filter", "or rated_pa", "here is neither")),
    "a duct without a wall": (
        "[[duct]]\nlength_m = 1\ndiameter_mm = 100\n",
        ("duct[0].material", "missing", "add one"),
    ),
    "a duct with two": (
        HOSE + 'material = "film"\n',
        ("duct[0].roughness_mm", "either a material", "remove one"),
    ),
    "a level curve": (
        "[fan]\npoints = [{ airflow_l_min = 0, pressure_pa = 9 }, "
        "{ airflow_l_min = 9, pressure_pa = 9 }]\n",
        ("fan.points[1].pressure_pa", "less than the 9 Pa", "where the pressure falls"),
    ),
    "an unknown medium": (
        '[filter]\nmedium = "hep"\nwidth_mm = 305\nheight_mm = 305\n',
        ("filter.medium", '"merv_13_1_inch"', 'did you mean "hepa"?'),
    ),
}


@pytest.mark.parametrize("case", FAULTS)
def test_what_does_not_hold_together_is_told(case: str, tmp_path: Path) -> None:
    text, (key, expected, remedy) = FAULTS[case]
    (problem,) = refusal(tmp_path, WHOLE + text)
    assert problem.key == key
    assert expected in problem.expected
    assert remedy in problem.remedy


def test_size_asks_for_all_that_is_missing_at_once(tmp_path: Path) -> None:
    path = tmp_path / "shed.toml"
    path.write_text(WHOLE, encoding="utf-8")
    with pytest.raises(StationFileError) as refused:
        size_station(path)
    assert [problem.key for problem in refused.value.problems] == [
        "fan.points",
        "duct",
        "hood.outlet_cm2",
    ]
