"""A power cut at any instant: what was synced is there, the file opens, no line is false."""

import random
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.instants import SECOND_NS
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.writer import RecordingWriter
from recording.live_sessions import inputs_of_session, record_session
from recording.long_runs import tries
from recording.sessions import Content
from recording.test_failing_disk import FakeStorage

SECONDS = 60
SYNC_INTERVAL_S = 1.0
APPEND_S = 0.3
"""By the file's own clock: how long an append takes."""


class CutFile:
    """A file whose disk may lose power during any call; keeps what would be left then.

    What was appended since the last sync may be on the disk in part, or be there as
    zeros: the file system had made room and not filled it.

    Attributes:
        images: What was left, how much of it was synced, and whether anything older
            than the sync interval was not.
    """

    def __init__(self, seed: int, cuts_per_call: float) -> None:
        self.images: list[tuple[bytes, int, bool]] = []
        self.now_s = 0.0
        self._draw = random.Random(seed)
        self._cuts_per_call = cuts_per_call
        self._content = bytearray()
        self._synced = 0
        self._unsynced_since_s: list[float] = []

    def append(self, piece: bytes) -> None:
        self.now_s += APPEND_S
        self._unsynced_since_s.append(self.now_s)
        self._content += piece
        self._maybe_cut()

    def sync(self) -> None:
        self._maybe_cut()
        self._synced = len(self._content)
        self._unsynced_since_s.clear()
        self._maybe_cut()

    def close(self) -> None:
        pass

    def _maybe_cut(self) -> None:
        count = int(self._cuts_per_call)
        count += self._draw.random() < self._cuts_per_call - count
        for _ in range(count):
            unsynced = len(self._content) - self._synced
            kept = self._draw.randint(0, unsynced)
            zeros = self._draw.choice((0, 0, self._draw.randint(0, 5000)))
            left = bytes(self._content[: self._synced + kept]) + bytes(zeros)
            oldest_s = min(self._unsynced_since_s, default=self.now_s)
            is_late = self.now_s - oldest_s > SYNC_INTERVAL_S
            self.images.append((left, self._synced, is_late))


def recorded_on(file: CutFile, path: Path) -> tuple[list[Input], list[Event]]:
    """Record a session onto a file; return what a reader of the whole would see."""
    writer = RecordingWriter(
        path,
        storage=FakeStorage(file),  # type: ignore[arg-type]
        sync_interval_s=SYNC_INTERVAL_S,
        monotonic=lambda: file.now_s,
        waits=True,
    )
    made = record_session(writer, SECONDS)
    assert writer.fault is None
    return list(inputs_of_session(SECONDS)), made


def test_power_cuts_at_random_instants(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("linetender.recording.disk_thread.PIECES_WAITING", 1)
    wanted = tries(request, 100, 1_000)
    file = CutFile(seed=7, cuts_per_call=wanted / SECONDS)
    inputs, events = recorded_on(file, tmp_path / "s.jsonl")
    assert len(file.images) > wanted
    path = tmp_path / "left.jsonl"
    opened = 0
    for left, synced, is_late in file.images:
        assert not is_late
        path.write_bytes(left)
        try:
            content = Content(path)
        except RecordingError as error:
            assert error.fault in (Fault.EMPTY, Fault.TORN_HEADER)
            assert synced == 0
            continue
        opened += 1
        assert content.inputs == inputs[: len(content.inputs)]
        assert content.events == events[: len(content.events)]
        assert len(content.inputs) >= left.count(b'"arrived_ns"', 0, synced)
        assert len(content.events) >= left.count(b'"due_ns"', 0, synced)
    assert opened > 0.9 * len(file.images)
    lengths = [len(left) for left, _, _ in file.images]
    assert any(a != b for a, b in pairwise(lengths))


def test_the_images_are_of_all_kinds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The test above would prove little if power always went at a tidy moment."""
    monkeypatch.setattr("linetender.recording.disk_thread.PIECES_WAITING", 1)
    file = CutFile(seed=3, cuts_per_call=2)
    recorded_on(file, tmp_path / "s.jsonl")
    kinds = {
        (left.endswith(b"\0"), not left.endswith((b"\n", b"\0")), len(left) > synced)
        for left, synced, _ in file.images
    }
    assert {(True, False, True), (False, True, True), (False, False, False)} <= kinds


# Kill -9


def test_killed_while_recording(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    count = tries(request, 20, 1_000)
    victim = Path(__file__).with_name("recording_victim.py")
    done = subprocess.run(
        [sys.executable, victim, tmp_path, str(count)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    files = sorted(tmp_path.glob("*.jsonl"))
    assert len(files) == count
    inputs = list(inputs_of_session(SECONDS))
    lengths = set()
    for path in files:
        synced = int(path.with_suffix(".synced").read_text() or "0")
        data = path.read_bytes()
        assert len(data) >= synced
        try:
            content = Content(path)
        except RecordingError as error:
            assert error.fault in (Fault.EMPTY, Fault.TORN_HEADER)
            assert synced == 0
            continue
        assert content.inputs == inputs[: len(content.inputs)]
        assert len(content.inputs) >= data.count(b'"arrived_ns"', 0, synced)
        assert content.until_ns[-1:] <= [SECONDS * SECOND_NS]
        lengths.add(len(content.inputs))
    assert len(lengths) > min(count / 4, 30), "the kills all came at the same moments"
