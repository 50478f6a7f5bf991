"""Feeds a recording to a new Watch and compares what it says with what was recorded."""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from linetender.core.carryover import Carryover
from linetender.core.drive import drive
from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.watch import Watch
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Segment
from linetender.recording.reader import Block, RecordingReader, TornTail
from linetender.recording.window import Window

DIFFERENCES_KEPT = 20
"""Chosen: the first few say what went apart; what follows is mostly their consequence."""

MakeWatch = Callable[[Plan, int, Carryover | None], Watch]


class Anew(Protocol):
    """Decodes the readings of a recording anew, from the frames in it."""

    def begin(self, header: Segment) -> None:
        """Prepare for a segment."""

    def inputs(self, block: Block) -> list[Input]:
        """Return a block's inputs with the readings made anew."""


@dataclass(frozen=True)
class Difference:
    """An event that stands on one side only, or two unlike ones at the same instant.

    Attributes:
        segment: Number of the segment, counted from 1.
        since_start_ns: When it fell due, since the segment began.
        recorded: What the recording says, or None.
        replayed: What the new Watch said, or None.
    """

    segment: int
    since_start_ns: int
    recorded: Event | None
    replayed: Event | None


@dataclass(frozen=True)
class Outcome:
    """What a replay found.

    Attributes:
        station: Id of the station.
        software: Version that wrote the first segment.
        segments: How many were replayed.
        inputs: How many were fed.
        events: How many were recorded.
        differing: How many differences there are in all; 0 means an exact replay.
        differences: The first of them.
        session_s: Length of what was compared (s), the segments added up.
        tail: What the recording lost at its end, or None.
        ended: Whether it was closed in good order, or not read up to its end.
    """

    station: str
    software: str
    segments: int
    inputs: int
    events: int
    differing: int
    differences: tuple[Difference, ...]
    session_s: float
    tail: TornTail | None
    ended: bool


class _Progress:
    """One segment while it is replayed."""

    def __init__(self, header: Segment, watch: Watch) -> None:
        self.header = header
        self.watch = watch
        self.until_ns = header.started_ns
        self.inputs = 0
        self.recorded: list[Event] = []
        self.replayed: list[Event] = []

    def take(self, block: Block, inputs: list[Input], path: Path) -> None:
        """Feed a block's inputs and advance to its end, as the live loop did."""
        try:
            drive(inputs, block.until_ns, self.watch, self.replayed.extend)
        except ValueError as error:
            raise RecordingError(
                Fault.BAD_LINE,
                path,
                f"the lines from here on cannot have been a session's: {error}",
                "Something else than linetender made or changed the file",
                line=block.line,
                offset=block.offset,
            ) from error
        self.recorded += block.events
        self.inputs += len(block.inputs)
        self.until_ns = block.until_ns

    def keep_only(self, window: Window, began_ns: int) -> None:
        """Forget the events outside a window of the session."""
        self.recorded = window.of(self.recorded, began_ns)
        self.replayed = window.of(self.replayed, began_ns)

    def differences(self, number: int) -> Iterator[Difference]:
        """Set the two sequences side by side by the instants at which events fell due."""
        if self.recorded == self.replayed:
            return
        recorded, replayed = deque(self.recorded), deque(self.replayed)
        while recorded or replayed:
            due_ns = min(side[0].due_ns for side in (recorded, replayed) if side)
            old = recorded.popleft() if recorded and recorded[0].due_ns == due_ns else None
            new = replayed.popleft() if replayed and replayed[0].due_ns == due_ns else None
            if old != new:
                yield Difference(number, due_ns - self.header.started_ns, old, new)


def _watch_of(header: Segment, make_watch: MakeWatch, reader: RecordingReader) -> Watch:
    try:
        return make_watch(header.plan, header.started_ns, header.carryover)
    except (ValueError, TypeError, LookupError, AttributeError) as error:
        # A carryover is free-form: its keys and values are those of the core that wrote it.
        raise RecordingError(
            Fault.BAD_LINE,
            reader.path,
            f"no Watch can be started from this header: {error}",
            f"Replay it with linetender {header.software}, which wrote it",
            line=reader.line,
            offset=reader.offset,
        ) from error


def _as_recorded(block: Block) -> list[Input]:
    return block.inputs


def replay_file(
    path: Path | str,
    *,
    make_watch: MakeWatch = Watch,
    window: Window | None = None,
    anew: Anew | None = None,
    told: Callable[[int, int], None] = lambda bytes_read, size_bytes: None,
) -> Outcome:
    """Replay a recording, each segment with a new Watch.

    Args:
        path: The recording.
        make_watch: Makes a Watch from plan, start and carryover.
        window: Which part of the session is compared; None means all of it. What
            comes after it is not read.
        anew: Decodes readings anew, instead of taking them as they were recorded.
        told: Called now and then with the bytes read and the size of the file.

    Raises:
        RecordingError: the file cannot be read or is damaged, or no Watch takes it.
    """
    reader = RecordingReader(path, lambda bytes_read: told(bytes_read, reader.size_bytes))
    window = window or Window()
    decode = _as_recorded if anew is None else anew.inputs
    segments: list[_Progress] = []
    is_cut = False
    for part in reader.parts():
        if isinstance(part, Block):
            segments[-1].take(part, decode(part), reader.path)
            is_cut = window.is_over(part.until_ns - segments[0].header.started_ns)
            if is_cut:
                break
        else:
            segments.append(_Progress(part, _watch_of(part, make_watch, reader)))
            if anew is not None:
                anew.begin(part)
    for segment in segments:
        segment.keep_only(window, segments[0].header.started_ns)
    return _outcome(segments, reader, window, is_cut=is_cut)


def _outcome(
    segments: list[_Progress], reader: RecordingReader, window: Window, *, is_cut: bool
) -> Outcome:
    session_ns = sum(part.until_ns - part.header.started_ns for part in segments)
    differences = [
        difference
        for number, segment in enumerate(segments, 1)
        for difference in segment.differences(number)
    ]
    return Outcome(
        station=segments[0].header.station,
        software=segments[0].header.software,
        segments=len(segments),
        inputs=sum(segment.inputs for segment in segments),
        events=sum(len(segment.recorded) for segment in segments),
        differing=len(differences),
        differences=tuple(differences[:DIFFERENCES_KEPT]),
        session_s=to_seconds(window.length_ns(session_ns)),
        tail=reader.tail,
        ended=reader.ended or is_cut,
    )
