"""Brings a recording to the disk without ever holding up the loop."""

import math
import time
from collections import deque
from collections.abc import Callable, Iterable
from pathlib import Path
from threading import Condition, Thread

from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.recording.disk_file import AppendOnly, DiskFile
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, Segment

PIECES_WAITING = 120
"""Pieces held while the disk stalls. Chosen: at one a second two minutes, about
400 kB; a card that stalls for longer than that will not catch up."""

SYNC_INTERVAL_S = 1.0
"""Chosen: a power cut costs a second or two, and a card outlasts one sync a second."""

CLOSE_WITHIN_S = 5.0
"""How long `close` waits for the disk. Chosen: under the 10 s that a service manager allows."""


class RecordingWriter:
    """Records a session into a new file.

    The side of the loop forms lines and hands them over; a thread of its own does
    all that can stall. When the disk is full or stalls for too long the recording
    stops for good, `fault` says why, and further calls do nothing. What was handed
    over before that is a whole recording, up to its last check line.

    The calls are those of `LineStream`; call them from one thread only.

    Attributes:
        path: The file.
        pieces_done: Rises with each piece that the disk took: a sign of life.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        file: AppendOnly | None = None,
        sync_interval_s: float = SYNC_INTERVAL_S,
        waits: bool = False,
    ) -> None:
        """Create the file and start the thread.

        Args:
            path: Where; no file may be there.
            file: Where to append instead of a new file at `path`.
            sync_interval_s: Time between two fsyncs (s, 0 = after each piece).
            waits: Wait for the disk when it falls behind, instead of stopping: only for
                sessions in virtual time, where nobody depends on the loop.

        Raises:
            RecordingError: the file exists or cannot be created.
        """
        self.path = Path(path)
        self.pieces_done = 0
        self._file = DiskFile(self.path) if file is None else file
        self._sync_interval_s = sync_interval_s
        self._waits = waits
        self._stream = LineStream()
        self._pieces: deque[bytes] = deque()
        self._changed = Condition()
        self._closing = False
        self._fault: str | None = None
        self._thread = Thread(target=self._run, name="recording", daemon=True)
        self._thread.start()

    @property
    def fault(self) -> str | None:
        """Why the recording stopped, for people; None while all is well."""
        return self._fault

    @property
    def pieces_waiting(self) -> int:
        """Pieces that the disk has not taken yet."""
        return len(self._pieces)

    def segment(self, header: Segment) -> None:
        """Begin a segment."""
        self._hand_over(lambda: self._stream.segment(header))

    def inputs(self, block: Iterable[Input]) -> None:
        """Record inputs, in the order in which the Watch was fed."""
        if self._fault is None:
            self._stream.inputs(block)

    def events(self, made: tuple[Event, ...]) -> None:
        """Record events, in the order in which the Watch made them."""
        if self._fault is None:
            self._stream.events(made)

    def advance(self, until_ns: int) -> None:
        """Note that the Watch advanced, after the inputs and events of the block."""
        self._hand_over(lambda: self._stream.advance(until_ns))

    def close(
        self,
        until_ns: int,
        why: EndReason = EndReason.STOPPED,
        within_s: float = CLOSE_WITHIN_S,
    ) -> None:
        """Close the segment and wait for the disk, `within_s` at most; look at `fault` then."""
        self._hand_over(lambda: self._stream.end(until_ns, why))
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(within_s)
        if self._thread.is_alive():
            self._stop(f"{self.path}: the disk did not take the end of the recording in time")

    def _hand_over(self, form: Callable[[], bytes]) -> None:
        if self._fault is not None:
            return
        try:
            piece = form()
        except (ValueError, OverflowError) as error:  # text or a number that JSON cannot hold
            self._stop(f"{self.path}: a line cannot be written ({error}); recording stopped")
            return
        if piece and not self._queued(piece):
            self._stop(f"{self.path}: the disk took nothing for too long; recording stopped")

    def _queued(self, piece: bytes) -> bool:
        with self._changed:
            while self._waits and len(self._pieces) >= PIECES_WAITING and self._fault is None:
                self._changed.wait()
            if len(self._pieces) >= PIECES_WAITING:
                return False
            self._pieces.append(piece)
            self._changed.notify_all()
            return True

    def _stop(self, fault: str) -> None:
        with self._changed:
            self._fault = self._fault or fault
            self._changed.notify_all()

    def _run(self) -> None:
        try:
            try:
                self._bring_to_disk()
            finally:
                self._file.close()
        except OSError as error:
            self._stop(f"{self.path}: {(error.strerror or str(error)).lower()}; recording stopped")

    def _bring_to_disk(self) -> None:
        synced_s = -math.inf
        dirty = False
        while True:
            patience_s = synced_s + self._sync_interval_s - time.monotonic() if dirty else None
            pieces = self._next_pieces(patience_s)
            if pieces:
                self._file.append(b"".join(pieces))
                self.pieces_done += len(pieces)
                dirty = True
            done = not pieces and self._closing
            if dirty and (done or time.monotonic() - synced_s >= self._sync_interval_s):
                self._file.sync()
                synced_s = time.monotonic()
                dirty = False
            if done:
                return

    def _next_pieces(self, patience_s: float | None) -> list[bytes]:
        """Wait for pieces, for `patience_s` or the close; take all that are there."""
        with self._changed:
            self._changed.wait_for(
                lambda: self._pieces or self._closing,
                None if patience_s is None else max(0.0, patience_s),
            )
            pieces = list(self._pieces)
            self._pieces.clear()
            self._changed.notify_all()
        return pieces
