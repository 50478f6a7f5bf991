"""One daemon per station: a lock that the kernel lets go when its holder ends."""

import fcntl
import os
import tempfile
from pathlib import Path


class AlreadyRunning(RuntimeError):
    """Another daemon watches this station."""


def runtime_folder(station: str) -> Path:
    """Return (and make) the folder for what lives as long as the daemon runs.

    Under systemd `RUNTIME_DIRECTORY` names it; else `XDG_RUNTIME_DIR`, else the
    temporary folder, with the user's number in the name.
    """
    given = os.environ.get("RUNTIME_DIRECTORY")
    if given:
        folder = Path(given.split(":")[0]) / station
    elif "XDG_RUNTIME_DIR" in os.environ:
        folder = Path(os.environ["XDG_RUNTIME_DIR"]) / "linetender" / station
    else:
        folder = Path(tempfile.gettempdir()) / f"linetender-{os.getuid()}" / station
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


class SingleRun:
    """Holds the lock of a station while it is open."""

    def __init__(self, station: str) -> None:
        self._path = runtime_folder(station) / "lock"
        self._descriptor = -1
        self._station = station

    def __enter__(self) -> "SingleRun":
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(descriptor)
            raise AlreadyRunning(
                f"another linetender already watches station {self._station!r} "
                f"({self._path} is locked). Stop it first, or give the stations different ids."
            ) from error
        self._descriptor = descriptor
        return self

    def __exit__(self, *failure: object) -> None:
        os.close(self._descriptor)
