"""What ends a file and begins the next: a gap on the disk, and a file that is long enough."""

import errno
import itertools
from pathlib import Path

import pytest

from linetender.core.instants import SECOND_NS
from linetender.recording import disk_thread
from linetender.recording.disk_file import Disk
from linetender.recording.errors import RecordingError
from linetender.recording.lines import SegmentReason
from linetender.recording.writer import FileLimits, RecordingWriter
from recording.sessions import Content, flat, header, pressure, seconds_of_pressure
from recording.test_failing_disk import PATIENCE_S, FakeFile, FakeStorage, read_back, wait_until

GAP, ROTATION = SegmentReason.GAP, SegmentReason.ROTATION


def record(writer: RecordingWriter, first_s: int, seconds: int) -> None:
    for second, block in enumerate(seconds_of_pressure(seconds, first_s), first_s + 1):
        writer.inputs(block)
        writer.advance(second * SECOND_NS)


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_after_a_full_disk_a_new_file_begins_once_it_takes_data(tmp_path: Path, error: int) -> None:
    files = FakeFile(fails_at=2, error=error), FakeFile()
    storage = FakeStorage(*files)
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, storage=storage, sync_interval_s=0.0, retry_s=0.001)
    writer.segment(header())
    assert files[0].taken.acquire(timeout=PATIENCE_S)
    record(writer, 0, 1)
    for _ in range(3):
        assert storage.probes.acquire(timeout=PATIENCE_S)
    record(writer, 1, 5)
    assert (writer.segment_due(6 * SECOND_NS), writer.fault is None) == (None, False)
    storage.is_sound.set()
    wait_until(lambda: writer.segment_due(6 * SECOND_NS) is GAP)
    assert writer.fault is not None
    writer.segment(header(6 * SECOND_NS, GAP))
    record(writer, 6, 2)
    wait_until(lambda: writer.fault is None)
    assert writer.segment_due(8 * SECOND_NS) is None
    writer.close(8 * SECOND_NS)
    assert storage.begun == ["s.jsonl", "s.2.jsonl"]
    assert writer.paths == (path, tmp_path / "s.2.jsonl")
    before, after = (read_back(path, file) for file in files)
    assert (before.inputs, before.ended) == ([], False)
    assert after.headers == [header(6 * SECOND_NS, GAP)]
    assert (after.inputs, after.ended) == (flat(seconds_of_pressure(2, 6)), True)


def test_after_a_stall_a_new_file_begins_without_another_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk_thread, "PIECES_WAITING", 3)
    files = FakeFile(), FakeFile()
    storage = FakeStorage(*files)
    storage.is_sound.set()
    files[0].may_go.clear()
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, storage=storage, retry_s=3600.0)
    writer.segment(header())
    assert files[0].stalled.wait(PATIENCE_S)
    record(writer, 0, 9)
    assert writer.segment_due(9 * SECOND_NS) is None
    files[0].may_go.set()
    wait_until(lambda: writer.segment_due(9 * SECOND_NS) is GAP)
    writer.segment(header(9 * SECOND_NS, GAP))
    writer.close(9 * SECOND_NS)
    assert writer.fault is None
    before, after = (read_back(path, file) for file in files)
    assert (before.inputs, before.ended) == (flat(seconds_of_pressure(3)), True)
    assert (after.headers, after.ended) == ([header(9 * SECOND_NS, GAP)], True)


def test_a_disk_that_fails_again_is_a_gap_again(tmp_path: Path) -> None:
    files = FakeFile(fails_at=1), FakeFile(fails_at=1), FakeFile()
    storage = FakeStorage(*files)
    storage.is_sound.set()
    path = tmp_path / "s.jsonl"
    writer = RecordingWriter(path, storage=storage, sync_interval_s=0.0, retry_s=0.001)
    writer.segment(header())
    for second in (1, 2):
        wait_until(lambda: writer.segment_due(0) is GAP)
        assert writer.fault is not None
        writer.segment(header(second * SECOND_NS, GAP))
    wait_until(lambda: writer.fault is None)
    writer.close(3 * SECOND_NS)
    assert storage.begun == ["s.jsonl", "s.2.jsonl", "s.3.jsonl"]
    assert read_back(path, files[2]).ended


