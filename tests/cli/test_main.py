"""The command itself: help, version, first steps, and how failures are told."""

import errno
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.models import CommandInfo

from linetender import __version__
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli import main as cli
from linetender.cli.exit_codes import ExitCode
from linetender.recording.errors import Fault, RecordingError
from linetender.settings.problems import Problem, StationFileError
from linetender_drivers.errors import BadFrame, DeviceNotFound, DriverConfigError


def linetender(*arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run the installed command as a person would, in a terminal of 80 columns."""
    command = Path(sys.executable).with_name("linetender")
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", **more}
    return subprocess.run(
        [command, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment,
    )


def words(text: str) -> str:
    """Return the text without line breaks and borders, so that wrapping does not matter."""
    return " ".join(text.replace("│", " ").split())


def test_version() -> None:
    done = linetender("--version")
    assert (done.returncode, done.stdout, done.stderr) == (0, f"linetender {__version__}\n", "")


def test_without_a_verb_it_says_what_to_do_next() -> None:
    done = linetender()
    assert done.returncode == ExitCode.FINE
    assert "linetender demo" in done.stdout
    assert all(caution.short in done.stdout for caution in CAUTIONS)


def test_it_names_itself_as_it_can_be_called() -> None:
    done = linetender(PATH="/usr/bin:/bin")
    command = Path(sys.executable).with_name("linetender")
    assert f"\n  {command} demo\n" in done.stdout


def test_help_has_a_short_name() -> None:
    assert linetender("lint", "-h").stdout == linetender("lint", "--help").stdout


def test_help_shows_every_verb_and_every_caution() -> None:
    done = linetender("--help")
    assert done.returncode == ExitCode.FINE
    assert max(map(len, done.stdout.splitlines())) <= 80
    said = words(done.stdout)
    assert [caution.short for caution in CAUTIONS if caution.short not in said] == []
    names = [verb.__name__.replace("_", "-") for verbs in cli.VERBS.values() for verb in verbs]
    assert [name for name in names if f" {name} " not in said] == []


@pytest.mark.parametrize("verb", [verb for verbs in cli.VERBS.values() for verb in verbs])
def test_each_verb_explains_its_exit_codes_and_gives_an_example(verb: Callable[..., Any]) -> None:
    name = verb.__name__.replace("_", "-")
    said = " ".join((verb.__doc__ or "").split()) + " "
    codes = re.search(r"Exit status: (.*?)\. Example:", said)
    assert codes is not None
    known = {str(code.value) for code in ExitCode}
    told = re.findall(r"(?:^|, )(\d)(?= )", codes[1])
    assert told == sorted(told)
    assert {"0", "2"} <= set(told) <= known
    assert f"Example: linetender {name} " in said


HANDS = [(group, hand) for group, app in cli.GROUPS.items() for hand in app.registered_commands]


@pytest.mark.parametrize(("group", "hand"), HANDS)
def test_each_command_of_a_group_gives_an_example(group: str, hand: CommandInfo) -> None:
    assert hand.callback is not None
    name = (hand.name or hand.callback.__name__).replace("_", "-")
    called = f"linetender {group} {name} ".replace(" serve ", " ")
    assert f"Example: {called}" in " ".join((hand.callback.__doc__ or "").split()) + " "


@pytest.mark.parametrize("arguments", [["--no-such-option"], ["no-such-verb"]])
def test_a_command_line_not_understood(arguments: list[str]) -> None:
    done = linetender(*arguments)
    assert (done.returncode, done.stdout) == (ExitCode.USAGE, "")
    assert "no-such" in done.stderr
    assert "Traceback" not in done.stderr


STATION_FILE_ERROR = StationFileError(
    [
        Problem("shed.toml", 3, "station.exit_time_s", "-1", "0 to 600 s", "measure it"),
        Problem("shed.toml", 9, "devices.air.driver", '"x"', "a driver", "see the list"),
    ]
)
RECORDING_ERROR = RecordingError(
    Fault.LINES_LOST,
    Path("s.jsonl"),
    "two lines are missing",
    "Use a whole copy.",
    line=7,
    offset=9,
)
DISK_FULL = OSError(errno.ENOSPC, "No space left on device", "s.jsonl")

FAILURES = [
    (STATION_FILE_ERROR, ExitCode.BAD_FILE, ["shed.toml:3", "measure it", "shed.toml:9"]),
    (RECORDING_ERROR, ExitCode.BAD_FILE, ["s.jsonl, line 7", "Use a whole copy."]),
    (DISK_FULL, ExitCode.BAD_FILE, ["s.jsonl: No space left on device."]),
    (DeviceNotFound("air", "nothing answers"), ExitCode.DEVICE, ["air: nothing answers", "wiring"]),
    (BadFrame("air", "bad CRC", b"\x01"), ExitCode.DEVICE, ["bytes 01"]),
    (DriverConfigError("lamp", "pin 99"), ExitCode.DEVICE, ["lamp: pin 99.\nNothing is being"]),
    (
        ExceptionGroup("tasks", [ExceptionGroup("one", [DeviceNotFound("air", "gone")])]),
        ExitCode.DEVICE,
        ["air: gone"],
    ),
    (
        ZeroDivisionError("by zero"),
        ExitCode.FAULT,
        ["ZeroDivisionError: by zero", "LINETENDER_DEBUG=1"],
    ),
    (OSError("no file named"), ExitCode.FAULT, ["OSError"]),
]


@pytest.mark.parametrize(("failure", "code", "said"), FAILURES)
def test_a_failure_is_told_calmly(
    failure: Exception,
    code: ExitCode,
    said: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def fail(**_: object) -> None:
        raise failure

    monkeypatch.setattr(cli, "app", fail)
    monkeypatch.delenv(cli.DEBUG_VARIABLE, raising=False)
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == code
    out, err = capsys.readouterr()
    assert out == ""
    assert [part for part in said if part not in err] == []
    assert "Traceback" not in err


@pytest.mark.parametrize("verb", [[], ["lint", "--help"], ["demo", "--list"]])
def test_output_to_a_full_disk_is_no_mistake_of_ours(verb: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [Path(sys.executable).with_name("linetender"), *verb],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    assert done.returncode == ExitCode.BAD_FILE
    assert done.stderr == (
        "What was to be printed could not be written: the disk it goes to is full. "
        "Free some space, or send it elsewhere.\n"
    )


def test_a_terminal_without_bullets_gets_question_marks() -> None:
    done = subprocess.run(
        [Path(sys.executable).with_name("linetender")],
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
    )
    assert (done.returncode, done.stderr) == (ExitCode.FINE, b"")
    assert f"? {CAUTIONS[0].short}".encode("latin-1") in done.stdout


def test_a_developer_gets_the_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(cli, "app", fail)
    monkeypatch.setenv(cli.DEBUG_VARIABLE, "1")
    with pytest.raises(ZeroDivisionError):
        cli.main()


def test_exit_codes_are_those_of_the_manual() -> None:
    assert {code.name: int(code) for code in ExitCode} == {
        "FINE": 0,
        "FINDINGS": 1,
        "USAGE": 2,
        "BAD_FILE": 3,
        "DEVICE": 4,
        "ALREADY_RUNNING": 5,
        "FAULT": 70,
    }


@pytest.mark.parametrize("verb", [*(f"{name}" for name in cli.GROUPS), "", "demo", "size"])
def test_a_switch_is_shown_as_it_is_typed_without_a_value(verb: str) -> None:
    """It read as if `--plain` wanted one: `--plain <bool>`."""
    shown = linetender(*verb.split(), "--help").stdout
    assert "--plain" in shown and "bool" not in shown
