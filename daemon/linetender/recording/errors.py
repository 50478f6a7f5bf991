"""What can be wrong with a recording."""

from enum import StrEnum
from pathlib import Path


class Fault(StrEnum):
    """The kinds of fault, for programs; the text of the error is for people."""

    UNREADABLE = "unreadable"
    """No such file, a directory, no permission, a failing disk."""
    UNWRITABLE = "unwritable"
    EXISTS = "exists"
    """The file to be written is there already."""
    EMPTY = "empty"
    NOT_A_RECORDING = "not_a_recording"
    NEWER_SCHEMA = "newer_schema"
    TORN_HEADER = "torn_header"
    """The file breaks off before its first check line."""
    LINES_LOST = "lines_lost"
    LINES_ADDED = "lines_added"
    ALTERED = "altered"
    """As many lines as there should be, but not the same or not in the same order."""
    BAD_LINE = "bad_line"
    """Whole, but not what may stand there."""
    NO_FRAMES = "no_frames"
    """Decoding was to be replayed, and there is nothing to decode, or no driver for it."""


class RecordingError(Exception):
    """A recording that cannot be read, or not beyond some line; or cannot be begun.

    Raised, for example, when a line in the middle of a file was lost, when the file
    is a picture, or when a newer version of linetender wrote it. A file that merely
    breaks off is no error: see `TornTail`.

    Attributes:
        fault: What kind of fault.
        path: The file.
        line: Number of the first line in doubt, counted from 1; None for the whole file.
        offset: Its first byte, counted from 0.
    """

    def __init__(
        self,
        fault: Fault,
        path: Path,
        what: str,
        remedy: str,
        *,
        line: int | None = None,
        offset: int | None = None,
    ) -> None:
        where = f"{path}" if line is None else f"{path}, line {line} (byte {offset})"
        super().__init__(f"{where}: {what}. {remedy}")
        self.fault = fault
        self.path = path
        self.line = line
        self.offset = offset

    def __reduce__(self) -> tuple[object, ...]:
        """Let it pass from one process to another."""
        return _as_raised, (str(self), dict(vars(self)))


def _as_raised(text: str, attributes: dict[str, object]) -> RecordingError:
    error = RecordingError.__new__(RecordingError, text)
    vars(error).update(attributes)
    return error
