"""`linetender demo`: what it prints, records and says at the end."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from installed_command import COMMAND, environment, linetender
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli import demo as demo_verb
from linetender.cli.exit_codes import ExitCode
from linetender.recording.replay import replay_file
from linetender.simulation.demo_scenario import FAN_STOPS_S

CHECKOUT = Path(__file__).resolve().parents[2]
FAST = ("demo", "--headless", "--speed", "0")


def test_for_people_one_line_per_event_and_a_summary() -> None:
    done = linetender(*FAST)
    assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
    events, summary, cautions, how_to_record = done.stdout.strip("\n").split("\n\n")
    told = [line.partition(" s  ") for line in events.splitlines()]
    assert [words.partition(":")[0] for _, _, words in told if "Air" in words] == [
        "LOOK",
        "LOOK, back to normal, not answered",
        "LEAVE",
        "LEAVE, answered by the wearer, not over",
        "The wearer is out",
    ]
    leave_s = next(float(at) for at, _, words in told if words.startswith("LEAVE:"))
    assert FAN_STOPS_S < leave_s <= FAN_STOPS_S + 5
    assert summary == (
        f"The fan failed at 70 s; LEAVE sounded {leave_s - FAN_STOPS_S:.1f} s later."
    )
    assert cautions.splitlines() == [f"• {caution.short}" for caution in CAUTIONS]
    for verb in ("replay", "report"):
        assert f"linetender {verb} session.jsonl" in how_to_record


def test_for_programs_the_same_as_json_and_as_a_recording(tmp_path: Path) -> None:
    record = tmp_path / "s.jsonl"
    done = linetender(*FAST, "--json", "--record", record)
    assert (done.returncode, done.stderr) == (ExitCode.FINE, "")
    *events, summary = [json.loads(line) for line in done.stdout.splitlines()]
    assert summary.pop("is") == "summary"
    assert summary["events"] == len(events)
    assert 0 < summary["seconds_to_sound"] <= 5
    due = [event["due_ns"] for event in events]
    assert due == sorted(due)
    outcome = replay_file(record)
    assert (outcome.differing, outcome.events, outcome.ended) == (0, len(events), True)
    assert outcome.session_s == pytest.approx(90, abs=1)


def test_another_seed_is_another_day_with_the_same_alarm() -> None:
    *events, summary = linetender(*FAST, "--json", "--seed", "2").stdout.splitlines()
    assert 0 < json.loads(summary)["seconds_to_sound"] <= 5
    golden = CHECKOUT / "tests" / "recordings" / "demo.jsonl"
    first_lines = golden.read_text().splitlines()
    assert [event for event in events if event in first_lines] != events


def test_a_recording_is_never_overwritten(tmp_path: Path) -> None:
    record = tmp_path / "s.jsonl"
    record.write_text("precious")
    done = linetender(*FAST, "--record", record)
    assert (done.returncode, done.stdout) == (ExitCode.BAD_FILE, "")
    assert str(record) in done.stderr
    assert "never overwrites" in done.stderr
    assert record.read_text() == "precious"


def test_a_recording_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    done = linetender(*FAST, "--record", tmp_path / "file" / "s.jsonl")
    assert done.returncode == ExitCode.BAD_FILE
    assert "cannot be created" in done.stderr


def test_a_recording_on_a_full_disk_is_said_and_not_offered_for_replay(tmp_path: Path) -> None:
    # The kernel's own full disk, under a name that does not exist yet.
    code = (
        "from linetender.recording import disk_file, writer\n"
        "import os\n"
        "append = os.write\n"
        "def full(descriptor, data):\n"
        "    target = os.open('/dev/full', os.O_WRONLY)\n"
        "    return append(target, data)\n"
        "disk_file.os.write = full\n"
        "from linetender.cli.main import main\n"
        "main()\n"
    )
    done = run_python(code, *FAST, "--record", str(tmp_path / "s.jsonl"))
    assert done.returncode == ExitCode.BAD_FILE
    assert "no space left on device; recording stopped" in done.stderr
    assert "LEAVE sounded" in done.stdout
    assert f"replay {tmp_path}" not in done.stdout


def run_python(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment(),
    )


@pytest.mark.parametrize("speed", ["-1", "nan", "inf", "fast"])
def test_a_speed_that_is_none(speed: str) -> None:
    done = linetender("demo", "--headless", "--speed", speed)
    assert (done.returncode, done.stdout) == (ExitCode.USAGE, "")
    assert "--speed" in done.stderr


def test_without_a_terminal_there_are_lines_and_no_drawing() -> None:
    done = linetender("demo", "--speed", "0")
    assert done.returncode == ExitCode.FINE
    assert "╭" not in done.stdout
    assert "LEAVE: Air lost." in done.stdout


def test_a_reader_that_has_seen_enough_ends_it_quietly() -> None:
    with subprocess.Popen(
        [COMMAND, *FAST, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    ) as demo:
        assert demo.stdout is not None
        assert demo.stderr is not None
        demo.stdout.close()
        assert (demo.stderr.read(), demo.wait(timeout=30)) == ("", ExitCode.FINE)


def test_a_demo_without_a_sound_is_a_fault(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo_verb, "_first_sound_ns", lambda *_: None)
    with pytest.raises(typer.Exit) as ended:
        demo_verb.demo(headless=True, as_json=False, speed=0.0, record=None, seed=1)
    assert ended.value.exit_code == ExitCode.FAULT
    assert "something is wrong with this program" in capsys.readouterr().out