def test_a_gap_does_not_hold_up_the_close(tmp_path: Path) -> None:
    file = FakeFile(fails_at=1)
    writer = RecordingWriter(tmp_path / "s.jsonl", storage=FakeStorage(file), retry_s=3600.0)
    writer.segment(header())
    wait_until(lambda: writer.fault is not None)
    writer.close(SECOND_NS, within_s=PATIENCE_S)
    assert "no space left" in (writer.fault or "")
    assert file.closed


def test_a_file_that_cannot_be_created_is_a_gap_for_the_patient(tmp_path: Path) -> None:
    folder = tmp_path / "sessions"
    folder.write_text("a file where a folder should be")
    path = folder / "s.jsonl"
    with pytest.raises(RecordingError):
        RecordingWriter(path)
    writer = RecordingWriter(
        path, storage=Disk(makes_folders=True), retry_s=0.001, is_patient=True, sync_interval_s=0.0
    )
    writer.segment(header())
    record(writer, 0, 2)
    assert "cannot be created" in (writer.fault or "")
    folder.unlink()
    folder.mkdir()
    wait_until(lambda: writer.segment_due(2 * SECOND_NS) is GAP)
    writer.segment(header(2 * SECOND_NS, GAP))
    wait_until(lambda: writer.fault is None)
    writer.close(3 * SECOND_NS)
    (path,) = folder.iterdir()
    assert (path.name, Content(path).headers) == ("s.2.jsonl", [header(2 * SECOND_NS, GAP)])
    assert writer.paths == (path,)


@pytest.mark.parametrize(
    "limits", [FileLimits(length_ns=3 * SECOND_NS), FileLimits(size_bytes=1_700)]
)
def test_a_file_that_is_long_enough_is_followed_by_another(
    tmp_path: Path, limits: FileLimits
) -> None:
    path = tmp_path / "s.jsonl"
    (tmp_path / "s.2.jsonl").write_text("precious")
    writer = RecordingWriter(path, limits=limits)
    writer.segment(header())
    seconds = 7
    for second in range(seconds):
        record(writer, second, 1)
        now_ns = (second + 1) * SECOND_NS
        if writer.segment_due(now_ns) is ROTATION:
            writer.segment(header(now_ns, ROTATION))
    writer.close(seconds * SECOND_NS)
    assert writer.fault is None
    assert [each.name for each in writer.paths] == ["s.jsonl", "s.3.jsonl", "s.4.jsonl"]
    parts = [Content(each) for each in writer.paths]
    assert flat(part.inputs for part in parts) == flat(seconds_of_pressure(seconds))
    assert [part.headers[0].why for part in parts] == [SegmentReason.START, ROTATION, ROTATION]
    assert all(part.ended for part in parts)
    assert {each.stat().st_mode & 0o777 for each in writer.paths} == {0o600}
    assert (tmp_path / "s.2.jsonl").read_text() == "precious"


class SteppingFile(FakeFile):
    """Each append takes 0.4 s of a clock of its own; keeps when it was synced, and how far."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 0.0
        self.appended_s: list[float] = []
        self.synced_at: list[tuple[float, int]] = []

    def append(self, piece: bytes) -> None:
        self.now_s += 0.4
        self.appended_s.append(self.now_s)
        super().append(piece)

    def sync(self) -> None:
        super().sync()
        self.synced_at.append((self.now_s, self.appends))


def test_no_line_waits_for_its_sync_longer_than_the_interval(tmp_path: Path) -> None:
    file = SteppingFile()
    writer = RecordingWriter(
        tmp_path / "s.jsonl",
        storage=FakeStorage(file),
        sync_interval_s=1.0,
        monotonic=lambda: file.now_s,
    )
    writer.segment(header())
    for second in range(1, 30):
        assert file.taken.acquire(timeout=PATIENCE_S)
        writer.inputs([pressure(second * SECOND_NS - 1)])
        writer.advance(second * SECOND_NS)
    writer.close(30 * SECOND_NS)
    for number, appended_s in enumerate(file.appended_s, 1):
        synced_s = next(at_s for at_s, appends in file.synced_at if appends >= number)
        assert synced_s - appended_s <= 1.0
    gaps = [b - a for (a, _), (b, _) in itertools.pairwise(file.synced_at)]
    assert len(gaps) >= 8
    assert min(gaps[:-1]) >= 1.0 - 1e-9
