"""A disk that is full, slow or gone: a gap, a new file when it takes data again, no more."""

import errno
import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from linetender.core.inputs import Fact
from linetender.core.instants import SECOND_NS
from linetender.recording import disk_thread
from linetender.recording.disk_file import Disk
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.writer import RecordingWriter
from recording.sessions import Content, header, pressure, seconds_of_pressure

PATIENCE_S = 30.0
"""Bounds a hang; no test waits for it."""


class FakeFile:
    """Keeps what it was asked to do; may fail at the n-th piece, or stall until let go."""

    def __init__(self, fails_at: int | None = None, error: int = errno.ENOSPC) -> None:
        self.fails_at = fails_at
        self.error = error
        self.content = bytearray()
        self.synced = 0
        self.syncs = 0
        self.closed = False
        self.appends = 0
        self.taken = threading.Semaphore(0)
        self.stalled = threading.Event()
        self.may_go = threading.Event()
        self.may_go.set()

    def append(self, piece: bytes) -> None:
        if not self.may_go.is_set():
            self.stalled.set()
            assert self.may_go.wait(PATIENCE_S)
        self.appends += 1
        if self.appends == self.fails_at:
            self.content += piece[: len(piece) // 2]
            raise OSError(self.error, os.strerror(self.error))
        self.content += piece
        self.taken.release()

    def sync(self) -> None:
        self.syncs += 1
        self.synced = len(self.content)

    def close(self) -> None:
        self.closed = True


class FakeStorage:
    """Gives out the files it was made with; its disk takes data when told so.

    Attributes:
        files: Those not given out yet.
        begun: Names of those given out.
        probes: How often the disk was asked whether it takes data.
        is_sound: Whether it does.
    """

    def __init__(self, *files: FakeFile) -> None:
        self.files = list(files)
        self.begun: list[str] = []
        self.probes = threading.Semaphore(0)
        self.is_sound = threading.Event()

    def begin(self, path: Path) -> FakeFile:
        self.begun.append(path.name)
        return self.files.pop(0)

    def probe(self, path: Path) -> None:
        self.probes.release()
        if not self.is_sound.is_set():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def wait_until(holds: Callable[[], bool]) -> None:
    """Let the writer's thread work until something holds."""
    waits = threading.Event()
    for _ in range(round(PATIENCE_S / 0.002)):
        if holds():
            return
        waits.wait(0.002)
    raise AssertionError("it never came to hold")


def wait_for_thread(writer: RecordingWriter) -> None:
    wait_until(lambda: writer._disk.broken)


def read_back(path: Path, file: FakeFile) -> Content:
    path.write_bytes(file.content)
    return Content(path)


def test_an_existing_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "session.jsonl"
    path.write_text("precious")
    with pytest.raises(RecordingError, match="already, and a recording never overwrites") as caught:
        RecordingWriter(path)
    assert caught.value.fault is Fault.EXISTS
    assert path.read_text() == "precious"
    path.unlink()
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RecordingError, match="already"):
        RecordingWriter(path)
    assert not (tmp_path / "elsewhere").exists()


def test_a_folder_that_does_not_exist_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no such file or directory") as caught:
        RecordingWriter(tmp_path / "none" / "session.jsonl")
    assert caught.value.fault is Fault.UNWRITABLE


@pytest.mark.parametrize(
    ("error", "words"),
    [(errno.ENOSPC, "no space left"), (errno.EIO, "input/output"), (errno.EROFS, "read-only")],
)
def test_a_full_or_failing_disk_stops_the_recording(tmp_path: Path, error: int, words: str) -> None:
    file = FakeFile(fails_at=1, error=error)
    writer = RecordingWriter(tmp_path / "s.jsonl", storage=FakeStorage(file))
    writer.segment(header())
    wait_for_thread(writer)
    assert writer.fault is not None
    assert words in writer.fault
    assert file.closed
    for second, block in enumerate(seconds_of_pressure(1_000), 1):
        writer.inputs(block)
        writer.advance(second * SECOND_NS)
    writer.close(1_000 * SECOND_NS)
    assert words in writer.fault
    assert writer.pieces_waiting == 0
    assert file.appends == 1


