"""A disk that can be filled up, and a recorder on it that keeps virtual time honest."""

import errno
from pathlib import Path
from threading import Condition

from linetender.recording.writer import RecordingWriter

PATIENCE_S = 60.0


class SwitchableDisk:
    """A disk with one file, that can be filled up and emptied.

    Attributes:
        is_full: Whether it takes nothing now.
        was_full: Whether it ever took nothing.
        synced: What a power cut now would leave.
    """

    def __init__(self) -> None:
        self.is_full = self.was_full = False
        self.synced = b""
        self._written = bytearray()
        self._asked = Condition()

    def begin(self, path: Path) -> "SwitchableDisk":
        return self

    def probe(self, path: Path) -> None:
        self.append(b"")

    def append(self, piece: bytes) -> None:
        with self._asked:
            self._asked.notify_all()
            if self.is_full:
                self.was_full = True
                raise OSError(errno.ENOSPC, "No space left on device")
            self._written += piece

    def wait_until_asked(self, size_bytes: int) -> None:
        """Wait until it has been given so much in all, or has refused something."""
        with self._asked:
            assert self._asked.wait_for(
                lambda: self.was_full or len(self._written) >= size_bytes, PATIENCE_S
            )

    def sync(self) -> None:
        """Bring to the disk what was written."""
        self.synced = bytes(self._written)

    def close(self) -> None:
        """Nothing to do."""


class PromptRecorder(RecordingWriter):
    """Lets virtual time stand while the disk is asked.

    The recorder's thread lives in real time, and a virtual second is over in a millisecond: on
    a busy computer a full disk would be told some virtual seconds late.
    """

    def __init__(self, disk: SwitchableDisk) -> None:
        super().__init__("s.jsonl", storage=disk)
        self._asked_disk = disk

    def advance(self, until_ns: int) -> None:
        super().advance(until_ns)
        self._asked_disk.wait_until_asked(self._size_bytes)
