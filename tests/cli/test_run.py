"""`linetender run`: what it says, how it ends, and that bad input leaves nothing behind."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from installed_command import COMMAND, environment, linetender
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import main
from linetender.recording.replay import replay_file
from linetender.settings.shipped import shipped

DEMO = shipped("config/demo.toml").read_text()
AS_FAST_AS_IT_GOES = ("--simulate", "demo", "--speed", "1000")
STOPPED = "Stopped. Nothing is being watched now."


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for everything the daemon keeps, so that runs do not meet."""
    monkeypatch.delenv("RUNTIME_DIRECTORY", raising=False)
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    for name in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME", "HOME"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(name, str(tmp_path / name))
    return tmp_path


def station(folder: Path, *changes: tuple[str, str], more: str = "") -> Path:
    """Write the demo's station file with some text replaced and some added."""
    text = DEMO
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "station.toml"
    path.write_text(text + more)
    return path


@contextmanager
def running(*arguments: str | Path) -> Iterator[subprocess.Popen[str]]:
    """A `linetender run` in the background that has said its cautions."""
    run = subprocess.Popen(
        [COMMAND, "run", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    with run:
        try:
            assert run.stdout is not None
            for caution in CAUTIONS:
                assert run.stdout.readline() == f"• {caution.short}\n"
            yield run
        finally:
            run.kill()


def test_the_scenario_through_the_daemon(folders: Path) -> None:
    record = folders / "s.jsonl"
    done = linetender("run", station(folders), *AS_FAST_AS_IT_GOES, "--record", record)
    assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
    *said, last = done.stdout.splitlines()
    assert said[: len(CAUTIONS)] == [f"• {caution.short}" for caution in CAUTIONS]
    assert sum("LEAVE: Air lost." in line for line in said) == 1
    assert last == STOPPED
    outcome = replay_file(record)
    assert (outcome.differing, outcome.ended) == (0, True)
    assert outcome.events > 8
    assert list((folders / "XDG_STATE_HOME").iterdir()) == []


def test_a_simulation_keeps_state_only_where_it_is_told_to(folders: Path) -> None:
    linetender("run", station(folders), *AS_FAST_AS_IT_GOES, "--state", folders / "state")
    kept = {file.name for file in (folders / "state").iterdir()}
    assert kept == {"carryover.json", "memory.sqlite3"}
    assert list((folders / "XDG_STATE_HOME").iterdir()) == []


def test_a_state_that_cannot_be_used_is_said_and_holds_nothing_up(folders: Path) -> None:
    state = folders / "state"
    state.mkdir()
    (state / "carryover.json").write_text("{")
    done = linetender("run", station(folders), *AS_FAST_AS_IT_GOES, "--state", state)
    assert done.returncode == ExitCode.FINE
    assert "cannot be used" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_it_in_good_order(number: signal.Signals, folders: Path) -> None:
    record = folders / "s.jsonl"
    with running(station(folders), "--simulate", "demo", "--record", record) as run:
        wait_for(lambda: record.exists() and record.stat().st_size > 0)
        run.send_signal(number)
        out, err = run.communicate(timeout=20)
        assert (run.returncode, err) == (ExitCode.FINE, "")
        assert out.splitlines()[-1] == STOPPED
    assert replay_file(record).ended


def wait_for(holds: Callable[[], bool]) -> None:
    deadline_s = time.monotonic() + 20
    while not holds():
        assert time.monotonic() < deadline_s
        os.sched_yield()


def test_a_second_one_for_the_same_station_is_refused(folders: Path) -> None:
    path = station(folders)
    record = folders / "s.jsonl"
    with running(path, "--simulate", "demo"):
        done = linetender("run", path, *AS_FAST_AS_IT_GOES, "--record", record)
    assert done.returncode == ExitCode.ALREADY_RUNNING
    assert "already watches station 'demo'" in done.stderr
    assert not record.exists()


def test_a_terminal_that_takes_nothing_holds_nothing_up(folders: Path) -> None:
    record = folders / "s.jsonl"
    reader, writer = os.pipe()
    os.set_blocking(writer, False)
    try:
        while True:
            os.write(writer, b"x" * 65536)
    except BlockingIOError:
        pass
    os.set_blocking(writer, True)
    arguments = ["run", station(folders), *AS_FAST_AS_IT_GOES, "--record", record]
    with subprocess.Popen([COMMAND, *arguments], stdout=writer, env=environment()) as run:
        assert run.wait(timeout=30) == ExitCode.FINE
    os.close(reader)
    os.close(writer)
    assert replay_file(record).ended


@pytest.fixture
def refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str]]:
    """Calls `run` in this process; returns exit code and stderr of a run that never begins."""

    def call(*arguments: str | Path) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["linetender", "run", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert out == ""
        assert "Traceback" not in err
        assert isinstance(ended.value.code, int)
        return ended.value.code, " ".join(err.replace("│", " ").split())

    return call


REAL_PINS = ('chip = "simulated", ', "")
REAL_BUS = ('bus = "simulated"', 'bus = "/dev/i2c-1"')
REAL_RADIO = ('address = "simulated"', 'address = "only"')
BROKER = "\n[broker]\nhost = {host!r}\nport = {port}\n"


def without_lgpio() -> bool:
    try:
        import lgpio  # noqa: F401
    except ImportError:
        return True
    return False


@pytest.mark.skipif(not without_lgpio(), reason="lgpio is installed here")
def test_real_devices_without_their_library(folders: Path) -> None:
    path = station(folders, REAL_PINS, REAL_BUS, REAL_RADIO)
    record = folders / "s.jsonl"
    done = linetender("run", path, "--record", record)
    assert done.returncode == ExitCode.DEVICE
    assert "linetender[pi]" in done.stderr
    assert "Traceback" not in done.stderr
    assert STOPPED not in done.stdout
    assert not record.exists()


USAGE = [
    ("a simulated file without --simulate", (), (), "add --simulate demo"),
    ("an unknown scenario", (), ("--simulate", "dmeo"), "demo --list"),
    ("a real device in a simulation", (REAL_BUS,), ("--simulate", "demo"), "real devices (air)"),
    ("both kinds, for real", (REAL_BUS,), (), "simulated devices"),
    ("an endless speed", (), ("--simulate", "demo", "--speed", "inf"), "--speed"),
    ("no speed", (), ("--simulate", "demo", "--speed", "0"), "--speed"),
]


@pytest.mark.parametrize(
    ("changes", "arguments", "said"), [case[1:] for case in USAGE], ids=[case[0] for case in USAGE]
)
def test_what_cannot_be_meant(
    changes: tuple[tuple[str, str], ...],
    arguments: tuple[str, ...],
    said: str,
    folders: Path,
    refused: Callable[..., tuple[int, str]],
) -> None:
    record = folders / "s.jsonl"
    code, err = refused(station(folders, *changes), *arguments, "--record", record)
    assert code == ExitCode.USAGE
    assert said in err
    assert not record.exists()


BAD_FILES = [
    ("garbled", lambda text: text.replace("[station]", "[station"), "station.toml"),
    ("truncated", lambda text: text[: len(text) // 3], "station.toml"),
    ("an unknown key", lambda text: text.replace("exit_time_s", "exit_time"), "exit_time"),
]


@pytest.mark.parametrize(
    ("change", "said"), [case[1:] for case in BAD_FILES], ids=[case[0] for case in BAD_FILES]
)
def test_a_bad_station_file(
    change: Callable[[str], str],
    said: str,
    folders: Path,
    refused: Callable[..., tuple[int, str]],
) -> None:
    path = station(folders)
    path.write_text(change(DEMO))
    record = folders / "s.jsonl"
    code, err = refused(path, *AS_FAST_AS_IT_GOES, "--record", record)
    assert code == ExitCode.BAD_FILE
    assert said in err
    assert not record.exists()


def test_a_missing_station_file(folders: Path, refused: Callable[..., tuple[int, str]]) -> None:
    code, err = refused(folders / "none.toml")
    assert code == ExitCode.BAD_FILE
    assert "none.toml" in err


def test_a_recording_is_never_overwritten(folders: Path) -> None:
    record = folders / "s.jsonl"
    record.write_text("precious")
    done = linetender("run", station(folders), *AS_FAST_AS_IT_GOES, "--record", record)
    assert (done.returncode, done.stdout) == (ExitCode.BAD_FILE, "")
    assert record.read_text() == "precious"


def test_a_state_folder_that_cannot_be_made_leaves_no_recording(folders: Path) -> None:
    (folders / "file").touch()
    record = folders / "s.jsonl"
    path = station(folders)
    done = linetender(
        "run", path, *AS_FAST_AS_IT_GOES, "--record", record, "--state", folders / "file" / "state"
    )
    assert done.returncode == ExitCode.BAD_FILE
    assert "file" in done.stderr
    assert not record.exists()


def test_a_password_file_that_is_not_there(folders: Path) -> None:
    login = "user = 'shed'\npassword_file = 'secret'\n"
    path = station(folders, more=BROKER.format(host="127.0.0.1", port=1883) + login)
    record = folders / "s.jsonl"
    done = linetender("run", path, *AS_FAST_AS_IT_GOES, "--record", record)
    assert (done.returncode, done.stdout) == (ExitCode.BAD_FILE, "")
    assert "secret" in done.stderr
    assert not record.exists()


def alarms_in(record: Path) -> list[tuple[object, ...]]:
    """Return what happened to each alarm, without those about the broker itself."""
    return [
        (event["due_ns"], event["rule"], event["after"])
        for event in events_in(record)
        if event["is"] == "alarm_changed"
        and event["rule"] not in ("broker_lost", "delivery_unconfirmed")
    ]


def test_a_broker_that_does_not_answer_is_said_once_and_changes_nothing(folders: Path) -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        path = station(folders, more=BROKER.format(host="127.0.0.1", port=unused.getsockname()[1]))
        records = [folders / "with.jsonl", folders / "without.jsonl"]
        done = linetender(
            "run", path, "--simulate", "demo", "--speed", "40", "--record", records[0]
        )
        linetender("run", station(folders), *AS_FAST_AS_IT_GOES, "--record", records[1])
    assert done.returncode == ExitCode.FINE
    assert done.stderr.count("\n") == 1
    assert "no broker answers at 127.0.0.1" in done.stderr
    assert "local alarms go on" in done.stderr
    assert alarms_in(records[0]) == alarms_in(records[1]) != []
    assert b'"broker_lost"' in records[0].read_bytes()


def events_in(record: Path) -> list[object]:
    lines = [json.loads(line) for line in record.read_bytes().splitlines()]
    return [line for line in lines if "due_ns" in line]
