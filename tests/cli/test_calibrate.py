"""The verb `calibrate`, and what `lint`, `run` and recordings make of its outcome."""

import json
import os
from pathlib import Path
from typing import Any

import msgspec
import pytest
import typer
from typer.testing import CliRunner, Result

import installed_command
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app, told
from linetender.core.plan import Plan
from linetender.memory.store import FILE_NAME, open_store
from linetender.memory.taught_pressures import store_taught
from linetender.recording.lines import Segment
from linetender.runtime.single_run import SingleRun
from linetender.settings.shipped import shipped
from linetender.simulation.calibration_line import CalibrationLine
from memory.memory_records import When, taught
from settings.station_texts import AIR, HANDS, STATION

UNTAUGHT = STATION + '[element]\nkind = "hood_hose"\n' + AIR + HANDS
REAL = UNTAUGHT.replace('bus = "simulated"', 'bus = "/dev/i2c-1"')

# The flows of the invented line at these throttles, with some scatter: 200 L in these seconds.
ANSWERS = """\
schema = 1
temperature_c = 21.0
humidity_percent = 45.0
[[point]]
volume_l = 200
seconds = [48.5, 47.6, 48.3]
[[point]]
throttle = 0.45
volume_l = 200
seconds = [58.6, 57.4, 58.0]
[[point]]
throttle = 0.6
volume_l = 200
seconds = [74.2, 75.4, 74.9]
[[point]]
throttle = 0.7
volume_l = 200
seconds = [98.3, 97.1, 99.0]
"""


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME", "HOME"):
        folder = tmp_path / name.lower()
        folder.mkdir()
        monkeypatch.setenv(name, str(folder))
    for name in ("RUNTIME_DIRECTORY", "STATE_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    Path("shed.toml").write_text(UNTAUGHT, encoding="utf-8")


def linetender(*arguments: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(app, list(arguments), input=typed, env={"COLUMNS": "80"})


def simulated(*arguments: str) -> Result:
    return linetender(
        "calibrate", "shed.toml", "--simulate", "--speed", "0", "--state", "state", *arguments
    )


def code_of(result: Result) -> int:
    """Return the exit status that the process would have."""
    if isinstance(result.exception, Exception) and not isinstance(result.exception, SystemExit):
        return told(result.exception)[0]
    return result.exit_code


def message_of(result: Result) -> str:
    assert isinstance(result.exception, Exception)
    return told(result.exception)[1]


def lint() -> dict[str, Any]:
    outcome: dict[str, Any] = json.loads(
        linetender("lint", "shed.toml", "--json", "--state", "state").stdout
    )
    return outcome


def test_teaching_makes_an_untaught_station_fit_to_run() -> None:
    assert lint()["problems"][0]["key"] == "element.normal_pa"
    done = simulated("--teach")
    assert (done.exit_code, done.exception) == (0, None)
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "Normal pressure: 60." in done.stdout
    assert "fan off       air_lost" in done.stdout
    outcome = lint()
    assert outcome["fine"] is True
    assert [entry["kind"] for entry in outcome["calibrations"]] == ["taught"]
    assert "Taught on " in linetender("lint", "shed.toml", "--state", "state").stdout


def plans_and_calibrations(recording: Path) -> tuple[Plan, list[str]]:
    with recording.open("rb") as file:
        header = msgspec.json.decode(file.readline(), type=Segment)
    return header.plan, [entry["kind"] for entry in header.calibrations]


def test_the_daemon_runs_with_what_was_taught_and_calibrated() -> None:
    assert simulated("--teach").exit_code == 0
    Path("answers.toml").write_text(ANSWERS, encoding="utf-8")
    done = simulated("--answers", "answers.toml")
    assert (done.exit_code, done.exception) == (0, None)
    assert "Q = " in done.stdout
    run = installed_command.linetender(
        "run",
        "shed.toml",
        "--simulate",
        "demo",
        "--speed",
        "100000",
        "--state",
        "state",
        "--record",
        "session.jsonl",
    )
    assert (run.returncode, run.stderr) == (0, "")
    plan, kinds = plans_and_calibrations(Path("session.jsonl"))
    assert kinds == ["taught", "calibrated"]
    assert plan.air is not None
    assert plan.air.normal_pa == pytest.approx(60.0, abs=1.0)
    assert plan.air.k_l_min is not None
    assert plan.air.k_l_min * 60.0**plan.air.exponent == pytest.approx(250.0, rel=0.03)
    assert 0.03 < plan.air.relative_uncertainty < 0.05
    replayed = linetender("replay", "session.jsonl")
    assert replayed.exit_code == 0
    # Compiled anew from the settings in its header, it is the same station.
    compared = linetender("replay", "session.jsonl", "--station", "shed.toml", "--json")
    assert compared.exit_code == 0, compared.output
    rules = str(shipped("config/rules/default.toml"))
    compared = linetender("replay", "session.jsonl", "--rules", rules, "--json")
    assert compared.exit_code == 0, compared.output


def test_a_mistyped_answer_is_named_and_nothing_stored() -> None:
    Path("answers.toml").write_text(ANSWERS.replace("75.4", "754"), encoding="utf-8")
    done = simulated("--answers", "answers.toml")
    assert done.exit_code == ExitCode.FINDINGS
    assert "Point 8 (" in done.stdout
    assert "Nothing was stored." in done.stdout
    Path("answers.toml").write_text(ANSWERS, encoding="utf-8")
    assert simulated("--answers", "answers.toml").exit_code == 0


def test_what_is_in_force_can_be_put_out_of_it() -> None:
    assert simulated("--teach").exit_code == 0
    done = simulated("--forget")
    assert done.exit_code == 0
    assert done.stdout.startswith("Out of force: 1.")
    assert lint()["fine"] is False


def test_a_simulation_keeps_nothing_unless_asked() -> None:
    done = linetender("calibrate", "shed.toml", "--teach", "--simulate", "--speed", "0")
    assert done.exit_code == 0
    assert list(Path().rglob(FILE_NAME)) == []


@pytest.mark.parametrize(
    ("text", "arguments", "code", "expected"),
    [
        (REAL, ["--simulate"], ExitCode.USAGE, "names a real sensor (air)"),
        (UNTAUGHT, [], ExitCode.USAGE, "add --simulate"),
        (
            REAL.replace('hose"', 'hose"\nnormal_pa = 60'),
            ["--teach"],
            ExitCode.BAD_FILE,
            "remove normal_pa, then teach",
        ),
        (
            REAL.replace('hood_hose"', 'fitted"\nk = 27\nn = 0.5'),
            [],
            ExitCode.BAD_FILE,
            "without k and n",
        ),
        (STATION + HANDS, ["--teach"], ExitCode.BAD_FILE, "there is nothing to calibrate"),
        (UNTAUGHT + "[spelling]\n", ["--teach"], ExitCode.BAD_FILE, "spelling"),
        (
            REAL.replace("i2c-1", "i2c-97"),
            ["--teach", "--answers", "air.toml"],
            ExitCode.DEVICE,
            "i2c-97",
        ),
    ],
    ids=["real", "simulated", "normal twice", "k twice", "no element", "typo", "no bus"],
)
def test_what_cannot_be_calibrated_is_told(
    text: str, arguments: list[str], code: ExitCode, expected: str
) -> None:
    Path("shed.toml").write_text(text, encoding="utf-8")
    Path("air.toml").write_text("schema = 1\n", encoding="utf-8")
    done = linetender("calibrate", "shed.toml", *arguments)
    assert code_of(done) == code
    said = done.output if code is ExitCode.USAGE else message_of(done)
    assert expected in " ".join(said.replace("│", " ").split())
    assert list(Path().rglob(FILE_NAME)) == [] or code is not ExitCode.USAGE


def test_while_the_daemon_has_the_station_it_says_how_to_stop_it() -> None:
    Path("shed.toml").write_text(REAL, encoding="utf-8")
    with SingleRun("shed"):
        done = linetender("calibrate", "shed.toml", "--teach")
    assert code_of(done) == ExitCode.ALREADY_RUNNING
    said = message_of(done)
    assert "already watches station 'shed'" in said
    assert f"kill {os.getpid()}" in said or "systemctl stop" in said


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("schema = 2\n", "schema"),
        ("schema = 1\n[[point]]\n", "not both"),
        (
            "schema = 1\n[[point]]\nvolume_l = 200\nseconds = [60]\ndiameter_mm = 100\n"
            "velocities_m_s = [1, 1, 1, 1, 1, 1]\n",
            "not both",
        ),
        ("schema = 1\n[[point]]\nvolume_l = -200\nseconds = [60]\n", "volume_l"),
        ("schema = 1\ntemperature = 20\n", "temperature"),
        ("schema = 1\ntemperature_c = nan\n", "temperature_c"),
    ],
)
def test_answers_that_are_not_in_order_are_told(text: str, expected: str) -> None:
    Path("answers.toml").write_text(text, encoding="utf-8")
    done = simulated("--answers", "answers.toml")
    assert code_of(done) == ExitCode.BAD_FILE
    assert expected in message_of(done)


