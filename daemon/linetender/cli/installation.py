"""What the service consists of: the files it needs, and the record of what was installed.

Nothing is written over that the record does not know, so that taking the service back
leaves the computer as it was.
"""

import os
import sys
from dataclasses import dataclass
from pathlib import Path

import msgspec

import linetender
from linetender import __version__
from linetender.settings.forward_file import is_forward_file, load_forwarding
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import is_sounder_file, load_sounder

CURRENT = Path("/opt/linetender/current")
"""The environment that the units start from, a link: an update turns it, a roll-back turns it
back."""

RECORD = Path("/opt/linetender/installed.json")
STATION_FILES = Path("/etc/linetender")

FILES = {
    "linetender@.service": "/etc/systemd/system",
    "linetender-siren@.service": "/etc/systemd/system",
    "linetender-remote-sounder@.service": "/etc/systemd/system",
    "linetender-forward@.service": "/etc/systemd/system",
    "sysusers.conf": "/etc/sysusers.d/linetender.conf",
    "tmpfiles.conf": "/etc/tmpfiles.d/linetender.conf",
    "udev.rules": "/etc/udev/rules.d/60-linetender.rules",
    "modules-load.conf": "/etc/modules-load.d/linetender.conf",
}
"""Files of systemd/, and where each goes: a folder, or the whole path."""

_UNSEEN = ("/home", "/root", "/tmp", "/var/tmp", "/run/user")
"""Folders that the units' walls hide from the service."""


class NotInstallable(RuntimeError):
    """The service cannot be installed so; the message says why, and what to do."""


class Generation(msgspec.Struct, frozen=True):
    """One version of the service as it was installed.

    Attributes:
        version: Of linetender.
        environment: Its virtual environment.
        files: What was written, by path.
        units: What was enabled.
    """

    version: str
    environment: str
    files: dict[str, str]
    units: tuple[str, ...] = ()


class Record(msgspec.Struct, frozen=True):
    """What is installed now, and what it replaced."""

    now: Generation | None = None
    before: Generation | None = None


@dataclass(frozen=True)
class Change:
    """What an installation or its undoing does, in this order.

    Attributes:
        removes: Files to delete.
        writes: Files to write, by path.
        link: What `CURRENT` shall point to; None: the link is removed.
        first: Commands to run before anything is written or removed.
        commands: To run afterwards.
        record: To keep; None: the record is removed.
        left: Files that stay although they were ours: somebody changed them.
    """

    writes: dict[str, str]
    removes: tuple[str, ...]
    link: str | None
    commands: tuple[tuple[str, ...], ...]
    record: Record | None
    left: tuple[str, ...] = ()
    first: tuple[tuple[str, ...], ...] = ()


def unit_of(file: Path) -> str:
    """Return the name of the unit that runs a station, sounder or forward file.

    Raises:
        NotInstallable: it does not lie in /etc/linetender, or is not named for what it holds.
        StationFileError: it is not fit to run.
    """
    if file.resolve().parent != STATION_FILES.resolve():
        raise NotInstallable(
            f"{file}: the service reads files in {STATION_FILES} only. Copy it there, with what "
            f"it names: sudo install -D -m 644 -t {STATION_FILES} {file}"
        )
    if is_forward_file(file):
        return f"linetender-forward@{_named(file, load_forwarding(file).box)}.service"
    if is_sounder_file(file):
        return f"linetender-remote-sounder@{_named(file, load_sounder(file).name)}.service"
    return f"linetender@{_named(file, load_station(file).plan.station)}.service"


def _named(file: Path, name: str) -> str:
    if file.name != f"{name}.toml":
        raise NotInstallable(
            f"{file}: it is the file of {name!r}, so the service looks for it under "
            f"{STATION_FILES / f'{name}.toml'}. Rename it."
        )
    return name


def this_generation(units: tuple[str, ...]) -> Generation:
    """Return what this very linetender would install.

    Raises:
        NotInstallable: it lies where the service cannot see it.
    """
    package = Path(linetender.__file__).resolve()
    for place in (Path(sys.prefix), package):
        if any(place.is_relative_to(folder) for folder in _UNSEEN):
            raise NotInstallable(
                f"{place}: the service cannot see this folder. Install linetender below "
                f"/opt/linetender, as systemd/README.md shows, and run its own `install`."
            )
    return Generation(__version__, sys.prefix, shipped_files(), units)


def shipped_files() -> dict[str, str]:
    """Return the files of the service, by the path each has on the computer."""
    files = {}
    for name, place in FILES.items():
        path = f"{place}/{name}" if name.endswith(".service") else place
        files[path] = shipped(f"systemd/{name}").read_text(encoding="utf-8")
    return files


