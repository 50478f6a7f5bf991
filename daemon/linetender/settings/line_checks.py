"""What must hold between the keys that describe the line."""

import itertools
from collections.abc import Iterator

from linetender.settings.line_tables import FanPointTable
from linetender.settings.positions import Path
from linetender.settings.problems import Problem
from linetender.settings.station_file import StationFile
from linetender.settings.toml_file import TomlFile


def fan_is_told_once(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    """A fan's curve comes by its points, or by two figures: never by half, never twice."""
    fan = station.fan
    figures = {
        "points": fan.points,
        "rated_airflow_l_min": fan.rated_airflow_l_min,
        "shut_off_pa": fan.shut_off_pa,
        "power_w": fan.power_w,
    }
    given = [key for key, value in figures.items() if value is not None]
    sets: tuple[list[str], ...] = (
        [],
        ["points"],
        ["rated_airflow_l_min", "shut_off_pa"],
        ["rated_airflow_l_min", "power_w"],
    )
    if given in sets:
        return
    path: Path = ("fan", given[-1])
    if len(given) == 1:
        beside = "rated_airflow_l_min"
        if given == ["rated_airflow_l_min"]:
            beside = "shut_off_pa (or power_w, which tells less)"
        expected, remedy = f"this alone tells no curve; expected {beside} beside it", "add it"
    else:
        expected = (
            "expected the curve in one form: points, or rated_airflow_l_min with "
            "shut_off_pa or with power_w"
        )
        remedy = f"keep one form; here are {', '.join(given)}"
    yield toml.problem(path, expected, remedy, toml.at(path))


def fan_curve_falls(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    """A curve on which one line can run at several airflows foretells none."""
    points = station.fan.points or ()
    if points and points[0].airflow_l_min != 0.0:
        path: Path = ("fan", "points", 0, "airflow_l_min")
        expected = "expected 0 in the first point: the pressure without flow"
        yield toml.problem(path, expected, "add that point", points[0].airflow_l_min)
    for place, (before, after) in enumerate(itertools.pairwise(points), start=1):
        yield from _falls(place, before, after, toml)


def _falls(
    place: int, before: FanPointTable, after: FanPointTable, toml: TomlFile
) -> Iterator[Problem]:
    path: Path = ("fan", "points", place)
    if after.airflow_l_min <= before.airflow_l_min:
        expected = f"expected more than the {before.airflow_l_min:g} L/min of the point before"
        remedy = "list the points by rising airflow, each once"
        yield toml.problem((*path, "airflow_l_min"), expected, remedy, after.airflow_l_min)
    elif after.pressure_pa >= before.pressure_pa:
        expected = (
            f"expected less than the {before.pressure_pa:g} Pa of the point before: where the "
            "curve rises or is level the fan may surge, and no airflow can be foretold"
        )
        remedy = "give the points where the pressure falls, and a shut-off pressure above them"
        yield toml.problem((*path, "pressure_pa"), expected, remedy, after.pressure_pa)


def filter_is_told_once(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    """A filter's resistance comes by medium and size, or by pressure at an airflow."""
    table = station.filter
    if table is None:
        return
    by_size = ("medium", "width_mm", "height_mm")
    by_rating = ("rated_pa", "rated_airflow_l_min")
    given = [key for key in (*by_size, *by_rating) if getattr(table, key) is not None]
    if given in (list(by_size), list(by_rating)):
        return
    expected = "expected medium, width_mm and height_mm, or rated_pa and rated_airflow_l_min"
    found = f"here are {', '.join(given)}" if given else "here is neither"
    yield toml.problem(("filter",), expected, f"give one of the two whole; {found}")


def duct_wall_is_told_once(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    """A wall's roughness comes by its material or by a figure."""
    for place, piece in enumerate(station.duct):
        path: Path = ("duct", place)
        if piece.material is None and piece.roughness_mm is None:
            expected = 'expected material, e.g. "film", or roughness_mm'
            yield toml.problem((*path, "material"), f"missing; {expected}", "add one")
        elif piece.material is not None and piece.roughness_mm is not None:
            expected = "expected either a material or roughness_mm"
            yield toml.problem(
                (*path, "roughness_mm"), expected, "remove one", toml.at((*path, "roughness_mm"))
            )


LINE_CHECKS = (fan_is_told_once, fan_curve_falls, filter_is_told_once, duct_wall_is_told_once)
