"""Which sessions are kept, and for how long.

A session is all files of one run: `shed-2031-05-01T080000.jsonl`, `….2.jsonl` and so
on, compressed or not. Other files in the folder are never touched.

A session with a high alarm stays until somebody has looked at it: that leaves a mark
beside it, `shed-2031-05-01T080000.reviewed`. A mark older than the session's last line
does not count.
"""

import re
import zlib
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from linetender.recording.compression import pieces_of
from linetender.recording.disk_file import MODE

REVIEWED_SUFFIX = ".reviewed"

_NAME = re.compile(r"(?P<session>.+-\d{4}-\d\d-\d\dT\d{6})(?:\.\d+)?\.jsonl(?:\.gz)?")
_PIECE_BYTES = 1 << 18
_LONGEST_LINE_BYTES = 1 << 12  # of an event; longer ones are headers
_ALARM = b'{"is":"alarm_changed",'
_HIGH_ALARM = re.compile(rb'^\{"is":"alarm_changed",[^\n]*"priority":"high"', re.MULTILINE)
_HEADER_BYTES = 1 << 10
_SYNCHRONISED = b'"synchronised":true'


class Retention(NamedTuple):
    """How much is kept.

    Attributes:
        age_s: Sessions older than this are deleted (s).
        size_bytes: All sessions together take no more; the oldest go first.
    """

    age_s: float
    size_bytes: float


@dataclass(frozen=True)
class Session:
    """The files of one run.

    Attributes:
        name: Their name without number and ending.
        files: Oldest first.
        size_bytes: All together.
        changed_s: When the last of them was written to (time of day, s since 1970).
    """

    name: str
    files: tuple[Path, ...]
    size_bytes: int
    changed_s: float

    @property
    def mark(self) -> Path:
        """The file that says that somebody has looked at this session."""
        return self.files[0].with_name(self.name + REVIEWED_SUFFIX)

    @property
    def is_reviewed(self) -> bool:
        """Whether somebody has looked at it since its last line was written."""
        try:
            return self.mark.stat().st_mtime >= self.changed_s
        except FileNotFoundError:
            return False

    @property
    def has_high_alarm(self) -> bool:
        """Whether any alarm of high priority changed in it; also if that cannot be found out."""
        try:
            return any(_has_high_alarm(file) for file in self.files)
        except (OSError, zlib.error):
            return True

    @property
    def knew_the_time(self) -> bool:
        """Whether the time of day was known to be right when it began, so that its age is."""
        try:
            with self.files[0].open("rb") as file:
                return _SYNCHRONISED in next(pieces_of(file, _HEADER_BYTES), b"")
        except (OSError, zlib.error):
            return False


def sessions_in(folder: Path) -> list[Session]:
    """Return the sessions in a folder, oldest first.

    Raises:
        OSError: the folder cannot be read.
    """
    found: dict[str, list[Path]] = {}
    for path in folder.iterdir():
        named = _NAME.fullmatch(path.name)
        if named and path.is_file() and not path.is_symlink():
            found.setdefault(named["session"], []).append(path)
    sessions = []
    for name, paths in found.items():
        stats = {path: path.stat() for path in paths}
        ordered = sorted(paths, key=lambda path: (stats[path].st_mtime_ns, path.name))
        size_bytes = sum(stat.st_size for stat in stats.values())
        changed_s = max(stat.st_mtime for stat in stats.values())
        sessions.append(Session(name, tuple(ordered), size_bytes, changed_s))
    return sorted(sessions, key=lambda session: (session.changed_s, session.name))


def mark_reviewed(recording: Path) -> Path:
    """Note that somebody has looked at the session of a recording; return the mark.

    Raises:
        ValueError: the file has no name that `run` gives.
        OSError: the mark cannot be written.
    """
    named = _NAME.fullmatch(recording.name)
    if named is None:
        raise ValueError(f"{recording}: not a file that `run` wrote into a folder of recordings")
    mark = recording.with_name(named["session"] + REVIEWED_SUFFIX)
    mark.touch(MODE)
    return mark


def delete_old(
    folder: Path, retention: Retention, *, now_s: float | None, in_use: Collection[Path] = ()
) -> tuple[list[str], list[str]]:
    """Delete what is too old or too much, the oldest first.

    Args:
        folder: Where the sessions are.
        retention: How much is kept.
        now_s: Time of day (s since 1970); None while it is not known to be right.
        in_use: Files being written; their session stays.

    Returns:
        The names of the sessions deleted, and of those that only stay because nobody
        has looked at their high alarm.

    Raises:
        OSError: the folder cannot be read, or a file cannot be deleted.
    """
    sessions = sessions_in(folder)
    total_bytes = sum(session.size_bytes for session in sessions)
    deleted: list[str] = []
    spared: list[str] = []
    for session in sessions:
        is_old = now_s is not None and now_s - session.changed_s > retention.age_s
        is_due = total_bytes > retention.size_bytes or (is_old and session.knew_the_time)
        if not is_due or any(file in in_use for file in session.files):
            continue
        if session.has_high_alarm and not session.is_reviewed:
            spared.append(session.name)
            continue
        for file in (*session.files, session.mark):
            file.unlink(missing_ok=True)
        total_bytes -= session.size_bytes
        deleted.append(session.name)
    return deleted, spared


def _has_high_alarm(path: Path) -> bool:
    rest = b""
    with path.open("rb") as file:
        for piece in pieces_of(file, _PIECE_BYTES):
            text = rest + piece
            if _ALARM in text and _HIGH_ALARM.search(text):
                return True
            rest = text[-_LONGEST_LINE_BYTES:]
            rest = rest[rest.find(b"\n") + 1 :]
    return False
