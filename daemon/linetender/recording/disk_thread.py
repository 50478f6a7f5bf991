"""The thread that brings pieces to files: all that can stall is done here."""

import contextlib
import math
import time
from collections import deque
from collections.abc import Callable
from enum import Enum
from pathlib import Path
from threading import Condition, Thread

from linetender.recording.disk_file import AppendOnly, Storage
from linetender.recording.errors import Fault, RecordingError

PIECES_WAITING = 120
"""Pieces held while the disk stalls. Chosen: at one a second two minutes, about
400 kB; a card that stalls for longer than that will not catch up."""

RETRY_S = 10.0
"""Time between two looks whether a failed disk takes data again (s, chosen)."""


class _Mark(Enum):
    """What stands in the queue among the pieces."""

    NEXT_FILE = 1
    """What follows goes into a new file."""
    LAST_OF_FILE = 2
    """The file is given up; nothing follows until the disk was found to take data."""


class DiskThread:
    """Appends pieces in order and syncs them in batches.

    A disk that fails loses the pieces that wait: `broken` says so. From then on, and
    after `give_up`, the thread probes the disk until it takes data, and says that by
    `takes_again`; it goes on with `next_file`.

    Args:
        path: The first file; those that follow get a number in their name.
        file: It, open; None when it could not be begun.
        storage: Where files are made.
        sync_interval_s: Time between two fsyncs (s, 0 = after each batch).
        retry_s: Time between two probes of a failed disk (s).
        waits: `put` waits for the disk when it falls behind.
        monotonic: The clock that paces fsyncs (s).

    Attributes:
        fault: Why the last file failed, for people; None once a new one is on the disk.
        broken: Whether what is put is lost.
        takes_again: Whether a new file may be begun after a failure.
        paths: The files begun, oldest first.
        pieces_done: Rises with each piece that the disk took: a sign of life.
    """

    def __init__(
        self,
        path: Path,
        file: AppendOnly | None,
        storage: Storage,
        sync_interval_s: float,
        retry_s: float = RETRY_S,
        *,
        waits: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """Prepare; nothing is done yet."""
        self.fault: str | None = None
        self.broken = file is None
        self.takes_again = False
        self.paths = [] if file is None else [path]
        self.pieces_done = 0
        self._path = path
        self._number = 1
        self._file = file
        self._storage = storage
        self._sync_interval_s = sync_interval_s
        self._retry_s = retry_s
        self._waits = waits
        self._monotonic = monotonic
        self._queue: deque[bytes | _Mark] = deque()
        self._changed = Condition()
        self._closing = False
        self._synced_s = -math.inf
        self._is_new = False
        self._thread = Thread(target=self._run, name="recording", daemon=True)

    def start(self) -> None:
        """Begin to work."""
        self._thread.start()

    # The loop's side

    def successor(self, fault: str) -> "DiskThread":
        """Return another thread for the same session, not started, and let this one go.

        It hangs on a disk: if it comes back, it closes its file and ends. The other begins
        with the next file, once the disk takes data.
        """
        made = DiskThread(
            self._path,
            None,
            self._storage,
            self._sync_interval_s,
            self._retry_s,
            waits=self._waits,
            monotonic=self._monotonic,
        )
        made.fault = fault
        with self._changed:
            made.paths, made.pieces_done = list(self.paths), self.pieces_done
            made._number = self._number
            self._closing = True
            self._queue.clear()
            self._changed.notify_all()
        return made

    @property
    def waiting(self) -> int:
        """Pieces that the disk has not taken yet."""
        return len(self._queue)

    @property
    def is_full(self) -> bool:
        """Whether the disk is so far behind that recording must stop."""
        return len(self._queue) >= PIECES_WAITING

    def put(self, piece: bytes) -> None:
        """Hand over a piece."""
        self._put(piece)
        if self._waits:
            with self._changed:
                self._changed.wait_for(lambda: not self.is_full or self.broken)

    def next_file(self) -> None:
        """Let what follows go into a new file."""
        with self._changed:
            self.broken = self.takes_again = False
        self._put(_Mark.NEXT_FILE)

    def give_up(self, fault: str) -> None:
        """Finish the file with what was put, then look whether the disk takes data."""
        with self._changed:
            self.fault = self.fault or fault
            self._is_new = False
        self._put(_Mark.LAST_OF_FILE)

    def close(self, within_s: float) -> bool:
        """Bring what waits to the disk and end, `within_s` at most; say whether it did."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _put(self, item: bytes | _Mark) -> None:
        with self._changed:
            if not self.broken:
                self._queue.append(item)
                self._changed.notify_all()

    # The thread's side

    def _run(self) -> None:
        while True:
            try:
                if self.broken and not self._wait_until_disk_takes():
                    return
                if self._bring_to_disk():
                    return
            except (OSError, RecordingError) as error:
                self._lose(error)

    def _bring_to_disk(self) -> bool:
        """Work until the close (True) or until a file is given up (False)."""
        unsynced = 0
        while True:
            got = self._next(self._patience_s() if unsynced else None)
            if isinstance(got, list) and got and self._file is not None:
                self._file.append(b"".join(got))
                self.pieces_done += len(got)
                unsynced += len(got)
            done = got == [] and self._closing and not self._queue
            is_due = self._monotonic() - self._synced_s >= self._sync_interval_s
            if unsynced and (done or is_due or isinstance(got, _Mark)):
                self._sync()
                unsynced = 0
            if got is _Mark.NEXT_FILE:
                self._begin_next()
            elif done or got is _Mark.LAST_OF_FILE:
                self._close_file()
                with self._changed:
                    self.broken = True
                return done

    def _patience_s(self) -> float:
        return max(0.0, self._synced_s + self._sync_interval_s - self._monotonic())

    def _next(self, patience_s: float | None) -> list[bytes] | _Mark:
        """Wait for pieces, a mark, `patience_s` or the close; take all pieces up to a mark."""
        with self._changed:
            self._changed.wait_for(lambda: self._queue or self._closing, patience_s)
            pieces: list[bytes] = []
            while self._queue:
                first = self._queue[0]
                if isinstance(first, _Mark):
                    if not pieces:
                        self._queue.popleft()
                        return first
                    break
                pieces.append(first)
                self._queue.popleft()
            self._changed.notify_all()
        return pieces

    def _sync(self) -> None:
        if self._file is not None:
            self._file.sync()
        self._synced_s = self._monotonic()
        with self._changed:
            if self._is_new:
                self._is_new = False
                self.fault = None

    def _close_file(self) -> None:
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def _begin_next(self) -> None:
        self._close_file()
        while True:
            self._number += 1
            path = numbered(self._path, self._number)
            try:
                self._file = self._storage.begin(path)
            except RecordingError as error:
                if error.fault is not Fault.EXISTS:
                    raise
            else:
                self.paths.append(path)
                self._synced_s = -math.inf
                self._is_new = True
                return

    def _lose(self, error: OSError | RecordingError) -> None:
        if isinstance(error, OSError):
            path = self.paths[-1] if self.paths else self._path
            text = f"{path}: {(error.strerror or str(error)).lower()}; recording stopped"
        else:
            text = str(error)
        with self._changed:
            self.fault = text
            self.broken = True
            self.takes_again = False
            self._queue.clear()
            self._changed.notify_all()
        with contextlib.suppress(OSError):
            self._close_file()
        self._rest()

    def _rest(self) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._closing, self._retry_s)

    def _wait_until_disk_takes(self) -> bool:
        """Probe until the disk takes data (True) or the close (False)."""
        while not self._closing:
            try:
                self._storage.probe(self._path)
            except OSError:
                self._rest()
                continue
            with self._changed:
                self.takes_again = True
                self._changed.wait_for(lambda: not self.broken or self._closing)
                return not self.broken
        return False


def numbered(path: Path, number: int) -> Path:
    """Name a further file of a session: `shed.jsonl` is followed by `shed.2.jsonl`."""
    return path.with_name(f"{path.stem}.{number}{path.suffix}")
