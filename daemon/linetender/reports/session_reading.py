"""Reads a session once, front to back in bounded memory."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from linetender.core.signals import Signal
from linetender.core.watch import Watch
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Segment
from linetender.recording.reader import Block, RecordingReader
from linetender.reports.facts_of_session import facts_of
from linetender.reports.session_facts import SessionFacts
from linetender.reports.session_gathering import Gathering
from linetender.reports.trace import Piece

Told = Callable[[int, int], None]


@dataclass(frozen=True)
class ReadSession:
    """A session that was read.

    Attributes:
        facts: What the page says.
        curves: What it draws, by signal: the pieces, and how long one lasts (ns).
        time_of_day: Gives the time of day at a session time (s), where it was known.
    """

    facts: SessionFacts
    curves: dict[Signal, tuple[list[Piece], int]]
    time_of_day: Callable[[float], datetime | None]


def read_session(files: tuple[Path, ...], told: Told = lambda read, size: None) -> ReadSession:
    """Read all files of a session.

    Args:
        files: In the order in which they were written.
        told: Called now and then with the bytes read and the size of all files.

    Raises:
        RecordingError: a file cannot be read or is damaged.
    """
    gathering = Gathering()
    ended, lines_lost = True, 0

    def closed(reader: RecordingReader) -> None:
        nonlocal ended, lines_lost
        ended = reader.ended
        lines_lost += reader.tail.lines if reader.tail else 0

    for part, watch in parts_of(files, told, closed):
        if isinstance(part, Segment):
            assert watch is not None, "a header comes with a Watch"
            gathering.begin(part, watch)
        else:
            gathering.take(part)
    gathering.end()
    facts = facts_of(gathering, files, ended=ended, lines_lost=lines_lost)
    curves = {
        signal: (record.trace.pieces(), record.trace.width_ns)
        for signal, record in gathering.records.items()
        if record.trace is not None
    }
    return ReadSession(facts, curves, gathering.clock.time_of_day)


def parts_of(
    files: tuple[Path, ...],
    told: Told,
    closed: Callable[[RecordingReader], None] = lambda reader: None,
) -> Iterator[tuple[Segment | Block, Watch | None]]:
    """Yield each part of a session's files, and with each header a core that starts there.

    Args:
        files: In the order in which they were written.
        told: As for `read_session`.
        closed: Gets the reader of each file once that has been read.

    Raises:
        RecordingError: as for `read_session`.
    """
    sizes = [file.stat().st_size if file.is_file() else 0 for file in files]
    for number, file in enumerate(files):
        reader = RecordingReader(file, _told_from(told, sum(sizes[:number]), sum(sizes)))
        for part in reader.parts():
            yield part, _watch_of(part, reader) if isinstance(part, Segment) else None
        closed(reader)


def _watch_of(header: Segment, reader: RecordingReader) -> Watch:
    """Build the core that began a segment, for the state that it had then."""
    try:
        return Watch(header.plan, header.started_ns, header.carryover)
    except (ValueError, TypeError, LookupError, AttributeError) as error:
        raise RecordingError(
            Fault.BAD_LINE,
            reader.path,
            f"no Watch can be started from this header: {error}",
            f"Report on it with linetender {header.software}, which wrote it",
            line=reader.line,
            offset=reader.offset,
        ) from error


def _told_from(told: Told, before_bytes: int, all_bytes: int) -> Callable[[int], None]:
    return lambda bytes_read: told(before_bytes + bytes_read, all_bytes)
