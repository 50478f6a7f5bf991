"""`linetender replay`: what it prints and how it ends."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from linetender.cli.exit_codes import ExitCode
from linetender.cli.replay_report import grouped, length
from recording.live_sessions import recorded_live


def linetender_replay(*arguments: str | Path, hash_seed: str = "0") -> tuple[int, str, str]:
    """Run the installed command as a person would, in a terminal of 80 columns."""
    command = Path(sys.executable).with_name("linetender")
    environment = {
        **os.environ,
        "COLUMNS": "80",
        "NO_COLOR": "1",
        "TERM": "dumb",
        "PYTHONHASHSEED": hash_seed,
    }
    done = subprocess.run(
        [command, "replay", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "session.jsonl"
    path.write_bytes(recorded_live())
    return path


def altered(path: Path, old: bytes, new: bytes) -> Path:
    """Write a copy with its first `old` replaced and its digits made to fit."""
    from recording.sessions import with_right_digits

    data = path.read_bytes()
    assert old in data
    other = path.with_name("altered.jsonl")
    other.write_bytes(with_right_digits(data.replace(old, new, 1)))
    return other


def test_all_events_match(recording: Path) -> None:
    code, out, err = linetender_replay(recording)
    events = recording.read_bytes().count(b'"due_ns"')
    expected = f"All {events} events match: 1 min 30 s of session.\n"
    assert (code, out) == (ExitCode.FINE, expected)
    assert "Replayed in " in err
    assert " × real time)." in err


def recorded_inputs(path: Path) -> int:
    return path.read_bytes().count(b'"arrived_ns"')


def test_json_is_the_same_with_every_hash_seed(recording: Path) -> None:
    runs = [linetender_replay(recording, "--json", hash_seed=seed) for seed in ("1", "2")]
    assert runs[0] == runs[1]
    code, out, err = runs[0]
    assert (code, err) == (ExitCode.FINE, "")
    assert json.loads(out) == {
        "station": "bench",
        "software": json.loads(recording.read_bytes().splitlines()[0])["software"],
        "segments": 1,
        "session_s": 90.0,
        "inputs": recorded_inputs(recording),
        "events": recording.read_bytes().count(b'"due_ns"'),
        "differing": 0,
        "differences": [],
        "ended": True,
        "lines_lost_at_end": 0,
    }


def test_differences_stand_side_by_side(recording: Path) -> None:
    changed = altered(recording, b'"evidence":', b'"evidence":1')
    code, out, err = linetender_replay(changed)
    assert code == ExitCode.FINDINGS
    assert out.startswith("1 difference beside ")
    assert "recorded" in out
    assert "replayed" in out
    assert out.count("alarm changed") == 2
    assert max(map(len, out.splitlines())) <= 80
    assert "Traceback" not in err
    code, out, err = linetender_replay(changed, "--json")
    assert code == ExitCode.FINDINGS
    (difference,) = json.loads(out)["differences"]
    assert difference["recorded"]["evidence"] != difference["replayed"]["evidence"]


def test_a_torn_file_is_replayed_as_far_as_it_is_whole(recording: Path) -> None:
    recording.write_bytes(recording.read_bytes()[:-10])
    code, out, _ = linetender_replay(recording)
    assert code == ExitCode.FINE
    assert out.splitlines()[0].startswith("All ")
    assert "The file breaks off. After the last check line, from line " in out
    assert "count as lost" in out


def test_a_file_without_its_end_is_said_to_be_cut_short(recording: Path) -> None:
    data = recording.read_bytes()
    recording.write_bytes(data[: data.rfind(b'{"is":"end"')])
    code, out, _ = linetender_replay(recording)
    assert code == ExitCode.FINE
    assert "The session was cut short" in out


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "no such file"),
        (b"", "the file is empty"),
        (b"\x00\xff" * 3000, "this is no recording"),
        (b'{"is":"segment","schema":1', "breaks off before its first check line"),
    ],
)
def test_a_bad_file(tmp_path: Path, content: bytes | None, words: str) -> None:
    path = tmp_path / "bad.jsonl"
    if content is not None:
        path.write_bytes(content)
    code, out, err = linetender_replay(path)
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert str(path) in err
    assert words in err
    assert "Traceback" not in err


def test_an_altered_file_names_line_and_byte(recording: Path) -> None:
    data = recording.read_bytes()
    place = data.find(b'"value":') + 8
    recording.write_bytes(data[:place] + b"8" + data[place + 1 :])
    code, out, err = linetender_replay(recording)
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "line 3 (byte " in err


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0.0 s"),
        (59.94, "59.9 s"),
        (60.0, "1 min 0 s"),
        (725.4, "12 min 5 s"),
        (5400.0, "1 h 30 min"),
        (86_400.0, "24 h 0 min"),
    ],
)
def test_lengths_in_words(seconds: float, text: str) -> None:
    assert length(seconds) == text


@pytest.mark.parametrize(("number", "text"), [(12, "12"), (9_999, "9999"), (27_000, "27 000")])
def test_large_numbers_are_grouped(number: int, text: str) -> None:
    assert grouped(number) == text
