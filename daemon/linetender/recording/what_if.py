"""What another plan would have said of a recorded session, beside what was said."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import msgspec

from linetender.core.alarm_table import AlarmState
from linetender.core.carryover import Carryover
from linetender.core.drive import drive
from linetender.core.events import AlarmChanged, DemandChanged, Event
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.watch import Watch
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Segment, SegmentReason, as_recorded
from linetender.recording.reader import Block, RecordingReader, TornTail
from linetender.recording.window import Window

PlanFor = Callable[[Segment], Plan]

_GOES_ON = frozenset({SegmentReason.ROTATION, SegmentReason.RELOAD})


@dataclass(frozen=True)
class Change:
    """One line of the timeline: what one side says and the other does not.

    Attributes:
        since_start_ns: When it fell due, since the session began.
        recorded: What was said, or None.
        other: What the other plan would have said, or None.
    """

    since_start_ns: int
    recorded: Event | None
    other: Event | None


@dataclass(frozen=True)
class Comparison:
    """What came of it.

    Attributes:
        station: Id of the recorded station.
        session_s: Length of the session (s).
        timeline: All that differs, in order. What should be sounded and shown follows
            from the alarms and is left out; so are the numbers of transitions.
        raised: For each rule, how often its alarm was raised, as recorded and with the
            other plan; rules that never were are left out.
        tail: What the recording lost at its end, or None.
    """

    station: str
    session_s: float
    timeline: tuple[Change, ...]
    raised: dict[str, tuple[int, int]]
    tail: TornTail | None


def compare(
    path: Path | str,
    plan_for: PlanFor,
    *,
    window: Window | None = None,
    told: Callable[[int, int], None] = lambda bytes_read, size_bytes: None,
) -> Comparison:
    """Feed a recording to Watches of another plan.

    The other Watch goes on through rotations and restarts with its own state; after a
    gap it goes on from the recorded one, since only that saw what came in between.

    Args:
        path: The recording.
        plan_for: Gives the plan to use instead of a header's.
        window: Which part of the session is compared; None means all of it.
        told: As for `replay_file`.

    Raises:
        RecordingError: as for `replay_file`.
    """
    window = window or Window()
    reader = RecordingReader(path, lambda bytes_read: told(bytes_read, reader.size_bytes))
    recorded: list[Event] = []
    other: list[Event] = []
    first: Segment | None = None
    until_ns = 0
    for watch, part in _watched(reader, plan_for):
        if isinstance(part, Segment):
            first = first or part
            continue
        _feed(part, watch, other, reader)
        recorded += part.events
        until_ns = part.until_ns
        if first is not None and window.is_over(until_ns - first.started_ns):
            break
    assert first is not None, "a reader yields a header or raises"
    length_ns = window.length_ns(max(0, until_ns - first.started_ns))
    sides = [window.of(side, first.started_ns) for side in (recorded, other)]
    return _comparison(first, length_ns, sides, reader.tail)


def _comparison(
    first: Segment, length_ns: int, sides: list[list[Event]], tail: TornTail | None
) -> Comparison:
    timeline = tuple(_timeline(sides[0], sides[1], first.started_ns))
    return Comparison(first.station, to_seconds(length_ns), timeline, _raised(*sides), tail)


def _watched(reader: RecordingReader, plan_for: PlanFor) -> Iterator[tuple[Watch, Segment | Block]]:
    """Yield each part with the Watch that is to take it."""
    watch: Watch | None = None
    for part in reader.parts():
        if isinstance(part, Segment):
            watch = _watch(part, plan_for(part), watch, reader)
        assert watch is not None, "a reader yields a header first"
        yield watch, part


def _watch(header: Segment, plan: Plan, before: Watch | None, reader: RecordingReader) -> Watch:
    carryover = header.carryover
    if before is not None:
        own = as_recorded(before.carryover())
        if header.why in _GOES_ON:
            carryover = own
        elif header.why is SegmentReason.RESTART and carryover is not None:
            carryover = own.after_restart(carryover.blind_ns)
    try:
        return Watch(plan, header.started_ns, _known_to(plan, header.started_ns, carryover))
    except (ValueError, TypeError, LookupError, AttributeError) as error:
        raise RecordingError(
            Fault.BAD_LINE,
            reader.path,
            f"no Watch of the other plan can go on from this header: {error}",
            "Compare a file that begins with the start of its session",
            line=reader.line,
            offset=reader.offset,
        ) from error


def _known_to(plan: Plan, now_ns: int, carryover: Carryover | None) -> Carryover | None:
    """Drop what the other plan holds in another form: conditions of another kind begin anew."""
    if carryover is None:
        return None
    fresh = Watch(plan, now_ns).carryover().parts
    parts = {
        name: kept
        for name, kept in carryover.parts.items()
        if not name.startswith("condition/") or kept.keys() == fresh.get(name, {}).keys()
    }
    return msgspec.structs.replace(carryover, parts=parts)


def _feed(block: Block, watch: Watch, said: list[Event], reader: RecordingReader) -> None:
    try:
        drive(block.inputs, block.until_ns, watch, said.extend)
    except ValueError as error:
        raise RecordingError(
            Fault.BAD_LINE,
            reader.path,
            f"the lines from here on cannot have been a session's: {error}",
            "Something else than linetender made or changed the file",
            line=block.line,
            offset=block.offset,
        ) from error


def _timeline(recorded: list[Event], other: list[Event], began_ns: int) -> Iterator[Change]:
    sides = [(event.due_ns, 0, event) for event in recorded]
    sides += [(event.due_ns, 1, event) for event in other]
    sides.sort(key=lambda each: each[:2])
    for due_ns, group in groupby(sides, key=lambda each: each[0]):
        left: list[Event] = []
        right: list[Event] = []
        for _, side, event in group:
            if not isinstance(event, DemandChanged):
                (right if side else left).append(_bare(event))
        for event in [event for event in left if event in right]:
            left.remove(event)
            right.remove(event)
        for k in range(max(len(left), len(right))):
            old = left[k] if k < len(left) else None
            new = right[k] if k < len(right) else None
            yield Change(due_ns - began_ns, old, new)


def _bare(event: Event) -> Event:
    """Leave out the number of a transition: one alarm more would change all that follow."""
    return msgspec.structs.replace(event, n=0) if isinstance(event, AlarmChanged) else event


def _raised(recorded: list[Event], other: list[Event]) -> dict[str, tuple[int, int]]:
    counts = [
        Counter(
            event.rule
            for event in side
            if isinstance(event, AlarmChanged)
            and event.before is AlarmState.NORMAL
            and event.after is AlarmState.UNACKNOWLEDGED
        )
        for side in (recorded, other)
    ]
    return {rule: (counts[0][rule], counts[1][rule]) for rule in sorted({*counts[0], *counts[1]})}