def test_what_came_before_a_full_disk_can_be_read(tmp_path: Path) -> None:
    file = FakeFile(fails_at=2)
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, storage=FakeStorage(file))
    file.may_go.clear()
    writer.segment(header())
    assert file.stalled.wait(PATIENCE_S)
    blocks = seconds_of_pressure(2)
    for second, block in enumerate(blocks, 1):
        writer.inputs(block)
        writer.advance(second * SECOND_NS)
    file.may_go.set()
    wait_for_thread(writer)
    path.write_bytes(file.content)
    content = Content(path)
    assert content.inputs == blocks[0][: len(content.inputs)]
    assert content.headers == [header()]
    assert content.tail is not None


def test_a_stalled_disk_never_holds_up_the_loop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk_thread, "PIECES_WAITING", 3)
    file = FakeFile()
    file.may_go.clear()
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, storage=FakeStorage(file))
    writer.segment(header())
    assert file.stalled.wait(PATIENCE_S)
    blocks = seconds_of_pressure(10)
    faults = []
    for second, block in enumerate(blocks, 1):
        writer.inputs(block)
        writer.advance(second * SECOND_NS)
        faults.append(writer.fault)
    stopped = f"{path}: the disk took nothing for too long"
    assert faults == [None] * 2 + [stopped] * 8
    writer.close(10 * SECOND_NS, within_s=0.0)
    file.may_go.set()
    wait_for_thread(writer)
    path.write_bytes(file.content)
    content = Content(path)
    assert content.inputs == [item for block in blocks[:3] for item in block]
    assert (content.ended, content.tail) == (True, None)
    assert file.synced == len(file.content)


def test_closing_does_not_wait_for_a_stalled_disk(tmp_path: Path) -> None:
    file = FakeFile()
    file.may_go.clear()
    writer = RecordingWriter(tmp_path / "s.jsonl", storage=FakeStorage(file))
    writer.segment(header())
    writer.close(0, within_s=0.0)
    assert writer.fault is not None
    assert "did not take the end" in writer.fault
    file.may_go.set()
    wait_for_thread(writer)


def test_in_virtual_time_the_loop_waits_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk_thread, "PIECES_WAITING", 1)
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, waits=True)
    writer.segment(header())
    blocks = seconds_of_pressure(200)
    for second, block in enumerate(blocks, 1):
        writer.inputs(block)
        writer.advance(second * SECOND_NS)
    writer.close(200 * SECOND_NS)
    assert writer.fault is None
    assert writer.pieces_done == 202
    assert Content(path).inputs == [item for block in blocks for item in block]


@pytest.mark.parametrize(("interval_s", "syncs"), [(0.0, 5), (3600.0, 2)])
def test_syncs_are_batched(tmp_path: Path, interval_s: float, syncs: int) -> None:
    """The first piece at once, then one sync per interval, and one at the close."""
    file = FakeFile()
    writer = RecordingWriter(
        tmp_path / "s.jsonl", storage=FakeStorage(file), sync_interval_s=interval_s
    )
    writer.segment(header())
    for second in range(1, 4):
        assert file.taken.acquire(timeout=PATIENCE_S)
        writer.inputs([pressure(second * SECOND_NS - 1)])
        writer.advance(second * SECOND_NS)
    assert file.taken.acquire(timeout=PATIENCE_S)
    writer.close(3 * SECOND_NS)
    assert (file.syncs, file.appends) == (syncs, 5)
    assert file.synced == len(file.content)
    assert file.closed


def test_text_that_json_cannot_hold_stops_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path)
    writer.segment(header())
    writer.inputs([Fact(5, "device_failed", True, detail="name \udcff")])
    writer.advance(SECOND_NS)
    assert writer.fault is not None
    assert "a line cannot be written" in writer.fault
    writer.close(SECOND_NS)
    assert Content(path).headers == [header()]


def test_a_short_write_is_continued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    really_write = os.write
    monkeypatch.setattr(os, "write", lambda fd, piece: really_write(fd, piece[:7]))
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path)
    writer.segment(header())
    writer.close(0)
    monkeypatch.undo()
    assert (writer.fault, Content(path).ended) == (None, True)


def test_a_disk_that_turned_read_only_is_told_though_its_file_takes_data_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = Disk().begin(tmp_path / "session.jsonl")
    file.append(b"kept\n")
    file.sync()
    flags = os.fstatvfs(0).f_flag | os.ST_RDONLY

    class ReadOnly:
        f_flag = flags

    monkeypatch.setattr(os, "fstatvfs", lambda _: ReadOnly)
    file.append(b"lost\n")
    with pytest.raises(OSError, match="Read-only file system"):
        file.sync()
    file.close()
