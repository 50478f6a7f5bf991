"""`linetender tune` as a person runs it, with good and bad input."""

import json
import os
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from linetender.cli.exit_codes import ExitCode
from linetender.settings.shipped import shipped
from reports.sessions_to_report import pressure, recorded, worn

STATION = "station.toml"
SESSION_S = 3600


def linetender(*arguments: str | Path, in_folder: Path) -> tuple[int, str, str]:
    command = Path(sys.executable).with_name("linetender")
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    done = subprocess.run(
        [command, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment,
        cwd=in_folder,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten invented sessions of an hour: eight times the air falls to 62 % for four seconds."""
    folder = tmp_path_factory.mktemp("tune")
    (folder / STATION).write_bytes(shipped("config/demo.toml").read_bytes())
    dips = {second + k for second in range(300, SESSION_S, 430) for k in range(4)}
    values = [(float(s), 24.6 if s in dips else 64.0) for s in range(SESSION_S)]
    first = recorded(folder / "a0.jsonl", pressure(values), (worn(0.5),), until_s=SESSION_S)
    for number in range(1, 10):
        (folder / f"a{number}.jsonl").hardlink_to(first)
    return folder


def recordings(count: int) -> list[str]:
    return [f"a{number}.jsonl" for number in range(count)]


def test_what_is_suggested_gives_fewer_alarms_and_passes_lint(folder: Path) -> None:
    code, out, err = linetender("tune", STATION, *recordings(10), "--json", in_folder=folder)
    facts = json.loads(out)
    assert (code, err, facts["sessions"]) == (ExitCode.FINE, "", 10)
    assert (facts["worn_s"], facts["present"]["alarms"]) == (35_995.0, 80)
    suggested = facts["suggested"]
    assert suggested["alarms"] == 0
    assert suggested["heard_after_s"] <= facts["latest_sound_s"]
    assert "blind" in facts["rules_not_covered"]
    text = (folder / STATION).read_text()
    assert "air_lost" not in tomllib.loads(text).get("rules", {}).get("change", {})
    changes = suggested["settings"]
    changed = folder / "changed.toml"
    changed.write_text(
        f"{text}\n[rules.change.air_lost]\nbelow = {changes['limit_percent']}\n"
        f'on_delay_s = {changes["on_delay_s"]}\nreason = "gusts here last four seconds"\n'
    )
    assert linetender("lint", changed.name, in_folder=folder)[0] == ExitCode.FINE
    code, out, _ = linetender("tune", changed.name, *recordings(10), "--json", in_folder=folder)
    assert (code, json.loads(out)["present"]) == (ExitCode.FINE, suggested)


def test_people_read_tables_a_curve_and_what_is_not_covered(folder: Path) -> None:
    asked = ("tune", STATION, *recordings(10), "--limits", "55,60,70", "--delays", "1,3")
    code, out, err = linetender(*asked, in_folder=folder)
    assert (code, err) == (ExitCode.FINE, "")
    words = " ".join(out.split())
    assert "there would have been 80 alarms in 10.0 h worn in 10 sessions" in words
    assert "limit 1 s 2 s 3 s 55 % 0 0 0 60 % 0 0 0 65 % 80 80* 80 70 % 80 80 80" in words
    assert "Suggested: with (60 %, deadband 10 %, delay 1 s) there would have been 0" in words
    assert "between 60 and 65 % and stays there" in words
    assert "[rules.change.air_lost] below = 60 on_delay_s = 1" in words
    assert "Not covered: " in words and "air_invalid" in words
    assert all(len(line) <= 80 for line in out.splitlines())


def test_little_is_not_enough_for_a_suggestion(folder: Path) -> None:
    code, out, _ = linetender("tune", STATION, "a0.jsonl", in_folder=folder)
    assert code == ExitCode.FINE
    assert "Nothing is suggested: that takes 10 h with the hood on, or more." in out


def test_a_plot_is_the_owners_and_replaces_nothing(folder: Path) -> None:
    asked = ("tune", STATION, "a0.jsonl", "--plot", "tune.svg")
    assert linetender(*asked, in_folder=folder)[0] == ExitCode.FINE
    plot = folder / "tune.svg"
    assert plot.read_text().startswith("<svg ") and stat.S_IMODE(plot.stat().st_mode) == 0o600
    code, out, err = linetender(*asked, in_folder=folder)
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "tune.svg: there is a file of this name already" in err and "--force" in err
    assert linetender(*asked, "--force", in_folder=folder)[0] == ExitCode.FINE


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--rule", "blind"), ExitCode.USAGE, "Those that can be tuned: air_lost"),
        (("--limits", "0,200"), ExitCode.USAGE, "numbers from 1 to 99"),
        (("--delays", "soon"), ExitCode.USAGE, "numbers from 0 to 120"),
        (("absent.jsonl",), ExitCode.BAD_FILE, "absent.jsonl"),
        (("station.toml",), ExitCode.BAD_FILE, "station.toml"),
    ],
    ids=["rule", "limits", "delays", "absent", "no recording"],
)
def test_bad_input_is_told(
    folder: Path, arguments: tuple[str, ...], code: ExitCode, said: str
) -> None:
    found, out, err = linetender("tune", STATION, "a0.jsonl", *arguments, in_folder=folder)
    assert (found, out) == (code, "")
    assert said in " ".join(err.replace("│", " ").split())
