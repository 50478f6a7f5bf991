"""How fast a recorded session replays, and where the time goes. Prints; asserts no time.

    python tests/benchmarks/replay_rate.py [MINUTES]

25 Hz pressure and two oximeter values a second (invented), parsing and check lines
included, in CPU time of the one process. Yardstick: 30 000 × real time on one core.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.recording.chain import Chain
from linetender.recording.reader import Block, RecordingReader
from linetender.recording.replay import replay_file
from recording.live_sessions import recorded_live

ROUNDS = 3


def best_s(work: Callable[[], object]) -> float:
    """Return the shortest of a few runs (s)."""
    times = []
    for _ in range(ROUNDS):
        started_s = time.process_time()
        work()
        times.append(time.process_time() - started_s)
    return min(times)


def main() -> None:
    """Record a session, replay it, print rates."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "session.jsonl"
        path.write_bytes(recorded_live(seconds=60 * minutes))
        data = path.read_bytes()
        outcome = replay_file(path)
        checking_s = best_s(lambda: Chain(path).groups_in(data))
        reading_s = best_s(lambda: sum(isinstance(p, Block) for p in RecordingReader(path).parts()))
        replaying_s = best_s(lambda: replay_file(path))
    print(
        f"{minutes} min of session, {outcome.inputs} inputs, {outcome.events} events, "
        f"{outcome.differing} differences, {len(data) * 60 / minutes / 1e6:.2f} MB/h"
    )
    print(
        f"replay: {outcome.inputs / replaying_s:,.0f} inputs/s, "
        f"{outcome.session_s / replaying_s:,.0f} × real time"
    )
    for name, seconds in (
        ("check lines", checking_s),
        ("parsing", reading_s - checking_s),
        ("core", replaying_s - reading_s),
    ):
        print(f"  {name}: {seconds / outcome.inputs * 1e9:.0f} ns per input")


if __name__ == "__main__":
    main()
