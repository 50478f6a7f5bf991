"""A disk that fails at random, again and again: each file is sound and replays exactly."""

import errno
import os
import random
from pathlib import Path
from threading import Event, Lock

import pytest

from linetender.core.drive import drive
from linetender.core.events import Event as CoreEvent
from linetender.core.inputs import Input
from linetender.core.instants import SECOND_NS
from linetender.core.watch import Watch
from linetender.recording import disk_thread
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import SegmentReason, as_recorded, segment_of
from linetender.recording.replay import replay_file
from linetender.recording.writer import FileLimits, RecordingWriter
from recording.live_sessions import inputs_of_session, watched_plan
from recording.long_runs import tries
from recording.sessions import Content

SECONDS = 60


class UnrulyDisk:
    """Real files; each call fails with a chance, once healed no more."""

    def __init__(self, seed: int, chance: float) -> None:
        self.is_healed = False
        self.failures = 0
        self._draw = random.Random(seed)
        self._chance = chance
        self._lock = Lock()

    def maybe_fail(self) -> None:
        with self._lock:
            fails = not self.is_healed and self._draw.random() < self._chance
            self.failures += fails
        if fails:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    def part_of(self, length: int) -> int:
        with self._lock:
            return self._draw.randint(0, length)

    def begin(self, path: Path) -> "UnrulyFile":
        try:
            self.maybe_fail()
        except OSError as error:
            raise RecordingError(Fault.UNWRITABLE, path, "it fails", "Try again") from error
        return UnrulyFile(self, path)

    def probe(self, path: Path) -> None:
        self.maybe_fail()


class UnrulyFile:
    """A file of it; an append that fails may have written a part."""

    def __init__(self, disk: UnrulyDisk, path: Path) -> None:
        self._disk = disk
        self._file = path.open("xb", buffering=0)

    def append(self, piece: bytes) -> None:
        try:
            self._disk.maybe_fail()
        except OSError:
            self._file.write(piece[: self._disk.part_of(len(piece))])
            raise
        self._file.write(piece)

    def sync(self) -> None:
        self._disk.maybe_fail()

    def close(self) -> None:
        self._file.close()
        self._disk.maybe_fail()


class Loop:
    """Watches and records as the live loop does."""

    def __init__(self, writer: RecordingWriter) -> None:
        self.writer = writer
        self.gaps = 0
        self.said: list[CoreEvent] = []
        self._plan = watched_plan()
        self._watch = Watch(self._plan, 0)
        self._begin(0, SegmentReason.START)

    def turn(self, block: list[Input], until_ns: int) -> None:
        made: list[CoreEvent] = []
        self.writer.inputs(block)
        drive(block, until_ns, self._watch, made.extend)
        self.writer.events(tuple(made))
        self.writer.advance(until_ns)
        self.said += made
        why = self.writer.segment_due(until_ns)
        if why is not None:
            self.gaps += why is SegmentReason.GAP
            self._begin(until_ns, why)

    def _begin(self, now_ns: int, why: SegmentReason) -> None:
        carryover = None
        if why is not SegmentReason.START:
            carryover = as_recorded(self._watch.carryover())
            self._watch = Watch(self._plan, now_ns, carryover)
        header = segment_of(
            self._plan,
            now_ns,
            why=why,
            wall="2020-01-01T00:00:00+00:00",
            synchronised=False,
            boot="demo",
            carryover=carryover,
        )
        self.writer.segment(header)


def play(disk: UnrulyDisk, path: Path, seed: int) -> Loop:
    """Record a session in turns of random sizes, while the disk's thread keeps pace."""
    writer = RecordingWriter(
        path,
        storage=disk,
        sync_interval_s=0.0,
        limits=FileLimits(25 * SECOND_NS),
        retry_s=0.0005,
        waits=True,
        is_patient=True,
    )
    loop = Loop(writer)
    draw = random.Random(seed)
    pace = Event()
    block: list[Input] = []
    for item in inputs_of_session(SECONDS):
        block.append(item)
        disk.is_healed = item.arrived_ns > (SECONDS - 5) * SECOND_NS
        if draw.random() < 0.2:
            loop.turn(block, item.arrived_ns)
            block = []
            if writer.fault is not None:
                pace.wait(0.0005)  # real time for the disk's thread, which the loop outruns
    loop.turn(block, SECONDS * SECOND_NS)
    writer.close(SECONDS * SECOND_NS, within_s=30.0)
    return loop


@pytest.mark.parametrize("chance", [0.02, 0.2, 0.5])
def test_a_disk_that_fails_at_random(
    request: pytest.FixtureRequest,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    chance: float,
) -> None:
    monkeypatch.setattr(disk_thread, "PIECES_WAITING", 1)  # many calls, so many failures
    all_inputs = list(inputs_of_session(SECONDS))
    said_when_sound: list[CoreEvent] | None = None
    failures = gaps = whole = 0
    for seed in range(tries(request, 4, 100)):
        folder = tmp_path / str(seed)
        folder.mkdir()
        disk = UnrulyDisk(seed, chance)
        loop = play(disk, folder / "s.jsonl", seed)
        failures += disk.failures
        gaps += loop.gaps
        # Gaps and new files change nothing in what is decided.
        said_when_sound = said_when_sound or loop.said
        assert loop.said == said_when_sound
        reached = 0
        for path in sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime_ns):
            try:
                content = Content(path)
            except RecordingError as error:
                assert error.fault in (Fault.EMPTY, Fault.TORN_HEADER)
                continue
            assert replay_file(path).differences == ()
            whole += content.ended
            if content.inputs:
                first = all_inputs.index(content.inputs[0])
                assert first >= reached
                reached = first + len(content.inputs)
                assert content.inputs == all_inputs[first:reached]
    assert min(failures, gaps, whole) > 0