def read_record(root: Path) -> Record:
    """Return what is installed; an empty record where nothing is.

    Raises:
        NotInstallable: the record is damaged.
    """
    path = below(root, RECORD)
    try:
        return msgspec.json.decode(path.read_bytes(), type=Record)
    except FileNotFoundError:
        return Record()
    except msgspec.MsgspecError as error:
        raise NotInstallable(
            f"{path}: the record of what was installed cannot be read ({error}). Delete the "
            "files that `linetender install` lists, and this one, then install anew."
        ) from error


def installing(generation: Generation, record: Record, root: Path) -> Change:
    """Return what it takes to make a generation the installed one.

    Raises:
        NotInstallable: a file is there that this program did not write, or that was changed.
    """
    known = record.now.files if record.now else {}
    for path in generation.files:
        _refuse_foreign(path, {known.get(path), generation.files[path]}, root)
    before = record.before if generation == record.now else record.now
    return _turning_to(generation, record.now, Record(generation, before))


def rolling_back(record: Record) -> Change:
    """Return what it takes to go back to the generation before.

    Raises:
        NotInstallable: there is none.
    """
    if record.before is None:
        raise NotInstallable("No earlier installation is on record, so there is no way back.")
    if not Path(record.before.environment).is_dir():
        raise NotInstallable(
            f"{record.before.environment} is gone, so version {record.before.version} cannot be "
            "gone back to."
        )
    return _turning_to(record.before, record.now, Record(record.before, record.now))


def uninstalling(record: Record, root: Path) -> Change:
    """Return what it takes to take everything back that was installed.

    Raises:
        NotInstallable: nothing was.
    """
    now = record.now
    if now is None:
        raise NotInstallable("No service of linetender is installed here.")
    ours = [path for path, text in now.files.items() if _text(path, root) in (text, None)]
    return Change(
        writes={},
        removes=tuple(ours),
        link=None,
        first=tuple(("systemctl", "disable", "--now", unit) for unit in now.units),
        commands=(("systemctl", "daemon-reload"), ("udevadm", "control", "--reload")),
        record=None,
        left=tuple(path for path in now.files if path not in ours),
    )


def _turning_to(generation: Generation, now: Generation | None, record: Record) -> Change:
    gone = () if now is None else tuple(path for path in now.files if path not in generation.files)
    started = tuple(("systemctl", "restart", unit) for unit in generation.units)
    enabled = tuple(("systemctl", "enable", unit) for unit in generation.units)
    return Change(
        writes=generation.files,
        removes=gone,
        link=generation.environment,
        commands=(
            ("systemd-sysusers", FILES["sysusers.conf"]),
            ("systemd-tmpfiles", "--create", FILES["tmpfiles.conf"]),
            ("modprobe", "i2c-dev"),
            ("udevadm", "control", "--reload"),
            ("udevadm", "trigger", "--subsystem-match=gpio", "--subsystem-match=i2c-dev"),
            ("systemctl", "daemon-reload"),
            *enabled,
            *started,
        ),
        record=record,
    )


def _refuse_foreign(path: str, known: set[str | None], root: Path) -> None:
    there = _text(path, root)
    if there is not None and there not in known:
        raise NotInstallable(
            f"{below(root, Path(path))}: this file is there already, and linetender did not write "
            "it as it stands. Move it away, or put your changes into a drop-in "
            "(systemctl edit), then install again."
        )


def _text(path: str, root: Path) -> str | None:
    try:
        return below(root, Path(path)).read_text(encoding="utf-8")
    except FileNotFoundError:
        return None


def below(root: Path, path: Path) -> Path:
    """Return where an absolute path lies in the system whose root is given."""
    return root / path.relative_to("/")


def carry_out(change: Change, root: Path) -> None:
    """Write, remove and link as a change says; each file appears whole or not at all."""
    for path, text in change.writes.items():
        _write(below(root, Path(path)), text)
    for path in change.removes:
        below(root, Path(path)).unlink(missing_ok=True)
    link = below(root, CURRENT)
    if change.link is None:
        link.unlink(missing_ok=True)
    else:
        _turn(link, change.link)
    record = below(root, RECORD)
    if change.record is None:
        record.unlink(missing_ok=True)
    else:
        _write(record, msgspec.json.encode(change.record).decode())


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(f".{path.name}.new")
    new.write_text(text, encoding="utf-8")
    new.chmod(0o644)
    os.replace(new, path)


def _turn(link: Path, target: str) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    new = link.with_name(f".{link.name}.new")
    new.unlink(missing_ok=True)
    new.symlink_to(target)
    os.replace(new, link)
