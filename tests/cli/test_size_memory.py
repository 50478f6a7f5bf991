"""The verb `size` on a line that was taught and calibrated, with the sensor that it has."""

from pathlib import Path

import pytest
from msgspec import structs

from cli.sized_lines import HOSE, STATION, forecast, sized, written
from linetender.memory.calibrations import store_calibration
from linetender.memory.store import open_store
from linetender.memory.taught_pressures import store_taught
from linetender.settings.problems import StationFileError
from memory.memory_records import calibration, taught

UNTAUGHT = STATION.replace("normal_pa = 60\n", "").replace(
    "exit_time_s = 7", "exit_time_s = 7\nrequired_airflow_l_min = 170"
)
DRAWN = "[fan]\nrated_airflow_l_min = 5660\nshut_off_pa = 300\n[hood]\noutlet_cm2 = 30\n" + HOSE


def _remembering(folder: Path) -> None:
    with open_store(folder) as store:
        store_calibration(store, calibration())
        store_taught(store, taught())


def test_a_calibrated_line_is_judged_as_it_was_calibrated(tmp_path: Path) -> None:
    """k = 27, n = 0.54 of the memory: (170/27)^(1/0.54) Pa in the air of the calibration."""
    _remembering(tmp_path)
    found = forecast(tmp_path, UNTAUGHT + DRAWN)
    own = next(each for each in found["elements"] if each["is_own"])
    assert own["kind"] == "fitted"
    reference, here = 1.138, 1.217  # kg/m³: 21 °C at 966 hPa, and 15 °C at sea level
    as_told_now = 96_600 / 101_325  # the altitude is stated: a thermal sensor is corrected
    k_here = 27.0 * (here / reference) ** (0.54 - 1.0)
    assert own["required_pa"] == pytest.approx(
        as_told_now * (170.0 / k_here) ** (1.0 / 0.54), rel=0.005
    )
    # ±0.1 Pa of the zero, rectangular, and nothing of the span: the calibration holds it.
    zero_alone = 0.54 * 0.1 / 3.0**0.5 / own["required_pa"]
    assert own["sensors"][0]["is_fitted"] is True
    assert own["sensors"][0]["doubt_of_flow"] == pytest.approx(zero_alone, rel=0.01)
    assert found["memory"]["zero_pa"] == 0.02
    # Fit and bag (3 %) together, and the air's density between the weathers.
    assert 0.03 < found["memory"]["relative_uncertainty"] < 0.05
    assert found["normal"]["stated_pa"] == 60.0


def test_the_sheet_says_what_it_took_from_the_memory(tmp_path: Path) -> None:
    _remembering(tmp_path)
    said = " ".join(sized(written(tmp_path, UNTAUGHT + DRAWN), state=tmp_path).stdout.split())
    assert "Calibrated in place on 2031-03-04: 170 L/min are read within ±" in said
    # 27·(60 - 0.02)^0.54 L/min, the reading being corrected by nothing then and 0.953 now: the
    # same mass of air, so the same airflow.
    assert "Taught on 2031-03-04: 60 Pa, by the calibration 246 L/min." in said
    assert "The sensor's zero as measured, +0.02 Pa, is reckoned with." in said
    assert "The line was taught 60 Pa" in said
    assert "The file states" not in said
    assert "watched: the line is calibrated in place" in said


def test_a_calibrated_plate_stays_in_the_line(tmp_path: Path) -> None:
    plate = 'kind = "orifice"\npipe_mm = 100\nbore_mm = 40'
    text = UNTAUGHT.replace('kind = "hood_hose"', plate).replace("hood_pre", "duct_pre") + DRAWN
    with open_store(tmp_path) as store:
        store_calibration(store, structs.replace(calibration(), signal="duct_pressure_pa"))
    assert "orifice plate" in [drop["name"] for drop in forecast(tmp_path, text)["drops"]]


def test_a_required_airflow_outside_the_calibration_is_told(tmp_path: Path) -> None:
    _remembering(tmp_path)
    text = UNTAUGHT.replace("required_airflow_l_min = 170", "required_airflow_l_min = 60") + DRAWN
    said = " ".join(sized(written(tmp_path, text), state=tmp_path).stdout.split())
    assert "Pa is outside the calibration, 14.3 to 57.2 Pa" in said


def test_file_and_memory_that_contradict_each_other_are_refused(tmp_path: Path) -> None:
    _remembering(tmp_path)
    result = sized(written(tmp_path, STATION + DRAWN), state=tmp_path)
    assert isinstance(result.exception, StationFileError)
    assert "calibrate --forget" in str(result.exception)


FITTED = {
    # options of the driver sdp8xx: (names of the sensors in their order, range of the first)
    "": (["±500 Pa", "±125 Pa", "±1 psi"], "±500 Pa"),
    ', product = "SDP810-125Pa"': (["±125 Pa", "±500 Pa", "±1 psi"], "±125 Pa"),
}


@pytest.mark.parametrize("options", FITTED)
def test_the_fitted_sensor_is_judged_first(options: str, tmp_path: Path) -> None:
    text = STATION.replace("address = 0x25", f"address = 0x25{options}") + DRAWN
    names, first = FITTED[options]
    own = next(each for each in forecast(tmp_path, text)["elements"] if each["is_own"])
    assert [each["sensor"] for each in own["sensors"]] == names
    assert [each["is_fitted"] for each in own["sensors"]] == [True, False, False]
    said = sized(written(tmp_path, text), state=tmp_path).stdout
    assert f"  {first} is the sensor that the station has" in said


def test_a_fitted_sensor_that_would_be_overrun_is_a_finding(tmp_path: Path) -> None:
    options = 'address = 0x25, product = "SDP810-125Pa"'
    text = STATION.replace("address = 0x25", options).replace("normal_pa = 60", "") + DRAWN
    findings = forecast(tmp_path, text)["findings"]
    (found,) = [each for each in findings if "The sensor that is fitted" in each]
    assert found.startswith("The sensor that is fitted, ±125 Pa, cannot carry the alarm: ")
    assert "past the sensor's range of 125 Pa. Use instead: ±500 Pa" in found


def test_a_sensor_of_another_kind_is_named_by_its_range(tmp_path: Path) -> None:
    options = 'driver = "d6f_ph"\noptions = { bus = "simulated", product = "D6F-PH5050" }\n'
    head, _, rest = STATION.partition('driver = "sdp8xx"\n')
    rest = rest.replace('options = { bus = "simulated", address = 0x25 }\n', "", 1)
    text = head + options + rest + DRAWN
    own = next(each for each in forecast(tmp_path, text)["elements"] if each["is_own"])
    assert own["sensors"][0]["sensor"] == "±500 Pa"
    # Its zero is ±0.2 Pa, not the ±0.1 Pa of the catalogue's.
    pa = own["required_pa"]
    expected = (0.54 * 0.2 / pa) ** 2 + (0.54 * 0.03) ** 2
    assert own["sensors"][0]["doubt_of_flow"] == pytest.approx((expected / 3.0) ** 0.5, rel=0.05)


def test_a_line_that_was_measured_to_bring_too_little_is_a_finding(tmp_path: Path) -> None:
    _remembering(tmp_path)
    text = UNTAUGHT.replace("required_airflow_l_min = 170", "required_airflow_l_min = 250") + DRAWN
    findings = forecast(tmp_path, text)["findings"]
    (found,) = [each for each in findings if each.startswith("Measured, not reckoned")]
    assert "brings 246 L/min, and 250 L/min are needed" in found
