"""The files under a recording."""

import errno
import os
from pathlib import Path
from typing import Protocol

from linetender.recording.errors import Fault, RecordingError

MODE = 0o600
"""Health data: for the owner alone."""

PROBE_BYTES = 1 << 16
"""Chosen: some 20 s of a session; a disk with less room than this is still full."""


class AppendOnly(Protocol):
    """What the writer needs of a file. Each call may take long or raise OSError."""

    def append(self, piece: bytes) -> None:
        """Write all of a piece at the end."""

    def sync(self) -> None:
        """Return once all that was appended would outlast a power cut."""

    def close(self) -> None:
        """Give the file back; it is not used again."""


class Storage(Protocol):
    """Where files are made. Each call may take long."""

    def begin(self, path: Path) -> AppendOnly:
        """Create a file.

        Raises:
            RecordingError: it exists already, or cannot be created.
        """

    def probe(self, path: Path) -> None:
        """Return if the disk under a path takes data again.

        Raises:
            OSError: it does not.
        """


class DiskFile:
    """A new file on a disk, for its owner alone (mode 0600)."""

    def __init__(self, path: Path) -> None:
        """Create the file.

        Raises:
            RecordingError: it exists already, or cannot be created.
        """
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC
        try:
            self._fd = os.open(path, flags, MODE)
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
        if os.fstatvfs(self._fd).f_flag & os.ST_RDONLY:
            # Seen with ext4: a file opened before takes data on, and its fsync says nothing.
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        os.fsync(self._fd)
        if self._folder is not None:
            sync_folder(self._folder)
            self._folder = None

    def close(self) -> None:
        """Give the file back."""
        os.close(self._fd)


class Disk:
    """Files on a real disk; implements `Storage`.

    Args:
        makes_folders: Whether a folder that is missing is made, or an error.
    """

    def __init__(self, *, makes_folders: bool = False) -> None:
        self._makes_folders = makes_folders

    def begin(self, path: Path) -> DiskFile:
        """Create a file."""
        if self._makes_folders and not path.parent.exists():
            try:
                path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            except OSError as error:
                raise RecordingError(
                    Fault.UNWRITABLE,
                    path.parent,
                    f"the folder cannot be made: {(error.strerror or str(error)).lower()}",
                    "Name a folder that you may write to",
                ) from error
        return DiskFile(path)

    def probe(self, path: Path) -> None:
        """Write a small file beside the recording, sync it, and remove it."""
        probe = path.with_name(f".{path.name}.probe")
        try:
            descriptor = os.open(probe, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, MODE)
            with os.fdopen(descriptor, "wb") as file:
                file.write(bytes(PROBE_BYTES))
                file.flush()
                os.fsync(file.fileno())
        finally:
            probe.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Let the names in a folder outlast a power cut."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