def test_a_damaged_memory_is_told_and_the_file_alone_counts() -> None:
    Path("state").mkdir()
    Path("state", FILE_NAME).write_bytes(b"spoilt" * 500)
    done = simulated("--teach")
    assert code_of(done) == ExitCode.BAD_FILE
    assert "damaged" in message_of(done)
    Path("shed.toml").write_text(UNTAUGHT.replace('hose"', 'hose"\nnormal_pa = 60'), "utf-8")
    outcome = lint()
    assert outcome["fine"] is True
    assert "is not known" in outcome["expired"][0]


def test_an_interrupted_calibration_is_kept_and_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    fills = CalibrationLine.fill_s
    filled: list[float] = []

    def fill_s(line: CalibrationLine, volume_l: float) -> float:
        if len(filled) == 7:  # at the third of five settings
            raise typer.Abort
        filled.append(volume_l)
        return fills(line, volume_l)

    with monkeypatch.context() as at_the_line:
        at_the_line.setattr(CalibrationLine, "fill_s", fill_s)
        done = simulated()
    assert done.exit_code == 1
    assert "What was measured is kept for 24 hours" in done.stdout
    assert "Stored" not in done.stdout
    done = simulated()
    assert done.exit_code == 0
    assert "Going on with a calibration that has 6 flow points." in done.stdout
    assert "setting 2" not in done.stdout
    assert "Stored; good until" in done.stdout


