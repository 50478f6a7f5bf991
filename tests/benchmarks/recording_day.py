"""A recorded day: does the memory stay flat, and how large do the files grow? Asserts nothing.

    python tests/benchmarks/recording_day.py [HOURS]

25 Hz pressure and two oximeter values a second (invented), watched by the core and
recorded onto a real disk with a new file every four hours, in virtual time.
"""

import gzip
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.core.drive import drive
from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.instants import SECOND_NS
from linetender.core.watch import Watch
from linetender.recording.lines import SegmentReason, as_recorded, segment_of
from linetender.recording.writer import FileLimits, RecordingWriter
from recording.live_sessions import inputs_of_session, watched_plan

HOUR_S = 3600
SHOWN_HOURS = (1, 2, 6, 12, 18, 24)


def peak_mb() -> float:
    """Return the greatest memory that this process ever had (MB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class Day:
    """A session that is watched and recorded a second at a time."""

    def __init__(self, writer: RecordingWriter) -> None:
        self.events = 0
        self._writer = writer
        self._plan = watched_plan()
        self._watch = Watch(self._plan, 0)
        self._begin(0, SegmentReason.START)

    def second(self, block: list[Input], until_ns: int) -> None:
        """Do what the live loop does."""
        made: list[Event] = []
        self._writer.inputs(block)
        drive(block, until_ns, self._watch, made.extend)
        self._writer.events(tuple(made))
        self._writer.advance(until_ns)
        self.events += len(made)
        why = self._writer.segment_due(until_ns)
        if why is not None:
            self._begin(until_ns, why)

    def _begin(self, now_ns: int, why: SegmentReason) -> None:
        carryover = as_recorded(self._watch.carryover()) if now_ns else None
        self._watch = Watch(self._plan, now_ns, carryover)
        header = segment_of(
            self._plan,
            now_ns,
            why=why,
            wall="2020-01-01T00:00:00+00:00",
            synchronised=False,
            boot="demo",
            carryover=carryover,
        )
        self._writer.segment(header)


def main() -> None:
    """Record it and print figures."""
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    with tempfile.TemporaryDirectory() as folder:
        limits = FileLimits(4 * HOUR_S * SECOND_NS)
        writer = RecordingWriter(Path(folder) / "day.jsonl", limits=limits, waits=True)
        started_s = time.perf_counter()
        print(f"before: peak {peak_mb():.1f} MB")
        day = Day(writer)
        block: list[Input] = []
        second = 1
        for item in inputs_of_session(hours * HOUR_S):
            if item.arrived_ns >= second * SECOND_NS:
                day.second(block, second * SECOND_NS)
                block = []
                if second % HOUR_S == 0 and second // HOUR_S in SHOWN_HOURS:
                    print(f"{second // HOUR_S:3d} h: peak {peak_mb():.1f} MB")
                second += 1
            block.append(item)
        day.second(block, second * SECOND_NS)
        writer.close(second * SECOND_NS)
        took_s = time.perf_counter() - started_s
        sizes = [path.stat().st_size for path in writer.paths]
        print(f"end: peak {peak_mb():.1f} MB")
        packed = len(gzip.compress(writer.paths[0].read_bytes(), 6)) / sizes[0]
    print(f"{hours} h in {took_s:.0f} s, {day.events} events, {len(sizes)} files, {writer.fault=}")
    print(f"{sum(sizes) / hours / 1e6:.2f} MB per hour")
    print(f"compressed to {packed:.1%}, {sum(sizes) / hours * packed / 1e6:.2f} MB per hour")


if __name__ == "__main__":
    main()
