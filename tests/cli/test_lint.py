"""The verb `lint`, from the command line."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.settings.shipped import shipped

MINIMAL = shipped("config/wearer_side_minimal.toml")


def _lint(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["lint", *arguments], env={"COLUMNS": "80"})


def _changed(folder: Path, old: str, new: str) -> str:
    path = folder / "shed.toml"
    path.write_text(MINIMAL.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    return str(path)


def test_a_fine_file_says_what_will_be_watched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "minimal.toml").write_bytes(MINIMAL.read_bytes())
    monkeypatch.chdir(tmp_path)
    result = _lint("minimal.toml")
    assert result.exit_code == ExitCode.FINE
    assert result.output == (
        "minimal.toml: fine. 17 rules watch the station shed (wearer_side), 5 of them\n"
        "  tell the wearer to leave.\n"
        "  Air: hood_pressure_pa against this line's normal of 85 Pa; not calibrated, so\n"
        "    no L/min.\n"
        "  Blind (blind): no reading of hood_pressure_pa.\n"
        "  LEAVE sounds about 3.7 s after the air fails, at the latest by air_lost: the\n"
        "    fan coasts 1.6 s to 65 % of its flow, sensing takes 0.1 s, the rule waits\n"
        "    2.0 s.\n"
        "  You need 5.0 s to react and 7 s to leave: 15.7 s in all. The hood gives 16.6 s\n"
        "    until 3 % carbon dioxide.\n"
    )


@pytest.mark.parametrize("path", sorted(shipped("config").glob("*.toml")), ids=lambda p: p.stem)
def test_every_example_is_fine(path: Path) -> None:
    assert _lint(str(path)).exit_code == ExitCode.FINE


def test_a_mistake_is_a_bad_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _changed(tmp_path, "exit_time_s = 7 ", "exit_time_s = 999 ")
    monkeypatch.chdir(tmp_path)
    result = _lint("shed.toml")
    assert result.exit_code == ExitCode.BAD_FILE
    line = (
        MINIMAL.read_text(encoding="utf-8")
        .splitlines()
        .index("exit_time_s = 7                     # walked in full gear, with a stopwatch")
    )
    assert result.output == (
        f"shed.toml:{line + 1}: station.exit_time_s = 999\n"
        "  expected seconds to leave the room, walked in full gear, from 1 to 300\n"
        "  To mend: change it\n"
        "shed.toml: cannot be used, 1 thing to mend.\n"
    )


def test_an_unsafe_station_is_a_finding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _changed(tmp_path, "normal_pa = 85", "")
    monkeypatch.chdir(tmp_path)
    result = _lint("shed.toml")
    assert result.exit_code == ExitCode.FINDINGS
    assert "element.normal_pa\n  normal_pa is missing" in result.output
    assert result.output.endswith("shed.toml: not safe to run, 1 thing to mend.\n")


def test_no_file_is_a_bad_file(tmp_path: Path) -> None:
    result = _lint(str(tmp_path / "none.toml"))
    assert result.exit_code == ExitCode.BAD_FILE
    assert "there is no such file" in result.output


def test_no_argument_is_wrong_usage() -> None:
    assert _lint().exit_code == ExitCode.USAGE


def test_json_of_a_fine_file() -> None:
    told = json.loads(_lint(str(shipped("config/demo.toml")), "--json").output)
    assert (told["fine"], told["problems"], told["station"]) == (True, [], "demo")
    assert {"id": "air_lost", "priority": "high"}.items() <= told["rules"][0].items()
    assert [each.split(":")[0] for each in told["exceptions"]] == ["air_falling"]
    assert told["exit_time_s"] == 7
    assert told["alarm_budgets"][0] == {
        "rule": "air_lost",
        "coast_down_s": 1.615,  # 3 s · (1 / 0.65 - 1)
        "sensing_s": 0.08,  # two periods of 0.04 s
        "on_delay_s": 2.0,
        "reaction_s": 5.0,
        "needed_s": 8.695,
        "available_s": 16.626,  # 60 · 8 · (0.03 - 0.00042 - 0.73/170) / 0.73
        "is_met": True,
    }


def test_json_of_a_bad_file(tmp_path: Path) -> None:
    path = _changed(tmp_path, "gpio = 22", "gpio = 99")
    result = _lint(path, "--json")
    assert result.exit_code == ExitCode.BAD_FILE
    told = json.loads(result.output)
    assert told["fine"] is False
    (problem,) = told["problems"]
    assert (problem["key"], problem["value"]) == ("devices.siren.options.gpio", "99")
    assert problem["text"].startswith(f"{path}:")


@pytest.mark.parametrize("kind", ["station", "sounder", "forward"])
def test_it_prints_the_schema_for_an_editor(kind: str) -> None:
    shown = _lint("--schema", kind)
    assert shown.exit_code == ExitCode.FINE
    kept = shipped(f"config/schemas/{kind}.schema.json")
    assert shown.output == kept.read_text(encoding="utf-8")


def test_there_is_no_schema_of_any_other_kind() -> None:
    refused = _lint("--schema", "lamp")
    assert refused.exit_code == ExitCode.USAGE
    said = " ".join(refused.output.replace("│", " ").split())
    assert "'lamp' is no kind of file: station, sounder, forward" in said
