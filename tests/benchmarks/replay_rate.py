"""How fast recorded sessions replay, and where the time goes. Prints; asserts no time.

    python tests/benchmarks/replay_rate.py [MINUTES]

25 Hz pressure and two oximeter values a second (invented), parsing and check lines
included, in CPU time of the one process: ordinary use under the default rules of either
arrangement, without faults and with 52 s of them in ten minutes; and a station with three
rules whose sensor loses one reading in fifty. Yardstick: 30 000 × real time on one core.
"""

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.feed_rate import readings_of
from core.full_stations import air_signal, default_plan
from linetender.core.inputs import By, Command, Contact, ContactState, Input, Reading, Verb
from linetender.core.plan import Arrangement
from linetender.core.signals import Signal
from linetender.recording.chain import Chain
from linetender.recording.reader import Block, RecordingReader
from linetender.recording.replay import replay_file
from recording.live_sessions import recorded_live, recorded_of

ROUNDS = 5


def best_s(work: Callable[[], object]) -> float:
    """Return the shortest of a few runs (s)."""
    times = []
    for _ in range(ROUNDS):
        started_s = time.process_time()
        work()
        times.append(time.process_time() - started_s)
    return min(times)


def sessions(minutes: int) -> Iterator[tuple[str, bytes]]:
    """Yield what each session is, and its recording."""
    seconds = 60 * minutes
    for arrangement in Arrangement:
        plan = default_plan(arrangement)
        signals = {air_signal(plan), Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM}
        for faults in (False, True):
            items: list[Input] = [
                Contact(0, "fan_mains", ContactState.CLOSED),
                Command(0, Verb.START, By.WEARER),
            ]
            for item in readings_of(plan, seconds, faults=faults):
                if isinstance(item, Reading) and item.signal in signals:
                    items.append(item)
            what = f"{arrangement}, {len(plan.rules)} rules, {'' if faults else 'no '}faults"
            yield what, recorded_of(plan, items, seconds)
    yield "three rules, a bad reading in fifty", recorded_live(seconds)


def print_rate(what: str, path: Path, minutes: int) -> None:
    """Replay a recording, print the rate and the shares."""
    data = path.read_bytes()
    outcome = replay_file(path)
    checking_s = best_s(lambda: Chain(path).groups_in(data))
    reading_s = best_s(lambda: sum(isinstance(p, Block) for p in RecordingReader(path).parts()))
    replaying_s = best_s(lambda: replay_file(path))
    print(
        f"{what}: {minutes} min, {outcome.inputs} inputs, {outcome.events} events, "
        f"{outcome.differing} differences, {len(data) * 60 / minutes / 1e6:.2f} MB/h"
    )
    print(
        f"  replay: {outcome.inputs / replaying_s:,.0f} inputs/s, "
        f"{outcome.session_s / replaying_s:,.0f} × real time"
    )
    parts = {
        "check lines": checking_s,
        "parsing": reading_s - checking_s,
        "core": replaying_s - reading_s,
    }
    shares = (f"{name} {part_s / outcome.inputs * 1e9:.0f} ns" for name, part_s in parts.items())
    print(f"    per input: {', '.join(shares)}")


def main() -> None:
    """Record the sessions, replay them, print rates."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "session.jsonl"
        for what, data in sessions(minutes):
            path.write_bytes(data)
            print_rate(what, path, minutes)


if __name__ == "__main__":
    main()
