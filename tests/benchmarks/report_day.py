"""A report of a recorded day: how long does it take, and does the memory stay flat?

    python tests/benchmarks/report_day.py [HOURS]

25 Hz pressure and an oximeter value a second, all invented. Asserts nothing.
"""

import random
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.core.inputs import Reading, reading
from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason
from linetender.reports.page import page
from linetender.reports.session_reading import read_session
from reports.sessions_to_report import header, worn

HOUR_S = 3600
PER_SECOND = 25


def peak_mb() -> float:
    """Return the greatest memory that this process ever had (MB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def second_of(second: int, chance: random.Random) -> list[Reading]:
    """Return the readings of one second."""
    start_ns = second * SECOND_NS
    step_ns = SECOND_NS // PER_SECOND
    found = [
        reading(start_ns + place * step_ns, Signal.DUCT_PRESSURE_PA, 60 + chance.gauss(0, 2))
        for place in range(PER_SECOND)
    ]
    found.append(reading(start_ns + SECOND_NS - 1, Signal.SPO2_PERCENT, 96 + chance.randint(-2, 2)))
    return found


def write_day(path: Path, hours: int) -> None:
    """Write a recording, a second at a time."""
    chance, stream = random.Random(1), LineStream()
    with path.open("wb") as file:
        file.write(stream.segment(header()))
        stream.events((worn(0.5),))
        for second in range(hours * HOUR_S):
            stream.inputs(second_of(second, chance))
            file.write(stream.advance((second + 1) * SECOND_NS))
        file.write(stream.end(hours * HOUR_S * SECOND_NS, EndReason.STOPPED))


def main() -> None:
    """Write sessions of two lengths, report on each, and print."""
    longest = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.jsonl"
        for hours in (max(1, longest // 4), longest):
            write_day(path, hours)
            before_mb, start_s = peak_mb(), time.perf_counter()
            html = page(read_session((path,)))
            took_s = time.perf_counter() - start_s
            print(
                f"{hours} h, {path.stat().st_size / 1e6:.0f} MB: report in {took_s:.1f} s "
                f"({hours * HOUR_S / took_s:.0f} × real time), page {len(html) / 1e3:.0f} kB, "
                f"peak memory {before_mb:.0f} MB before, {peak_mb():.0f} MB after"
            )


if __name__ == "__main__":
    main()
