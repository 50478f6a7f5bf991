"""The file under a recording."""

import os
from pathlib import Path
from typing import Protocol

from linetender.recording.errors import Fault, RecordingError

_MODE = 0o600  # health data: for the owner alone


class AppendOnly(Protocol):
    """What the writer needs of a file. Each call may take long or raise OSError."""

    def append(self, piece: bytes) -> None:
        """Write all of a piece at the end."""

    def sync(self) -> None:
        """Return once all that was appended would outlast a power cut."""

    def close(self) -> None:
        """Give the file back; it is not used again."""


class DiskFile:
    """A new file on a disk, for its owner alone (mode 0600)."""

    def __init__(self, path: Path) -> None:
        """Create the file.

        Raises:
            RecordingError: it exists already, or cannot be created.
        """
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC
        try:
            self._fd = os.open(path, flags, _MODE)
        except FileExistsError as error:
            raise RecordingError(
                Fault.EXISTS,
                path,
                "there is a file of this name already, and a recording never overwrites one",
                "Name another file, or move that one away",
            ) from error
        except OSError as error:
            raise RecordingError(
                Fault.UNWRITABLE,
                path,
                f"the recording cannot be created: {(error.strerror or str(error)).lower()}",
                "Name a file in a folder that exists and that you may write to",
            ) from error
        self._folder: Path | None = path.parent

    def append(self, piece: bytes) -> None:
        """Write all of a piece at the end."""
        rest = memoryview(piece)
        while rest:
            rest = rest[os.write(self._fd, rest) :]

    def sync(self) -> None:
        """Return once all that was appended would outlast a power cut; the file's name, too."""
        os.fsync(self._fd)
        if self._folder is not None:
            folder = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
            self._folder = None

    def close(self) -> None:
        """Give the file back."""
        os.close(self._fd)
