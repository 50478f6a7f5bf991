"""Where a station keeps what outlives a run."""

import os
from pathlib import Path

SERVICE_STATE = Path("/var/lib/linetender")
"""Where a station that runs as a service keeps its state (`StateDirectory=` of the unit)."""


def state_folder(given: Path | None, station: str) -> Path:
    """Return the folder: as given, as systemd says, the service's, or below the user's own.

    So what is taught or calibrated by hand is what the service watches by.

    Args:
        given: Option `--state`.
        station: Id of the station.

    Raises:
        PermissionError: the service has one that this user may not look into.
    """
    if given is not None:
        return given
    by_systemd = os.environ.get("STATE_DIRECTORY")
    if by_systemd:
        return Path(by_systemd.split(":")[0])
    if (SERVICE_STATE / station).is_dir():
        return SERVICE_STATE / station
    home = os.environ.get("XDG_STATE_HOME")
    base = Path(home) if home else Path.home() / ".local" / "state"
    return base / "linetender" / station
