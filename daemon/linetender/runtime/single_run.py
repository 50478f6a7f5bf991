"""One daemon per station: a lock that the kernel lets go when its holder ends."""

import errno
import fcntl
import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path


class AlreadyRunning(RuntimeError):
    """Another daemon watches this station."""


def runtime_base() -> Path:
    """Return the folder that has one folder per station that runs.

    Under systemd `RUNTIME_DIRECTORY` names it; else `XDG_RUNTIME_DIR`, else the
    temporary folder, with the user's number in the name.

    Raises:
        PermissionError: another user has made that folder in the temporary one, and could
            pretend to be a daemon there.
    """
    given = os.environ.get("RUNTIME_DIRECTORY")
    if given:
        return Path(given.split(":")[0])
    if "XDG_RUNTIME_DIR" in os.environ:
        return Path(os.environ["XDG_RUNTIME_DIR"]) / "linetender"
    folder = Path(tempfile.gettempdir()) / f"linetender-{os.getuid()}"
    with suppress(FileNotFoundError):
        found = folder.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.getuid():
            why = "this is not your folder, and XDG_RUNTIME_DIR names none"
            raise PermissionError(errno.EPERM, why, str(folder))
    return folder


def runtime_folder(station: str) -> Path:
    """Return (and make) the folder for what lives as long as the daemon runs."""
    base = runtime_base()
    for folder in (base, base / station):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return base / station


SERVICE_FOLDER = Path("/run/linetender")
"""Where a daemon that systemd started has its folder per station."""


def refuse_if_service_runs(station: str, folder: Path = SERVICE_FOLDER) -> None:
    """Refuse if a service owns a station, for verbs that a person starts beside it.

    Raises:
        AlreadyRunning: it does; the message names the unit to stop.
    """
    path = folder / station / "lock"
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return
    except OSError as error:  # another user's, as a service's is
        raise AlreadyRunning(_told(station, path)) from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError as error:
        raise AlreadyRunning(_told(station, path)) from error
    finally:
        os.close(descriptor)


def _told(station: str, path: Path) -> str:
    return (
        f"another linetender already watches station {station!r} ({path} is locked). "
        f"Stop it first ({how_to_stop(path)}), or give the stations different ids."
    )


def how_to_stop(path: Path) -> str:
    """Say how to stop the holder of a lock: its unit, as the kernel knows it, or its number."""
    try:
        pid = int(path.read_text(encoding="ascii"))
        cgroup = Path(f"/proc/{pid}/cgroup").read_text(encoding="utf-8")
    except (OSError, ValueError):
        return "systemctl list-units 'linetender*' names its unit"
    unit = cgroup.strip().rpartition("/")[2]
    if unit.startswith("linetender") and unit.endswith(".service"):
        return f"sudo systemctl stop {unit}"
    return f"Ctrl-C in its terminal, or kill {pid}"


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
            raise AlreadyRunning(_told(self._station, self._path)) from error
        os.ftruncate(descriptor, 0)
        os.write(descriptor, str(os.getpid()).encode())
        self._descriptor = descriptor
        return self

    def __exit__(self, *failure: object) -> None:
        os.close(self._descriptor)
