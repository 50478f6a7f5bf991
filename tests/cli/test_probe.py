"""The verb `probe` without `--listen`: what a newcomer sees."""

import json
import tomllib
from pathlib import Path

from installed_command import linetender
from linetender.cli.probe_search import header_buses, other_buses
from linetender_drivers.registry import find_spec


def test_the_simulated_bench_as_json() -> None:
    done = linetender("probe", "--simulate", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    (bus,) = found["buses"]
    values = {
        (chip["address"], one["signal"]): one["quality"]
        for chip in bus["chips"]
        for one in chip["values"]
    }
    assert set(values.values()) == {"good"}
    assert (0x25, "duct_pressure_pa") in values
    assert (0x62, "hood_co2_ppm") in values
    assert len(values) == 13
    by_address = {chip["address"]: chip for chip in bus["chips"]}
    assert (by_address[0x28]["values"], by_address[0x48]["values"]) == ([], [])
    assert found["radio"] is None


def test_what_it_suggests_are_lines_that_the_drivers_take() -> None:
    found = json.loads(linetender("probe", "--simulate", "--json").stdout)
    devices = tomllib.loads(found["station_file"])["devices"]
    chips = found["buses"][0]["chips"]
    assert len(devices) == len(chips)
    for chip in chips:
        table = devices[f"{chip['driver']}_{chip['address']:02x}"]
        spec = find_spec(table["driver"])
        fields = set(spec.options.model_fields)
        assert set(chip["to_fill_in"]) | set(table["options"]) <= fields
        if not chip["to_fill_in"]:
            options = spec.options.model_validate(table["options"])
            assert set(table["signals"]) <= spec.provides(options)


def test_people_see_values_with_unit_and_quality_and_the_lines_to_paste() -> None:
    done = linetender("probe", "--simulate")
    assert done.returncode == 0, done.stderr
    assert "0x76  BME280 (identifier 0x60)  [driver bme280]" in done.stdout
    assert "ambient_pressure_pa             98700  good" in done.stdout
    assert "# to be added to the options: part_number = …" in done.stdout


def test_a_d6f_ph_is_found_when_it_is_named_and_told_of_when_not() -> None:
    unasked = linetender("probe", "--simulate").stdout
    assert "Not looked for: d6f_ph" in unasked
    assert "0x6c" not in unasked.split("Not looked for")[0]
    asked = linetender("probe", "--simulate", "--try", "d6f_ph").stdout
    assert "Not looked for" not in asked
    assert "0x6c  answers as a D6F-PH does, at 25.0 °C  [driver d6f_ph]" in asked
    assert "# to be added to the options: product = …" in asked


def test_only_what_is_not_found_anyway_can_be_tried() -> None:
    done = linetender("probe", "--simulate", "--try", "sdp8xx")
    assert (done.returncode, "--try is for d6f_ph" in done.stderr) == (2, True)


def test_a_bus_that_is_not_there_is_exit_status_4(tmp_path: Path) -> None:
    done = linetender("probe", "--no-radio", "--bus", tmp_path / "i2c-7")
    assert (done.returncode, "there is no such bus" in done.stdout) == (4, True)


def test_options_of_listening_need_an_address() -> None:
    done = linetender("probe", "--simulate", "--seconds", "3")
    assert done.returncode == 2
    assert "goes with --listen ADDRESS" in done.stderr.replace("\n", " ")


def test_only_the_headers_bus_is_searched_unasked(tmp_path: Path) -> None:
    assert header_buses(tmp_path) == ()
    for number in (1, 20):
        (tmp_path / f"i2c-{number}").touch()
    assert header_buses(tmp_path) == (str(tmp_path / "i2c-1"),)
    assert other_buses(header_buses(tmp_path), tmp_path) == (str(tmp_path / "i2c-20"),)
