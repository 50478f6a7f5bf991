"""A year of two-hour sessions, tuned over 200 combinations: how long, and how much memory?

    python tests/benchmarks/tune_year.py [HOURS]

Twenty hours of invented air, 25 readings a second in ten unlike sessions (gusts, steps on the
hose, a hose kinked for minutes, lost readings), stand again and again under other names until
there are HOURS (10 without an argument; 730 is a year). Asserts nothing.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from rich.progress import Progress

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.core.inputs import reading
from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason
from linetender.reports.tuning import Grid, counted_all
from reports.sessions_to_report import header, worn

SESSION_S = 7200
UNLIKE = 10
PER_SECOND = 25
NORMAL_PA = 64.0

GRID = Grid(
    limits_percent=tuple(float(limit) for limit in range(40, 90, 5)),
    deadbands_percent=(5.0, 10.0),
    on_delays_s=(0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 8.0, 10.0),
    off_delay_s=5.0,
    killer=True,
)


def pressures_pa(seed: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the pressures of one session (Pa): noise, and some fifty dips of any depth."""
    draw = np.random.default_rng(seed)
    count = SESSION_S * PER_SECOND
    part = np.ones(count)
    for _ in range(50):
        start = draw.integers(0, count)
        length = int(PER_SECOND * draw.exponential(3.0))
        part[start : start + length] *= draw.uniform(0.2, 0.95)
    start = draw.integers(0, count)
    part[start : start + 300 * PER_SECOND] *= draw.uniform(0.4, 0.9)
    return np.asarray((NORMAL_PA * part + draw.normal(0.0, 2.5, count)).round(2))


def write_session(path: Path, seed: int) -> None:
    """Write a session of two hours."""
    values, stream = pressures_pa(seed).tolist(), LineStream()
    lost = set(np.random.default_rng(seed).integers(0, len(values), 40).tolist())
    step_ns = SECOND_NS // PER_SECOND
    with path.open("wb") as file:
        file.write(stream.segment(header()))
        stream.events((worn(0.5),))
        for second in range(SESSION_S):
            places = range(second * PER_SECOND, (second + 1) * PER_SECOND)
            stream.inputs(
                [
                    reading(place * step_ns, Signal.DUCT_PRESSURE_PA, None, "timeout")
                    if place in lost
                    else reading(place * step_ns, Signal.DUCT_PRESSURE_PA, values[place])
                    for place in places
                ]
            )
            file.write(stream.advance((second + 1) * SECOND_NS))
        file.write(stream.end(SESSION_S * SECOND_NS, EndReason.STOPPED))


def peak_mb(who: int) -> float:
    """Return the greatest memory that a process ever had (MB)."""
    return resource.getrusage(who).ru_maxrss / 1024


def main() -> None:
    """Write the sessions, judge them, and print."""
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    count = max(1, round(hours * 3600 / SESSION_S))
    with tempfile.TemporaryDirectory() as folder:
        unlike = [Path(folder) / f"{seed}.jsonl" for seed in range(min(UNLIKE, count))]
        for seed, path in enumerate(unlike):
            write_session(path, seed)
        sessions = []
        for place in range(count):
            link = Path(folder) / f"session-{place}.jsonl"
            link.hardlink_to(unlike[place % len(unlike)])
            sessions.append((link,))
        start_s = time.perf_counter()
        with Progress(transient=True) as progress:
            task = progress.add_task("Judging", total=None)
            counts = counted_all(
                sessions,
                GRID,
                lambda done, size: progress.update(task, completed=done, total=size),
            )
        took_s = time.perf_counter() - start_s
    print(
        f"{counts.worn_s / 3600:.0f} h in {counts.sessions} sessions, {len(counts.alarms)} "
        f"combinations: {took_s:.1f} s ({counts.worn_s / took_s:.0f} × real time), alarms "
        f"{min(counts.alarms)} to {max(counts.alarms)}"
    )
    print(
        f"peak memory: {peak_mb(resource.RUSAGE_SELF):.0f} MB, and "
        f"{peak_mb(resource.RUSAGE_CHILDREN):.0f} MB in the largest worker"
    )


if __name__ == "__main__":
    main()
