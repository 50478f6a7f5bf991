"""Which files belong to one session."""

from pathlib import Path

from linetender.recording.compression import GZIP_SUFFIX
from linetender.recording.retention import sessions_in


def session_files(recordings: list[Path]) -> list[tuple[Path, ...]]:
    """Group recordings into sessions, in the order in which they were named.

    A file that `run` named brings along the other files of its session.

    Raises:
        OSError: the folder of a recording cannot be read.
    """
    sessions: dict[tuple[Path, ...], None] = {}
    for recording in recordings:
        sessions[_session_of(recording)] = None
    return list(sessions)


def _session_of(recording: Path) -> tuple[Path, ...]:
    if not recording.is_file():
        return (recording,)  # the reader says what is wrong with it
    for session in sessions_in(recording.parent):
        if recording in session.files:
            plain = {file for file in session.files if file.suffix != GZIP_SUFFIX}
            # A power cut while a file was compressed leaves it twice.
            kept = [
                file
                for file in session.files
                if file.suffix != GZIP_SUFFIX or file.with_suffix("") not in plain
            ]
            return tuple(sorted(kept, key=_number))
    return (recording,)


def _number(file: Path) -> int:
    name = file.name.removesuffix(GZIP_SUFFIX).removesuffix(".jsonl")
    number = name.rpartition(".")[2]
    return int(number) if number.isdecimal() else 1


def session_name(file: Path) -> str:
    """Return the name of a session: that of a file without its number and ending."""
    name = file.name.removesuffix(GZIP_SUFFIX).removesuffix(".jsonl")
    first, dot, number = name.rpartition(".")
    return first if dot and number.isdecimal() else name
