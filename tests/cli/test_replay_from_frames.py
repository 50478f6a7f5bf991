"""`--from-frames`: decoding is replayed too, and a decoder that changed is found out."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.frames_session import record_with_frames
from cli.test_replay import linetender_replay
from linetender.cli.exit_codes import ExitCode
from linetender.cli.frame_decoder import FrameDecoder
from linetender.recording.reader import Block, RecordingReader
from linetender.recording.replay import replay_file
from recording.live_sessions import recorded_live
from recording.sessions import with_right_digits


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recorded session of the demo station in which the bus gives bad CRCs for a while."""
    path = tmp_path_factory.mktemp("recorded") / "session.jsonl"
    record_with_frames(path)
    return path


def changed(path: Path, pattern: bytes, change: Callable[[re.Match[bytes]], bytes]) -> Path:
    """Write a copy with the first match changed and the digits made to fit."""
    data = path.read_bytes()
    found = re.search(pattern, data)
    assert found is not None
    other = path.with_name("changed.jsonl")
    new = data[: found.start()] + change(found) + data[found.end() :]
    other.write_bytes(with_right_digits(new))
    return other


def test_frames_are_recorded_in_the_order_of_arrival(session: Path) -> None:
    frames = [
        frame
        for part in RecordingReader(session).parts()
        if isinstance(part, Block)
        for frame in part.frames
    ]
    assert {frame.source for frame in frames} == {"air", "oximeter"}
    arrivals = [frame.arrived_ns for frame in frames]
    assert arrivals == sorted(arrivals)
    assert {len(frame.hex) for frame in frames if frame.source == "air"} >= {18}


def test_an_exact_replay_does_not_mind_the_frames(session: Path) -> None:
    outcome = replay_file(session)
    assert (outcome.differences, outcome.ended) == ((), True)


def test_all_readings_are_decoded_alike(session: Path) -> None:
    decoder = FrameDecoder(session)
    outcome = replay_file(session, anew=decoder)
    assert (outcome.differences, decoder.differences) == ((), [])
    bad = session.read_bytes().count(b'"reason":"bad_crc"')
    readings = session.read_bytes().count(b'{"is":"reading"')
    assert bad > 3
    assert decoder.decoded >= readings - bad
    code, out, err = linetender_replay(session, "--from-frames")
    assert code == ExitCode.FINE, err
    first, second = out.splitlines()
    assert (
        first == f"All {decoder.decoded} readings are decoded alike from {decoder.frames} frames."
    )
    assert second.startswith("All ")


def test_a_reading_that_is_decoded_otherwise_is_told(session: Path) -> None:
    pattern = rb'"signal":"hood_pressure_pa","value":(\d+)\.(\d+)'
    other = changed(session, pattern, lambda m: m[0].replace(m[1] + b".", b"1" + m[1] + b"."))
    code, out, _ = linetender_replay(other, "--from-frames")
    assert code == ExitCode.FINDINGS
    assert re.match(
        r"1 of \d+ readings are decoded otherwise now\.\n  recorded hood_pressure_pa ", out
    )
    code, out, _ = linetender_replay(other, "--from-frames", "--json")
    assert (code, json.loads(out)["decoded_otherwise"]) == (ExitCode.FINDINGS, 1)


def test_a_frame_that_is_damaged_gives_its_reason(session: Path) -> None:
    pattern = rb'("source":"air","hex":")([0-9a-f])([0-9a-f]{17}")'
    flipped = changed(session, pattern, lambda m: m[1] + b"%x" % (int(m[2], 16) ^ 8) + m[3])
    decoder = FrameDecoder(flipped)
    replay_file(flipped, anew=decoder)
    (difference,) = decoder.differences
    assert (difference.recorded.reason, difference.now.reason) == (None, "bad_crc")
    assert difference.now.value is None


def test_a_frame_that_is_no_frame_is_named(session: Path) -> None:
    bad = changed(session, rb'("source":"air","hex":")([0-9a-f])', lambda m: m[1] + b"z")
    code, out, err = linetender_replay(bad, "--from-frames")
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "a frame of air is not written in hexadecimal digits" in err


def test_a_recording_without_frames_says_so(tmp_path: Path) -> None:
    path = tmp_path / "plain.jsonl"
    path.write_bytes(recorded_live(seconds=10))
    code, out, err = linetender_replay(path, "--from-frames")
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "it holds no frames" in err
    assert "raw_frames = true" in err


def test_a_driver_that_is_not_installed_is_named(session: Path) -> None:
    other = changed(session, rb'"driver":"sdp8xx"', lambda _: b'"driver":"none_such"')
    code, out, err = linetender_replay(other, "--from-frames")
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "none_such" in err
    assert linetender_replay(other)[0] == ExitCode.FINE
