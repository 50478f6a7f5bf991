"""A thread that hangs on a disk gets a successor, which begins with a file of its own."""

from pathlib import Path

from linetender.core.instants import SECOND_NS
from linetender.recording.lines import SegmentReason
from linetender.recording.writer import HANGS_AFTER_S, RecordingWriter
from recording.sessions import flat, header, seconds_of_pressure
from recording.test_failing_disk import PATIENCE_S, FakeFile, FakeStorage, read_back, wait_until
from recording.test_gaps_and_rotation import record


def test_after_fifteen_seconds_another_thread_goes_on_in_another_file(tmp_path: Path) -> None:
    now_s = 0.0
    files = FakeFile(), FakeFile()
    storage = FakeStorage(*files)
    storage.is_sound.set()
    path = tmp_path / "s.jsonl"
    files[0].may_go.clear()
    writer = RecordingWriter(path, storage=storage, sync_interval_s=0.0, monotonic=lambda: now_s)
    writer.segment(header())
    assert files[0].stalled.wait(PATIENCE_S)
    first = writer._disk
    record(writer, 0, 2)  # waits behind what hangs
    writer.renew_if_stuck()
    now_s = HANGS_AFTER_S - 0.1
    writer.renew_if_stuck()
    assert (writer.fault, writer._disk) == (None, first)
    now_s = HANGS_AFTER_S
    writer.renew_if_stuck()
    assert writer.fault == f"{path}: the disk does not answer; recording stopped"
    wait_until(lambda: writer.segment_due(3 * SECOND_NS) is SegmentReason.GAP)
    writer.segment(header(3 * SECOND_NS, SegmentReason.GAP))
    record(writer, 3, 2)
    wait_until(lambda: writer.fault is None)
    files[0].may_go.set()
    first._thread.join(PATIENCE_S)
    assert files[0].closed
    writer.close(5 * SECOND_NS)
    assert storage.begun == ["s.jsonl", "s.2.jsonl"]
    after = read_back(path, files[1])
    assert (after.inputs, after.ended) == (flat(seconds_of_pressure(2, 3)), True)


def test_a_thread_that_works_or_has_nothing_to_do_is_left_alone(tmp_path: Path) -> None:
    now_s = 0.0
    file = FakeFile()
    writer = RecordingWriter(
        tmp_path / "s.jsonl", storage=FakeStorage(file), monotonic=lambda: now_s
    )
    writer.segment(header())
    first = writer._disk
    for second in range(5):
        now_s = 100.0 * second
        record(writer, second, 1)
        wait_until(lambda: writer.pieces_waiting == 0)
        writer.renew_if_stuck()
    assert (writer._disk, writer.fault) == (first, None)
    writer.close(5 * SECOND_NS)
