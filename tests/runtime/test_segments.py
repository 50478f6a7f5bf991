"""New files on the way change nothing: the station says the same, and each part replays."""

import errno
import os
import threading
from pathlib import Path

import pytest

from linetender.core.events import Event
from linetender.core.instants import SECOND_NS
from linetender.recording import disk_thread
from linetender.recording.lines import SegmentReason
from linetender.recording.reader import Block, RecordingReader
from linetender.recording.replay import replay_file
from linetender.recording.writer import FileLimits, RecordingWriter
from runtime.demo_sessions import ORDINARY, Deed, Hand, Played, play

DEEDS: tuple[Deed, ...] = (*ORDINARY, (22.0, Hand.fan_stop), (38.0, Hand.fan_start))
END_S = 50.0


def parts_of(path: Path) -> tuple[list[SegmentReason], list[Event]]:
    whys: list[SegmentReason] = []
    events: list[Event] = []
    for part in RecordingReader(path).parts():
        if isinstance(part, Block):
            events += part.events
        else:
            whys.append(part.why)
    return whys, events


def played_with(limits: FileLimits | None, path: Path) -> tuple[Played, RecordingWriter]:
    writer = RecordingWriter(path, limits=limits, waits=True)
    return play(DEEDS, END_S, recorder=writer), writer


def test_rotation_on_the_way_changes_no_event(tmp_path: Path) -> None:
    whole, _ = played_with(None, tmp_path / "whole.jsonl")
    limits = FileLimits(length_ns=3 * SECOND_NS)
    rotated, writer = played_with(limits, tmp_path / "rotated.jsonl")
    assert rotated.events == whole.events
    assert rotated.alarms() != []
    assert len(writer.paths) == 17
    recorded: list[Event] = []
    for number, path in enumerate(writer.paths):
        whys, events = parts_of(path)
        assert whys == [SegmentReason.ROTATION if number else SegmentReason.START]
        recorded += events
        outcome = replay_file(path)
        assert (outcome.differences, outcome.tail, outcome.ended) == ((), None, True)
    assert recorded == whole.events


class DiskFullForAWhile:
    """Files in memory, full after some bytes until it is let go."""

    def __init__(self, free_bytes: int) -> None:
        self.free_bytes = free_bytes
        self.content: dict[str, bytearray] = {}
        self.takes_again = threading.Event()

    def begin(self, path: Path) -> "FileInMemory":
        self.content[path.name] = bytearray()
        return FileInMemory(self, path.name)

    def probe(self, path: Path) -> None:
        if not self.takes_again.is_set():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


class FileInMemory:
    """A file of it."""

    def __init__(self, disk: DiskFullForAWhile, name: str) -> None:
        self._disk = disk
        self._name = name

    def append(self, piece: bytes) -> None:
        self._disk.free_bytes -= len(piece)
        if self._disk.free_bytes < 0 and not self._disk.takes_again.is_set():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._disk.content[self._name] += piece

    def sync(self) -> None:
        pass

    def close(self) -> None:
        pass


def test_a_gap_is_told_and_ended_and_each_part_replays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk_thread, "PIECES_WAITING", 2)
    disk = DiskFullForAWhile(20_000)
    writer = RecordingWriter(
        tmp_path / "s.jsonl", storage=disk, waits=True, sync_interval_s=0.0, retry_s=0.001
    )

    def let_go(_: Hand) -> None:
        disk.takes_again.set()
        patience = threading.Event()
        for _ in range(10_000):
            if writer.segment_due(0) is SegmentReason.GAP:
                return
            patience.wait(0.001)
        raise AssertionError("the disk was not seen to take data again")

    whole, _ = played_with(None, tmp_path / "whole.jsonl")
    ends: Deed = (45.0, let_go)
    played = play((*DEEDS, ends), 120.0, recorder=writer)
    storage = [alarm for alarm in played.alarms() if alarm[0] == "storage_failed"]
    assert [after for _, after, _ in storage][:1] == ["unacknowledged"]
    assert len(storage) == 2
    assert storage[1][2] > 100.0
    others = [alarm for alarm in played.alarms() if alarm[0] != "storage_failed"]
    assert others[: len(whole.alarms())] == whole.alarms()
    assert writer.fault is None
    assert list(disk.content) == ["s.jsonl", "s.2.jsonl"]
    whys = []
    for name, content in disk.content.items():
        path = tmp_path / name
        path.write_bytes(content)
        outcome = replay_file(path)
        assert outcome.differences == ()
        whys += parts_of(path)[0]
    assert whys == [SegmentReason.START, SegmentReason.GAP]
    assert outcome.ended
