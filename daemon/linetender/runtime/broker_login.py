"""What it takes to log in at the broker."""

import os
import ssl
from pathlib import Path

from linetender.annunciation.topics import Topics
from linetender.settings.station_file import BrokerSettings


class BrokerSettingsError(ValueError):
    """The broker's settings cannot be used.

    Example scenarios: the password file is missing, empty, or not readable by the
    user the daemon runs as; the host is no possible name.
    """


def check_host(host: str) -> None:
    """Refuse a host that can be no name: the client library's thread would end at it.

    Raises:
        BrokerSettingsError: if so.
    """
    try:
        host.encode("idna")
    except UnicodeError as error:
        raise BrokerSettingsError(
            f"broker.host = {host!r} is no possible name of a machine ({error})"
        ) from error


CREDENTIAL = "broker-password"
"""Name under which the units of systemd/ hand the password over (systemd.exec(5))."""


def _credential() -> Path | None:
    """Return the service manager's own copy, which no other program can read, if it has one."""
    folder = os.environ.get("CREDENTIALS_DIRECTORY")
    if folder is None:
        return None
    file = Path(folder) / CREDENTIAL
    return file if file.is_file() and file.read_bytes().strip() else None


def password(settings: BrokerSettings, folder: Path) -> str | None:
    """Read the password, or return None where the settings name no file.

    Args:
        settings: Its `password_file` counts from `folder`, unless it is absolute.
        folder: Where the station file lies.

    Raises:
        BrokerSettingsError: the file cannot be read, or its first line is empty.
    """
    if settings.password_file is None:
        return None
    file = _credential() or folder / settings.password_file
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise BrokerSettingsError(
            f"{file}: the broker's password cannot be read ({reason}); "
            "name a text file that the daemon's user may read"
        ) from error
    first_line = text.partition("\n")[0].strip()
    if not first_line:
        raise BrokerSettingsError(f"{file}: the first line should be the broker's password")
    return first_line


def ca_file(settings: BrokerSettings, folder: Path) -> Path | None:
    """Return the file of trusted certificates, or None where the system's are trusted.

    Args:
        settings: How to log in.
        folder: Where the station file lies.

    Raises:
        BrokerSettingsError: the file cannot be read, or holds no certificate.
    """
    if settings.ca_file is None:
        return None
    file = folder / settings.ca_file
    try:
        ssl.create_default_context(cafile=file)
    except OSError as error:  # an SSLError is one too
        raise BrokerSettingsError(
            f"{file}: cannot be used as trusted certificates ({error.strerror or error}). "
            "broker.ca_file is the path of a PEM file, counted from the station file's folder."
        ) from error
    return file


def identity(station: str, box: str | None, *, forwards: bool) -> tuple[str, str]:
    """Return the topic on which a link says that it is there, and its name at the broker."""
    topics = Topics(station)
    if box is None:
        return topics.online, station
    if forwards:
        return topics.forward_online(box), f"{station}-forward-{box}"
    return topics.far_online(box), f"{station}-far-{box}"
