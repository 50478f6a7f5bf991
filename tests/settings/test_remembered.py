"""What the memory has in force, joined with the station file."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from linetender.airline.air_state import air_at_altitude
from linetender.airline.flow_estimate import flow_estimate
from linetender.airline.pressure_sensor import SDP8XX_500
from linetender.core.plan import AirPlan
from linetender.core.signals import Signal
from linetender.settings.load import load_station
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.remembered import Remembered, remembered_of
from linetender.settings.station import Station
from settings.station_texts import AIR, HANDS, STATION

UNTAUGHT = STATION + '[element]\nkind = "hood_hose"\n' + AIR + HANDS

TAUGHT: dict[str, Any] = {
    "kind": "taught",
    "made_at": "2031-03-04T10:15:00+01:00",
    "driver": "sdp8xx",
    "signal": "hood_pressure_pa",
    "normal_pa": 60.5,
}

CALIBRATED: dict[str, Any] = {
    "kind": "calibrated",
    "made_at": "2031-03-05T10:15:00+01:00",
    "driver": "sdp8xx",
    "signal": "hood_pressure_pa",
    "pressure_factor": 1.0,
    "k_l_min": 27.0,
    "exponent": 0.55,
    "method_relative": 0.03,
    "ln_k_variance": 2e-4,
    "ln_k_exponent_covariance": -5e-5,
    "exponent_variance": 1.5e-5,
    "least_pa": 15.0,
    "greatest_pa": 60.0,
    "temperature_c": 20.0,
    "pressure_pa": 101_325.0,
    "humidity_percent": 50.0,
}


def load(folder: Path, text: str, *entries: dict[str, Any]) -> Station:
    path = folder / "shed.toml"
    path.write_text(text, encoding="utf-8")
    remembered = remembered_of(entries)
    asked: list[str] = []

    def recall(station: str) -> Remembered:
        asked.append(station)
        return remembered

    station = load_station(path, recall=recall)
    assert asked == ["shed"]
    return station


def air_of(folder: Path, text: str, *entries: dict[str, Any]) -> AirPlan:
    air = load(folder, text, *entries).plan.air
    assert air is not None
    return air


def refused(folder: Path, text: str, *entries: dict[str, Any]) -> tuple[Problem, ...]:
    with pytest.raises(StationFileError) as caught:
        load(folder, text, *entries)
    return caught.value.problems


def test_without_a_memory_an_untaught_station_is_told_how_to_teach(tmp_path: Path) -> None:
    (problem,) = refused(tmp_path, UNTAUGHT)
    assert problem.key == "element.normal_pa"
    assert "calibrate FILE --teach" in problem.remedy


def test_the_taught_normal_goes_into_the_plan(tmp_path: Path) -> None:
    station = load(tmp_path, UNTAUGHT, TAUGHT)
    assert station.plan.air == AirPlan(Signal.HOOD_PRESSURE_PA, 60.5, 0.54)
    assert station.calibrations == (TAUGHT,)


def test_how_its_faults_looked_goes_into_the_plan(tmp_path: Path) -> None:
    taught = {**TAUGHT, "pinched_percent": 48.0, "duct_off_percent": 3.5}
    air = air_of(tmp_path, UNTAUGHT, taught, CALIBRATED)
    assert (air.pinched_percent, air.duct_off_percent) == (48.0, 3.5)


def test_a_calibration_brings_litres_per_minute_and_their_uncertainty(tmp_path: Path) -> None:
    text = UNTAUGHT.replace("exit_time_s = 7", "exit_time_s = 7\nrequired_airflow_l_min = 170")
    station = load(tmp_path, text, TAUGHT, CALIBRATED)
    air = station.plan.air
    assert air is not None
    assert (air.normal_pa, air.exponent, air.k_l_min) == (60.5, 0.55, pytest.approx(27.0))
    assert air.required_l_min == 170.0
    # The budget once more, put together here by hand: bag, fit, zero, and the air.
    element = remembered_of((CALIBRATED,)).calibrated
    assert element is not None
    at_170_pa = (170.0 / 27.0) ** (1.0 / 0.55)
    sensor = replace(SDP8XX_500, span_relative=0.0)
    estimate = flow_estimate(element.element, at_170_pa, element.element.reference_air, sensor)
    assert air.relative_uncertainty == pytest.approx(estimate.relative_uncertainty, rel=1e-6)
    assert 0.03 < air.relative_uncertainty < 0.04
    assert {"air_low"} <= {rule.id for rule in station.plan.rules}


def test_at_another_altitude_the_readings_and_k_go_over_together(tmp_path: Path) -> None:
    """Calibrated without a known altitude, which is then written into the file."""
    there = air_of(tmp_path, UNTAUGHT, TAUGHT, CALIBRATED)
    high = UNTAUGHT.replace("exit_time_s = 7", "exit_time_s = 7\naltitude_m = 1150")
    air = air_of(tmp_path, high, TAUGHT, CALIBRATED)
    assert air.k_l_min is not None and there.k_l_min is not None
    density = air_at_altitude(1150.0, 20.0).density_kg_m3 / air_at_altitude(0.0, 20.0).density_kg_m3
    # The same reading means the same pressure as before, in the air of the altitude.
    before = there.k_l_min * 60.0**0.55
    after = air.k_l_min * (air.pressure_factor * 60.0) ** 0.55
    assert air.pressure_factor == pytest.approx(
        96_600.0 / air_at_altitude(1150.0, 20.0).pressure_pa
    )
    assert after == pytest.approx(before * density ** (0.55 - 1.0), rel=1e-3)


def test_the_zero_that_was_measured_last_counts(tmp_path: Path) -> None:
    taught = {**TAUGHT, "zero_pa": 0.5}
    air = air_of(tmp_path, UNTAUGHT, taught)
    assert (air.zero_pa, air.normal_pa) == (0.5, 60.0)
    # Calibrated a day later: another zero, and the same normal over it.
    air = air_of(tmp_path, UNTAUGHT, taught, {**CALIBRATED, "zero_pa": -0.2})
    assert (air.zero_pa, air.normal_pa) == (-0.2, pytest.approx(60.0))
    text = UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nnormal_pa = 60')
    air = air_of(tmp_path, text, {**CALIBRATED, "zero_pa": -0.2})
    assert (air.zero_pa, air.normal_pa) == (-0.2, pytest.approx(60.2))


def test_a_zero_in_the_file_is_taken_off_its_normal(tmp_path: Path) -> None:
    text = UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nnormal_pa = 60\nzero_pa = 2')
    plan = load(tmp_path, text).plan
    assert plan.air == AirPlan(Signal.HOOD_PRESSURE_PA, 58.0, 0.54, zero_pa=2.0)
    # The rule of the pressure itself judges readings, in which the zero still is.
    (high,) = [rule.condition for rule in plan.rules if rule.id == "hood_pressure_high"]
    assert high.limit == pytest.approx(2.0 + 1.5 * 58.0)


def test_a_normal_at_its_zero_is_refused(tmp_path: Path) -> None:
    text = UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nnormal_pa = 2\nzero_pa = 2')
    (problem,) = refused(tmp_path, text)
    assert (problem.key, problem.line) == ("element.normal_pa", 8)
    text = UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nnormal_pa = 2')
    (problem,) = refused(tmp_path, text, {**CALIBRATED, "zero_pa": 3.0})
    assert (problem.key, problem.remedy) == ("element.normal_pa", "teach the line anew")


@pytest.mark.parametrize(
    ("text", "entry", "key", "remedy"),
    [
        (
            UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nnormal_pa = 60'),
            TAUGHT,
            "element.normal_pa",
            "remove normal_pa here",
        ),
        (
            UNTAUGHT.replace('"hood_hose"', '"fitted"\nk = 27\nn = 0.54\nnormal_pa = 60'),
            CALIBRATED,
            "element.kind",
            "without k and n",
        ),
        (
            UNTAUGHT.replace('"hood_hose"', '"hood_hose"\nzero_pa = 0.1'),
            TAUGHT,
            "element.zero_pa",
            "remove zero_pa here",
        ),
        (
            UNTAUGHT.replace("hood_pressure_pa", "duct_pressure_pa"),
            TAUGHT,
            "devices.air.driver",
            "teach and calibrate the line anew",
        ),
        (UNTAUGHT, {**TAUGHT, "driver": "d6f_ph"}, "devices.air.driver", "--forget"),
        (UNTAUGHT, {**CALIBRATED, "driver": "d6f_ph"}, "devices.air.driver", "--forget"),
    ],
    ids=[
        "normal twice",
        "k twice",
        "zero twice",
        "other signal",
        "other sensor",
        "calibrated by another",
    ],
)
def test_file_and_memory_cannot_both_be_right(
    tmp_path: Path, text: str, entry: dict[str, Any], key: str, remedy: str
) -> None:
    (problem,) = refused(tmp_path, text, entry)
    assert problem.key == key
    assert remedy in problem.remedy
    assert problem.line is not None


def test_a_calibration_that_says_nothing_at_the_required_flow_is_refused(tmp_path: Path) -> None:
    text = UNTAUGHT.replace("exit_time_s = 7", "exit_time_s = 7\nrequired_airflow_l_min = 170")
    vague = {**CALIBRATED, "method_relative": 0.25}
    (problem,) = refused(tmp_path, text, TAUGHT, vague)
    assert "uncertain by 2" in problem.expected


def test_a_fitted_element_reads_the_pressure_it_names(tmp_path: Path) -> None:
    both = AIR.replace('["hood_pressure_pa"]', '["hood_pressure_pa"]') + (
        '[devices.duct]\ndriver = "sdp8xx"\nsignals = ["duct_pressure_pa"]\n'
        'options = { bus = "simulated", address = 0x26 }\n'
    )
    fitted = '[element]\nkind = "fitted"\nk = 27\nn = 0.54\nnormal_pa = 60\n'
    assert air_of(tmp_path, STATION + fitted + both + HANDS).signal is Signal.DUCT_PRESSURE_PA
    named = fitted + 'signal = "hood_pressure_pa"\n'
    assert air_of(tmp_path, STATION + named + both + HANDS).signal is Signal.HOOD_PRESSURE_PA
    # And a calibration from memory names the one it was made by.
    hose = '[element]\nkind = "hood_hose"\n'
    air = air_of(tmp_path, STATION + hose + both + HANDS, TAUGHT, CALIBRATED)
    assert air.signal is Signal.HOOD_PRESSURE_PA


def test_of_two_entries_the_later_counts_and_strange_kinds_are_passed_over() -> None:
    later = {**TAUGHT, "normal_pa": 61.0}
    remembered = remembered_of((TAUGHT, {"kind": "horoscope"}, later))
    assert remembered.taught is not None
    assert remembered.taught.normal_pa == 61.0
    assert remembered.calibrated is None


@pytest.mark.parametrize(
    "entry",
    [
        {"kind": "taught"},
        {**CALIBRATED, "exponent": 0.2},
        {**CALIBRATED, "exponent": None},
        {name: value for name, value in CALIBRATED.items() if name != "least_pa"},
    ],
)
def test_an_entry_that_is_not_whole_is_refused(entry: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"not whole|exponent"):
        remembered_of((entry,))
