"""The verb `filter`: what it shows, what it records, and what it refuses."""

import json
import shutil
import time
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.memory.filters import filters_in, fit_filter, keep_point
from linetender.memory.store import open_store
from linetender.settings.shipped import shipped
from linetender.simulation.filter_life import DAY_S, FITTED_S, FilterLife, Habit
from linetender.simulation.line import LineFigures

ORIFICE = LineFigures(orifice_pa=60.0)
HABIT = Habit(per_day=0.5, hours=2.0, doubles_h=100.0, error=0.006)


@pytest.fixture(name="station")
def _station(tmp_path: Path) -> Path:
    shutil.copy(shipped("config/fan_side_orifice.toml"), tmp_path / "station.toml")
    return tmp_path / "station.toml"


def lived(folder: Path, until_h: float, **left_out: None) -> None:
    """Keep a life that ended yesterday: 100 h double its resistance; the fan is turned once."""
    life = FilterLife(3, replace(HABIT, speeds=((0.0, 1.0), (30.0, 0.85))), ORIFICE)
    points = []
    for point in life.uses():
        points.append(replace(point, **left_out))
        if life.hours > until_h:
            break
    shift_s = time.time() - DAY_S - points[-1].began_s
    with open_store(folder) as store:
        row = fit_filter(store, FITTED_S + shift_s, synchronised=True, is_new=True, label="H13")
        for point in points:
            keep_point(store, row, replace(point, began_s=point.began_s + shift_s))


def called(station: Path, *words: str) -> tuple[int, str]:
    state = str(station.parent / "state")
    result = CliRunner().invoke(app, ["filter", *words, str(station), "--state", state])
    return result.exit_code, result.output


def test_nothing_kept_is_said_and_is_no_fault(station: Path) -> None:
    code, output = called(station)
    assert code == ExitCode.FINE
    assert "Nothing is kept of the filter yet" in output
    assert json.loads(called(station, "--json")[1]) is None


def test_a_loading_filter_is_foretold_with_its_interval(station: Path) -> None:
    lived(station.parent / "state", 75.0)
    code, output = called(station)
    assert code == ExitCode.FINE
    for words in ("Filter (H13), new on", "resistance", "90 %:", "Due on", "   |"):
        assert words in output
    assert all(len(line) <= 90 for line in output.splitlines())
    told = json.loads(called(station, "--json")[1])
    assert told["measured_by"] == "resistance"
    assert told["due_hours_from"] < 100.0 < told["due_hours_to"]
    assert told["projected_from"] < told["projected_at"] < told["projected_to"]
    assert told["due_at"] == told["projected_at"]


def test_without_a_filter_sensor_it_says_what_it_cannot_tell_apart(station: Path) -> None:
    lived(station.parent / "state", 75.0, filter_pa=None, fan_rpm=None)
    _, output = called(station)
    assert "Measured: airflow alone." in output
    assert "The airflow jumped on" in output
    assert json.loads(called(station, "--json")[1])["measured_by"] == "flow"


def test_a_filter_past_its_limit_is_due_until_it_is_changed(station: Path) -> None:
    lived(station.parent / "state", 120.0)
    code, output = called(station)
    assert (code, "DUE since" in output) == (ExitCode.FINDINGS, True)
    code, output = called(station, "changed")
    assert code == ExitCode.FINE
    assert "The one before had 12" in output
    code, output = called(station)
    assert (code, "0.0 h of use" in output, "Due" in output) == (ExitCode.FINE, True, False)


def test_a_change_told_later_takes_what_came_after_it_along(station: Path) -> None:
    state = station.parent / "state"
    lived(state, 75.0)
    with open_store(state) as store:
        (old,) = filters_in(store)
    day = time.strftime("%Y-%m-%d", time.localtime(time.time() - 20 * DAY_S))
    assert called(station, "changed", "--on", day, "--label", "spare")[0] == ExitCode.FINE
    with open_store(state) as store:
        before, after = filters_in(store)
    assert before.points + after.points == old.points
    assert after.points
    assert after.label == "spare"
    assert before.points[-1].began_s < after.fitted_s <= after.points[0].began_s


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--on", "yesterday"), "is no date"),
        (("--on", "2026-13-01"), "is no date"),
        (("--on", "9999-01-01"), "still to come"),
        (("--on", "2001-01-01"), "is later; give a later date"),
    ],
)
def test_a_wrong_date_changes_nothing(station: Path, words: tuple[str, ...], told: str) -> None:
    state = station.parent / "state"
    lived(state, 20.0)
    code, output = called(station, "changed", *words)
    assert code == ExitCode.USAGE
    assert told in " ".join(output.replace("│", " ").split())
    with open_store(state) as store:
        assert len(filters_in(store)) == 1


@pytest.mark.parametrize("words", [(), ("status",), ("changed",)])
def test_a_station_without_a_filter_says_what_to_add(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    station = tmp_path / "station.toml"
    shutil.copy(shipped("config/wearer_side_minimal.toml"), station)
    code, output = called(station, *words)
    assert (code, "Add a table [filter]" in output) == (ExitCode.BAD_FILE, True)
    assert not (tmp_path / "state").exists()
