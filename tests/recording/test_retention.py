"""What is kept and for how long; a high alarm that nobody has looked at is never deleted."""

import errno
import gzip
import os
from pathlib import Path

import msgspec
import pytest

from linetender.core.instants import SECOND_NS
from linetender.core.stages import Priority
from linetender.recording.compression import compress_file
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason
from linetender.recording.replay import replay_file
from linetender.recording.retention import Retention, delete_old, mark_reviewed, sessions_in
from linetender.recording.upkeep import Upkeep
from recording.live_sessions import recorded_live
from recording.sessions import RAISED, Content, header, pressure, small_recording

DAY_S = 86_400.0
NOW_S = 2_000_000_000.0
FOR_EVER = Retention(1e12, 1e12)


def named(day: int, part: int = 1, ending: str = ".jsonl") -> str:
    number = "" if part == 1 else f".{part}"
    return f"shed-2033-05-{day:02d}T080000{number}{ending}"


def recording(priority: Priority | None = None, *, synchronised: bool = True) -> bytes:
    stream = LineStream()
    data = stream.segment(msgspec.structs.replace(header(), synchronised=synchronised))
    stream.inputs([pressure(k) for k in range(50)])
    if priority is not None:
        stream.events((msgspec.structs.replace(RAISED, priority=priority),))
    return data + stream.end(SECOND_NS, EndReason.STOPPED)


QUIET, LOUD = recording(), recording(Priority.HIGH)


def put(folder: Path, name: str, data: bytes, age_days: float) -> Path:
    path = folder / name
    path.write_bytes(data)
    os.utime(path, (NOW_S - age_days * DAY_S,) * 2)
    return path


def left_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize(
    ("data", "now_s", "stays"),
    [
        pytest.param(QUIET, NOW_S, False, id="old"),
        pytest.param(recording(Priority.MEDIUM), NOW_S, False, id="old, medium alarm"),
        pytest.param(LOUD, NOW_S, True, id="high alarm"),
        pytest.param(QUIET, None, True, id="time of day unknown now"),
        pytest.param(recording(synchronised=False), NOW_S, True, id="unknown then"),
        pytest.param(LOUD[: len(LOUD) - 30], NOW_S, True, id="torn after a high alarm"),
        pytest.param(gzip.compress(LOUD), NOW_S, True, id="compressed"),
        pytest.param(gzip.compress(QUIET), NOW_S, False, id="compressed and quiet"),
        pytest.param(gzip.compress(QUIET)[:-8] + b"\0" * 8, NOW_S, True, id="cannot be told"),
    ],
)
def test_by_age(tmp_path: Path, data: bytes, now_s: float | None, stays: bool) -> None:
    ending = ".jsonl.gz" if data.startswith(b"\x1f") else ".jsonl"
    old = put(tmp_path, named(1, ending=ending), data, 91)
    young = put(tmp_path, named(2), QUIET, 89)
    deleted, _ = delete_old(tmp_path, Retention(90 * DAY_S, 1e12), now_s=now_s)
    assert left_in(tmp_path) == ([old.name, young.name] if stays else [young.name])
    assert deleted == ([] if stays else ["shed-2033-05-01T080000"])


def test_by_size_the_oldest_goes_first_and_the_one_in_use_stays(tmp_path: Path) -> None:
    for day in range(1, 6):
        put(tmp_path, named(day), LOUD if day == 2 else QUIET, 10 - day)
    retention = Retention(1e12, 3.2 * len(LOUD))
    in_use = [tmp_path / named(1)]
    deleted, spared = delete_old(tmp_path, retention, now_s=None, in_use=in_use)
    assert deleted == ["shed-2033-05-03T080000", "shed-2033-05-04T080000"]
    assert spared == ["shed-2033-05-02T080000"]
    assert left_in(tmp_path) == [named(1), named(2), named(5)]


def test_all_parts_of_a_session_stand_or_fall_together(tmp_path: Path) -> None:
    for part, data in ((1, QUIET), (2, LOUD), (3, QUIET)):
        put(tmp_path, named(1, part), data, 100 - part)
    others = ["notes.txt", "shed.jsonl", "shed-2033-05-01T080000.jsonl.new"]
    for name in others:
        put(tmp_path, name, LOUD, 1000)
    retention = Retention(DAY_S, 1e12)
    assert delete_old(tmp_path, retention, now_s=NOW_S) == ([], ["shed-2033-05-01T080000"])
    mark = mark_reviewed(tmp_path / named(1, 3))
    assert mark.stat().st_mode & 0o777 == 0o600
    os.utime(mark, (NOW_S,) * 2)
    (session,) = sessions_in(tmp_path)
    assert (session.is_reviewed, len(session.files)) == (True, 3)
    assert delete_old(tmp_path, retention, now_s=NOW_S) == (["shed-2033-05-01T080000"], [])
    assert left_in(tmp_path) == sorted(others)


