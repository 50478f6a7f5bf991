"""One axis of time over all segments of a session, and the time of day on it."""

from datetime import datetime, timedelta

from linetender.core.instants import SECOND_NS, to_seconds
from linetender.recording.lines import Segment, SegmentReason
from linetender.reports.session_facts import SegmentFact

_SAME_CLOCK = frozenset({SegmentReason.ROTATION, SegmentReason.RELOAD, SegmentReason.GAP})


class SessionClock:
    """Places segments one after the other.

    Segments of one run share a clock. After a restart the clock begins anew: then the time
    of day says how long the station was blind, and where it was not known the segment
    follows at once.

    Attributes:
        shift_ns: Added to the Watch time of the present segment, it gives session time.
        segments: Those placed so far.
    """

    def __init__(self) -> None:
        self.shift_ns = 0
        self.segments: list[SegmentFact] = []
        self._last: Segment | None = None
        self._until_ns = 0  # session time
        self._anchors: list[tuple[float, datetime | None]] = []

    def place(self, header: Segment) -> None:
        """Take the next segment."""
        wall = datetime.fromisoformat(header.wall) if header.synchronised else None
        blind_s: float | None = 0.0
        if self._last is None:
            self.shift_ns = -header.started_ns
        elif self._goes_on(header):
            blind_s = to_seconds(header.started_ns + self.shift_ns - self._until_ns)
        else:
            blind_s = self._blind_s(wall)
            begin_ns = self._until_ns + round((blind_s or 0.0) * SECOND_NS)
            self.shift_ns = begin_ns - header.started_ns
        at_s = to_seconds(header.started_ns + self.shift_ns)
        self._anchors.append((at_s, wall))
        self.segments.append(
            SegmentFact(at_s, header.why.value, blind_s, header.wall if wall else "")
        )
        self._last = header

    def reach(self, until_ns: int) -> int:
        """Note the Watch time that was reached; return it as session time."""
        self._until_ns = until_ns + self.shift_ns
        return self._until_ns

    @property
    def length_s(self) -> float:
        """Length of the session so far (s)."""
        return to_seconds(self._until_ns)

    def time_of_day(self, at_s: float) -> datetime | None:
        """Return the time of day at a session time, where it was known."""
        known = None
        for from_s, wall in self._anchors:
            if from_s <= at_s:
                known = None if wall is None else wall + timedelta(seconds=at_s - from_s)
        return known

    def _goes_on(self, header: Segment) -> bool:
        return (
            self._last is not None
            and header.why in _SAME_CLOCK
            and header.boot == self._last.boot
            and header.started_ns + self.shift_ns >= self._until_ns
        )

    def _blind_s(self, wall: datetime | None) -> float | None:
        before = self.time_of_day(to_seconds(self._until_ns))
        if wall is None or before is None:
            return None
        return max(0.0, (wall - before).total_seconds())
