"""Brings a session to the disk without ever holding up the loop."""

import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.instants import NEVER_NS
from linetender.recording.disk_file import Disk, Storage
from linetender.recording.disk_thread import RETRY_S, DiskThread
from linetender.recording.errors import RecordingError
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, Frame, Segment, SegmentReason

SYNC_INTERVAL_S = 1.0
"""Chosen: a power cut costs a second or two, and a card outlasts one sync a second."""

HANGS_AFTER_S = 15.0
"""A disk that took nothing for so long gets another thread (chosen)."""

CLOSE_WITHIN_S = 5.0
"""How long `close` waits for the disk. Chosen: under the 10 s that a service manager allows."""


class FileLimits(NamedTuple):
    """When a file has grown long enough and another one follows; see `SegmentReason.ROTATION`.

    Attributes:
        length_ns: Watch time that it holds.
        size_bytes: Its size.
    """

    length_ns: int = NEVER_NS
    size_bytes: int = NEVER_NS


class RecordingWriter:
    """Records a session into a new file, and into further ones as they are needed.

    The side of the loop forms lines and hands them over; a thread of its own does
    all that can stall. When the disk is full, fails or stalls for too long, there is
    a gap: `fault` says why, and what is handed over is lost. What was handed over
    before that is a whole recording, up to its last check line.

    Ask `segment_due` after each block: it says when the disk takes data again or the
    file has grown long enough. Then begin a segment, with a new Watch.

    The calls are those of `LineStream`; call them from one thread only.

    Args:
        path: Where; no file may be there.
        storage: Where files are made, instead of on the disk.
        sync_interval_s: Time between two fsyncs (s, 0 = after each batch).
        limits: When another file follows; None means never.
        retry_s: Time between two looks whether a failed disk takes data again (s).
        waits: Wait for the disk when it falls behind, instead of stopping: only for
            sessions in virtual time, where nobody depends on the loop.
        is_patient: Begin with a gap where the file cannot be created.
        with_frames: Whether the answers of devices are wanted, too.
        monotonic: The clock that paces fsyncs (s).

    Attributes:
        path: The first file.
        with_frames: As given.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        storage: Storage | None = None,
        sync_interval_s: float = SYNC_INTERVAL_S,
        limits: FileLimits | None = None,
        retry_s: float = RETRY_S,
        waits: bool = False,
        is_patient: bool = False,
        with_frames: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """Create the file and start the thread.

        Raises:
            RecordingError: the file exists, or cannot be created.
        """
        self.path = Path(path)
        self.with_frames = with_frames
        storage = Disk() if storage is None else storage
        fault: str | None = None
        try:
            file = storage.begin(self.path)
        except RecordingError as error:
            if not is_patient:
                raise
            file, fault = None, str(error)
        self._limits = limits or FileLimits()
        self._began_ns: int | None = None
        self._begin_file()
        self._in_gap = fault is not None
        self._disk = DiskThread(
            self.path, file, storage, sync_interval_s, retry_s, waits=waits, monotonic=monotonic
        )
        self._disk.fault = fault
        self._disk.start()
        self._monotonic = monotonic
        self._moved = 0, monotonic()

    @property
    def fault(self) -> str | None:
        """Why nothing is recorded, for people; None while all is well."""
        return self._disk.fault

    @property
    def paths(self) -> tuple[Path, ...]:
        """The files begun, oldest first; only the last one is written to."""
        return tuple(self._disk.paths)

    @property
    def pieces_waiting(self) -> int:
        """Pieces that the disk has not taken yet."""
        return self._disk.waiting

    @property
    def pieces_done(self) -> int:
        """Rises with each piece that the disk took: a sign of life."""
        return self._disk.pieces_done

    def renew_if_stuck(self) -> None:
        """Give a thread that hangs on the disk a successor; call it about once a second.

        What it had not written is lost: there is a gap, as when the disk fails.
        """
        done, now_s = self._disk.pieces_done, self._monotonic()
        if not self._disk.waiting or done != self._moved[0]:
            self._moved = done, now_s
        elif now_s - self._moved[1] >= HANGS_AFTER_S:
            self._moved = done, now_s
            fault = f"{self.path}: the disk does not answer; recording stopped"
            self._disk = self._disk.successor(fault)
            self._in_gap = True
            self._disk.start()

    def segment_due(self, now_ns: int) -> SegmentReason | None:
        """Say whether a new segment should begin now, and why."""
        if self._in_gap or self._disk.broken:
            return SegmentReason.GAP if self._disk.takes_again else None
        if self._began_ns is None:
            return None
        is_long = now_ns - self._began_ns >= self._limits.length_ns
        is_large = self._size_bytes >= self._limits.size_bytes
        return SegmentReason.ROTATION if is_long or is_large else None

    def segment(self, header: Segment) -> None:
        """Begin a segment; after a gap and for a rotation it begins a new file."""
        if header.why is SegmentReason.ROTATION:
            self._hand_over(lambda: self._stream.end(header.started_ns, EndReason.ROTATION))
        if header.why in (SegmentReason.GAP, SegmentReason.ROTATION):
            self._disk.next_file()
            self._begin_file()
        if self._began_ns is None:
            self._began_ns = header.started_ns
        self._hand_over(lambda: self._stream.segment(header))

    def frames(self, arrived: Iterable[Frame]) -> None:
        """Record answers of devices, before the inputs that were made of them.

        Those that come before the first segment are left out.
        """
        if not self._in_gap and self._began_ns is not None:
            self._stream.frames(arrived)

    def inputs(self, block: Iterable[Input]) -> None:
        """Record inputs, in the order in which the Watch was fed."""
        if not self._in_gap:
            self._stream.inputs(block)

    def events(self, made: tuple[Event, ...]) -> None:
        """Record events, in the order in which the Watch made them."""
        if not self._in_gap:
            self._stream.events(made)

    def advance(self, until_ns: int) -> None:
        """Note that the Watch advanced, after the inputs and events of the block."""
        self._hand_over(lambda: self._stream.advance(until_ns))
        if self._disk.is_full and not self._in_gap:
            self._in_gap = True
            self._disk.put(self._stream.end(until_ns, EndReason.GAP))
            self._disk.give_up(f"{self.path}: the disk took nothing for too long")

    def close(
        self,
        until_ns: int,
        why: EndReason = EndReason.STOPPED,
        within_s: float = CLOSE_WITHIN_S,
    ) -> None:
        """Close the segment and wait for the disk, `within_s` at most; look at `fault` then."""
        self._hand_over(lambda: self._stream.end(until_ns, why))
        self._in_gap = True
        if not self._disk.close(within_s):
            self._disk.give_up(f"{self.path}: the disk did not take the end of the recording")

    def _begin_file(self) -> None:
        self._stream = LineStream()
        self._in_gap = False
        self._began_ns = None
        self._size_bytes = 0

    def _hand_over(self, form: Callable[[], bytes]) -> None:
        if self._in_gap:
            return
        if self._disk.broken:
            self._in_gap = True
            return
        try:
            piece = form()
        except (ValueError, OverflowError) as error:  # text or a number that JSON cannot hold
            self._in_gap = True
            self._disk.give_up(f"{self.path}: a line cannot be written: {error}")
            return
        if piece:
            self._size_bytes += len(piece)
            self._disk.put(piece)