def test_a_fresh_start_goes_on_with_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def walks_away(line: CalibrationLine, volume_l: float) -> float:
        raise typer.Abort

    with monkeypatch.context() as at_the_line:
        at_the_line.setattr(CalibrationLine, "fill_s", walks_away)
        assert simulated().exit_code == 1
    done = simulated("--fresh")
    assert done.exit_code == 0
    assert "Going on" not in done.stdout
    assert "setting 1" in done.stdout


def test_what_has_expired_is_told_at_the_start_and_by_lint() -> None:
    long_ago = When("2019-01-01T10:00:00+01:00", "2019-07-01T10:00:00+02:00")
    with open_store(Path("state")) as store:
        store_taught(store, taught(60.0, long_ago))
    told_so = "The line was taught on 2019-01-01, good until 2019-07-01: do it again soon."
    outcome = lint()
    assert (outcome["fine"], outcome["expired"]) == (True, [told_so])
    run = installed_command.linetender(
        "run", "shed.toml", "--simulate", "demo", "--speed", "100000", "--state", "state"
    )
    assert (run.returncode, run.stderr) == (0, "")
    assert f"LOOK  {told_so}" in run.stdout.splitlines()


@pytest.mark.parametrize(("required_l_min", "is_told"), [(100, True), (170, False), (300, True)])
def test_a_required_flow_that_was_not_measured_is_told(required_l_min: int, is_told: bool) -> None:
    text = UNTAUGHT.replace("[element]", f"required_airflow_l_min = {required_l_min}\n[element]")
    Path("shed.toml").write_text(text, encoding="utf-8")
    done = simulated()
    assert done.exit_code == 0
    assert (f"The required {required_l_min} L/min lie outside the points" in done.stdout) is is_told


def events_of(result: Result) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_teaching_as_json() -> None:
    done = simulated("--teach", "--json")
    assert (done.exit_code, done.exception) == (0, None)
    events = events_of(done)
    states = list(events[-1]["states"])
    assert len(states) == 5
    assert [each["state"] for each in events if each["event"] == "wanted"] == states
    measured = [each for each in events if each["event"] == "measuring"]
    assert [each["seconds"] for each in measured] == [20.0] * len(states)
    progress = [each for each in events if each["event"] == "progress"]
    assert [each["done_s"] for each in progress] == list(range(1, 21)) * len(states)
    taught_line = events[-1]
    assert taught_line["event"] == "taught"
    assert taught_line["normal_pa"] == pytest.approx(60.0, rel=0.05)
    assert "air_lost" in taught_line["alarms"]["fan_off"]
    forgotten = simulated("--forget", "--json")
    assert events_of(forgotten) == [{"event": "forgotten", "count": 1}]


def test_calibrating_as_json() -> None:
    Path("answers.toml").write_text(ANSWERS, encoding="utf-8")
    done = simulated("--answers", "answers.toml", "--json")
    assert (done.exit_code, done.exception) == (0, None)
    last = events_of(done)[-1]
    assert last["event"] == "calibrated"
    assert 0.03 < last["relative_uncertainty"] < 0.05
    assert len(last["points"]) == len(last["residuals_percent"]) == 12
    assert last["exponent"] == pytest.approx(0.54, abs=0.05)


def test_a_refusal_as_json_is_its_last_line() -> None:
    text = ANSWERS.replace("75.4", "754")
    Path("answers.toml").write_text(text, encoding="utf-8")
    done = simulated("--answers", "answers.toml", "--json")
    assert done.exit_code == ExitCode.FINDINGS
    last = events_of(done)[-1]
    assert (last["event"], last["is_stored"]) == ("refused", False)
    assert "contradicts the others" in last["reasons"][0]
    with open_store(Path("state")) as store:
        assert store.rows("SELECT count(*) FROM calibration")[0][0] == 0


def test_json_without_answers_is_refused() -> None:
    Path("shed.toml").write_text(REAL, encoding="utf-8")
    done = linetender("calibrate", "shed.toml", "--json")
    assert (done.exit_code, done.stdout) == (ExitCode.USAGE, "")
    assert "--answers" in done.stderr
