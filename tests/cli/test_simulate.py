"""The verb `simulate`, as far as it needs no world."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.cli.served_station import state_given
from served_world import served_world


def said(*arguments: str) -> tuple[int, str]:
    """Run the verb; return its exit code and all that it printed, in one line."""
    done = CliRunner().invoke(app, ["simulate", *arguments])
    return done.exit_code, " ".join(done.output.replace("│", " ").split())


def test_it_explains_its_hands_and_exit_codes() -> None:
    code, text = said("--help")
    assert code == ExitCode.FINE
    hands = ("press", "fault", "turn", "wait", "hold", "go", "status", "stop")
    assert [hand for hand in hands if f" {hand} " not in text] == []
    assert "Exit status: 0 done, 1 what was waited for did not come, 2 usage" in text
    assert "Example: linetender simulate practice --at" in text


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["practice"], "Missing option '--at'"),
        (["fault", "fan_stop"], "--at DIR is missing"),
        (["practice", "--at", "w", "--speed", "inf"], "must be a finite number"),
        (["wait", "-1", "--at", "w"], "-1"),
    ],
)
def test_a_command_line_not_understood(arguments: list[str], complaint: str) -> None:
    code, text = said(*arguments)
    assert code == ExitCode.USAGE
    assert complaint in text


def test_faults_are_listed_without_a_world() -> None:
    code, text = said("fault", "--list")
    assert code == ExitCode.FINE
    assert "fan_stop the fan stops, its mains still there" in text


def test_stations_that_do_not_come(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linetender.cli.simulate.PATIENCE_S", 0.05)
    with served_world(tmp_path) as world:
        found = said("wait", "5", "--stations", "2", "--at", str(world.at))
        assert found == (ExitCode.FINDINGS, "2 stations were not there within 0.05 s.")
        assert world.look()["now_s"] == 0


STATION = """
[station]
id = "{id}"
[devices.air]
options = {{ bus = "{bus}" }}
"""


@pytest.mark.parametrize(
    ("text", "given", "expected"),
    [
        (STATION.format(id="shed", bus="simulated:world"), None, "world/state/shed"),
        (STATION.format(id="shed", bus="simulated:/srv/w"), None, "/srv/w/state/shed"),
        (STATION.format(id="shed", bus="simulated:world"), Path("mine"), "mine"),
        (STATION.format(id="../shed", bus="simulated:world"), None, None),
        (STATION.format(id="shed", bus="simulated"), None, None),
        (STATION.format(id="shed", bus="/dev/i2c-1"), None, None),
        ("id = [", None, None),
        ("devices = 5", None, None),
        (None, None, None),
    ],
)
def test_what_is_kept_of_a_simulated_line_lies_beside_its_world(
    text: str | None, given: Path | None, expected: str | None, tmp_path: Path
) -> None:
    path = tmp_path / "station.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    wanted = None if expected is None else tmp_path / expected
    assert state_given(given, path) == (given or wanted)
