"""Where a station keeps what outlives a run."""

import os
from pathlib import Path


def state_folder(given: Path | None, station: str) -> Path:
    """Return the folder: as given, as systemd says, or below the user's own.

    Args:
        given: Option `--state`.
        station: Id of the station.
    """
    if given is not None:
        return given
    by_systemd = os.environ.get("STATE_DIRECTORY")
    if by_systemd:
        return Path(by_systemd.split(":")[0])
    home = os.environ.get("XDG_STATE_HOME")
    base = Path(home) if home else Path.home() / ".local" / "state"
    return base / "linetender" / station
