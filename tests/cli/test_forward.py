"""The verb `forward` and its file, from the command line."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.settings.problems import StationFileError
from settings.test_forward_file import FORWARD


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments], env={"COLUMNS": "80"})


def written(folder: Path, text: str = FORWARD) -> Path:
    path = folder / "bench.toml"
    path.write_text(text)
    return path


def test_lint_knows_the_file_of_a_second_box(tmp_path: Path) -> None:
    path = written(tmp_path)
    result = _run("lint", path)
    assert result.exit_code == ExitCode.FINE
    told = " ".join(result.output.split())
    assert "The box bench sends spo2_percent, pulse_rate_bpm to the station shed." in told
    outcome = json.loads(_run("lint", path, "--json").output)
    assert (outcome["fine"], outcome["signals"]) == (True, ["spo2_percent", "pulse_rate_bpm"])


def test_lint_tells_what_is_wrong_with_it(tmp_path: Path) -> None:
    path = written(tmp_path, FORWARD.replace("127.0.0.1", "192.0.2.7"))
    result = _run("lint", path)
    assert result.exit_code == ExitCode.BAD_FILE
    assert "readings of a second box need TLS" in " ".join(result.output.split())
    assert json.loads(_run("lint", path, "--json").output)["fine"] is False


def test_octets_are_nothing_for_it(tmp_path: Path) -> None:
    result = _run("lint", written(tmp_path), "--against", tmp_path / "heard.jsonl")
    assert result.exit_code == ExitCode.USAGE


def test_a_wrong_file_is_not_run(tmp_path: Path) -> None:
    path = written(tmp_path, FORWARD.replace('kind = "forward"', 'kind = "station"'))
    result = _run("forward", path)
    assert isinstance(result.exception, StationFileError)


def test_simulated_sensors_are_not_taken_for_real_ones(tmp_path: Path) -> None:
    result = _run("forward", written(tmp_path))
    assert result.exit_code == ExitCode.USAGE
    assert "simulated" in result.output


@pytest.mark.parametrize("arguments", [("forward",), ("forward", "/nowhere/at/all.toml")])
def test_no_file(arguments: tuple[str, ...]) -> None:
    assert _run(*arguments).exit_code != ExitCode.FINE
