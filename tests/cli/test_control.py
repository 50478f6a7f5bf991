"""The verbs that talk to a running daemon, against a real one with simulated devices."""

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from installed_command import COMMAND, environment
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import main
from linetender.settings.shipped import shipped

DEMO = shipped("config/demo.toml").read_text()

Ask = Callable[..., tuple[int, str, str]]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where daemons of this test have their sockets; its path is longer than a socket's may be."""
    deep = tmp_path / ("deep" * 25)
    deep.mkdir()
    monkeypatch.delenv("RUNTIME_DIRECTORY", raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(deep))
    return tmp_path


@pytest.fixture
def linetender(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Ask:
    """Run a verb in this process; return its exit status and what it printed."""

    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["linetender", *arguments])
        with pytest.raises(SystemExit) as exit_:
            main()
        printed = capsys.readouterr()
        return int(exit_.value.code or 0), printed.out, printed.err

    return call


@pytest.fixture
def start_daemon(folder: Path) -> Iterator[Callable[[str], None]]:
    """Start a daemon of a station with an id, and wait until it answers."""
    runs: list[subprocess.Popen[str]] = []

    def start(name: str) -> None:
        path = folder / f"{name}.toml"
        path.write_text(DEMO.replace('id = "demo"', f'id = "{name}"'))
        arguments = [COMMAND, "run", path, "--simulate", "demo"]
        run = subprocess.Popen(
            arguments, stdout=subprocess.PIPE, text=True, env=environment(), cwd=folder
        )
        runs.append(run)
        assert run.stdout is not None
        for _ in CAUTIONS:
            run.stdout.readline()
        socket = folder / ("deep" * 25) / "linetender" / name / "control.sock"
        while not socket.exists():
            assert run.poll() is None

    yield start
    for run in runs:
        with run:
            run.kill()


def stage(linetender: Ask) -> str:
    code, out, _ = linetender("status", "--json")
    assert code == ExitCode.FINE
    found: str = json.loads(out)["snapshot"]["stage"]
    return found


def test_one_daemon_is_talked_to(start_daemon: Callable[[str], None], linetender: Ask) -> None:
    start_daemon("bench")
    assert stage(linetender) == "idle"
    code, out, err = linetender("status")
    assert (code, err) == (ExitCode.FINE, "")
    assert "stage: idle" in out
    assert "bench" in out

    refusals = {
        ("acknowledge",): "Not done: nothing waits for an answer.\n",
        ("pause-sound",): "Not done: no LOOK alarm sounds; a LEAVE alarm cannot be paused.\n",
        ("reset",): "Not done: nothing has been answered and is over.\n",
    }
    for asked, why in refusals.items():
        assert linetender(*asked) == (ExitCode.FINDINGS, "", why)
    code, out, _ = linetender("test-alarm")
    assert (code, out[:7]) == (ExitCode.FINE, "Listen:")

    assert linetender("pre-use", "--no-wait")[0] == ExitCode.FINE
    assert stage(linetender) == "pre_use"
    assert linetender("start", "--wearer")[0] == ExitCode.FINE
    assert stage(linetender) == "worn"
    code, _, err = linetender("end")
    assert (code, err) == (
        ExitCode.FINDINGS,
        "Not done: while the hood is worn only the wearer can ask for end.\n",
    )
    code, out, _ = linetender("test-alarm", "--json")
    assert (code, json.loads(out)["ok"]) == (ExitCode.FINDINGS, False)
    assert stage(linetender) == "worn"
    assert linetender("end", "--wearer", "--station", "bench")[0] == ExitCode.FINE
    assert stage(linetender) == "idle"


def test_a_step_is_overridden_for_a_reason(
    start_daemon: Callable[[str], None], linetender: Ask
) -> None:
    start_daemon("bench")
    code, _, err = linetender("pre-use", "--override", "hood", "--reason", "none here")
    assert (code, err[:28]) == (ExitCode.FINDINGS, "Not done: there is no step '")
    assert linetender("pre-use", "--override", "heard")[0] == ExitCode.USAGE
    assert linetender("pre-use", "--no-wait")[0] == ExitCode.FINE
    assert linetender("pre-use", "--no-wait") == (
        ExitCode.FINE,
        "The check is running already.\n",
        "",
    )
    heard = ("pre-use", "--override", "heard", "--reason", "siren is mended", "--no-wait")
    assert linetender(*heard)[0] == ExitCode.FINE
    shown = json.loads(linetender("status", "--json")[1])["snapshot"]["check"]
    assert shown["overrides"] == [["heard", "siren is mended"]]


def test_where_two_run_one_must_be_named(
    start_daemon: Callable[[str], None], linetender: Ask
) -> None:
    start_daemon("bench")
    start_daemon("attic")
    code, _, err = linetender("status")
    assert code == ExitCode.USAGE
    assert "attic, bench" in " ".join(err.replace("│", " ").split())
    code, out, _ = linetender("status", "--station", "attic", "--json")
    assert (code, json.loads(out)["station"]) == (ExitCode.FINE, "attic")


@pytest.mark.parametrize("verb", ["status", "acknowledge", "end", "test-alarm"])
def test_without_a_daemon(verb: str, folder: Path, linetender: Ask) -> None:
    code, out, err = linetender(verb)
    assert (code, out) == (ExitCode.DEVICE, "")
    assert "no daemon that watches a station runs here" in err
    assert "Nothing is being watched" in err


def test_the_live_view_of_a_running_daemon(
    start_daemon: Callable[[str], None], folder: Path
) -> None:
    start_daemon("bench")
    arguments = [COMMAND, "status", "--watch", "--json"]
    with subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True, env=environment()) as watch:
        assert watch.stdout is not None
        shown = [json.loads(watch.stdout.readline()) for _ in range(3)]
        watch.kill()
    instants = [one["snapshot"]["now_ns"] for one in shown]
    assert instants == sorted(instants)
    assert instants[0] < instants[-1]
