"""Where the verb `run` records, and who looks after the recordings meanwhile."""

import os
import time
from datetime import datetime
from pathlib import Path

from linetender.core.instants import from_seconds
from linetender.recording.disk_file import Disk
from linetender.recording.retention import Retention
from linetender.recording.upkeep import Upkeep
from linetender.recording.writer import FileLimits, RecordingWriter
from linetender.runtime.clock import read_wall_clock
from linetender.settings.station import Station

DAY_S = 86_400.0
MB = 1_000_000


def recorder_of(station: Station, record: Path | None) -> RecordingWriter | None:
    """Begin to record, where the command line or else the station file wants it.

    A folder that cannot be written to is an alarm later on, and no reason not to watch.

    Raises:
        RecordingError: the file named on the command line exists or cannot be created.
    """
    if record is not None:
        return RecordingWriter(record)
    if station.recording_directory is None or station.recording is None:
        return None
    at = datetime.now().astimezone().strftime("%Y-%m-%dT%H%M%S")
    path = (
        _folder(station.recording_directory, station.recording.directory)
        / f"{station.plan.station}-{at}.jsonl"
    )
    table = station.recording
    return RecordingWriter(
        path,
        storage=Disk(makes_folders=True),
        sync_interval_s=table.sync_interval_s,
        limits=FileLimits(from_seconds(table.rotate_minutes * 60.0), round(table.rotate_mb * MB)),
        is_patient=True,
        with_frames=table.raw_frames,
    )


def upkeep_of(station: Station, recorder: RecordingWriter | None) -> Upkeep | None:
    """Return what looks after the folder that the station file names, not started yet."""
    folder, table = station.recording_directory, station.recording
    if folder is None or table is None:
        return None
    return Upkeep(
        _folder(folder, table.directory),
        Retention(table.keep_days * DAY_S, table.keep_mb * MB),
        is_compressing=table.compress,
        in_use=lambda: () if recorder is None else recorder.paths[-1:],
        now_s=_known_time_s,
    )


def _folder(beside_the_file: Path, written: str) -> Path:
    """A service may write below its own state only, so a relative path counts from there."""
    state = os.environ.get("STATE_DIRECTORY")
    if state and not Path(written).expanduser().is_absolute():
        return Path(state.split(":")[0]) / written
    return beside_the_file


def _known_time_s() -> float | None:
    return time.time() if read_wall_clock().synchronised else None