def test_a_mark_older_than_the_last_line_does_not_count(tmp_path: Path) -> None:
    path = put(tmp_path, named(1), LOUD, 100)
    mark = mark_reviewed(path)
    os.utime(mark, (NOW_S - 101 * DAY_S,) * 2)
    assert delete_old(tmp_path, Retention(DAY_S, 0), now_s=NOW_S)[0] == []
    assert path.exists()


def test_a_file_of_another_name_cannot_be_marked(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="not a file that `run` wrote"):
        mark_reviewed(tmp_path / "s.jsonl")


# Compression


def test_a_compressed_recording_reads_and_replays_like_the_plain_one(tmp_path: Path) -> None:
    data = recorded_live()
    path = put(tmp_path, named(1), data, 3)
    plain = Content(path)
    packed = compress_file(path)
    assert left_in(tmp_path) == [named(1, ending=".jsonl.gz")]
    assert packed.stat().st_mode & 0o777 == 0o600
    assert packed.stat().st_mtime == NOW_S - 3 * DAY_S
    assert packed.stat().st_size < len(data) / 5
    assert gzip.decompress(packed.read_bytes()) == data
    content = Content(packed)
    assert (content.inputs, content.events) == (plain.inputs, plain.events)
    assert (content.ended, content.tail) == (True, None)
    told: list[tuple[int, int]] = []
    assert replay_file(packed, told=lambda *progress: told.append(progress)).differing == 0
    assert told[-1] == (packed.stat().st_size, packed.stat().st_size)


@pytest.mark.parametrize("piece_bytes", [1, 100, 1 << 18])
def test_members_and_pieces_change_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, piece_bytes: int
) -> None:
    monkeypatch.setattr("linetender.recording.reader.PIECE_BYTES", piece_bytes)
    data = small_recording()
    path = tmp_path / "s.jsonl.gz"
    path.write_bytes(gzip.compress(data[:700]) + gzip.compress(data[700:]))
    assert len(Content(path).inputs) == 11


def test_a_compressed_file_torn_or_altered_anywhere(tmp_path: Path) -> None:
    data = gzip.compress(small_recording())
    whole = small_recording()
    path = tmp_path / "s.jsonl.gz"
    (tmp_path / "whole.jsonl").write_bytes(whole)
    inputs = Content(tmp_path / "whole.jsonl").inputs
    outcomes = {"read": 0, "refused": 0}
    for place in range(0, len(data), 3):
        for damaged in (
            data[:place],
            data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :],
        ):
            path.write_bytes(damaged)
            try:
                content = Content(path)
            except RecordingError as error:
                assert error.fault in Fault
                outcomes["refused"] += 1
            else:
                assert content.inputs == inputs[: len(content.inputs)]
                outcomes["read"] += 1
    assert min(outcomes.values()) > 10


def test_upkeep_compresses_and_deletes_and_leaves_alone_what_is_in_use(tmp_path: Path) -> None:
    current = put(tmp_path, named(9, 2), QUIET, 0)
    put(tmp_path, named(9, 1), QUIET, 0)
    put(tmp_path, named(1), LOUD, 100)
    put(tmp_path, named(2), QUIET, 100)
    upkeep = Upkeep(
        tmp_path,
        Retention(90 * DAY_S, 1e12),
        is_compressing=True,
        in_use=lambda: [current],
        now_s=lambda: NOW_S,
    )
    upkeep.turn()
    kept = [named(1, ending=".jsonl.gz"), named(9, 1, ".jsonl.gz"), current.name]
    assert left_in(tmp_path) == sorted(kept)
    upkeep.turn()
    assert left_in(tmp_path) == sorted(kept)


def test_on_a_full_disk_old_sessions_go_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(path: Path) -> Path:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    monkeypatch.setattr("linetender.recording.upkeep.compress_file", full)
    put(tmp_path, named(1), QUIET, 100)
    put(tmp_path, named(2), QUIET, 1)
    Upkeep(
        tmp_path,
        Retention(90 * DAY_S, 1e12),
        is_compressing=True,
        in_use=tuple,
        now_s=lambda: NOW_S,
    ).turn()
    assert left_in(tmp_path) == [named(2)]
    assert "No space left" in caplog.text


def test_upkeep_of_a_folder_that_is_gone_says_so(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    Upkeep(
        tmp_path / "none",
        FOR_EVER,
        is_compressing=True,
        in_use=tuple,
        now_s=lambda: None,
    ).turn()
    assert "cannot be looked after" in caplog.text
