"""How often LEAVE sounds falsely in ordinary use, with the default rules, and why.

    python tests/benchmarks/false_leaves.py [HOURS] [FIRST_SEED] [STATION ...]

Each hour has a seed of its own. No hazard happens in any of them, so that every LEAVE is
false, and every LOOK as well. The physics is fed straight into the core, on every core of
this machine. Prints; asserts nothing. 20 hours of each arrangement without an argument;
1000 on demand.
"""

import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from rich.console import Console
from rich.progress import track

from linetender.cli.scenario_play import station_of_scenario
from linetender.simulation.lived_hours import FalseAlarm, Hours, live
from linetender.simulation.scenario import LINES, LineFigures

STATIONS = ("wearer_side", "fan_side")
MOST_SHOWN = 20
AT_ONCE = 5
"""Hours that a process lives before it reports."""


def live_some(station: str, until_seed: int, first_seed: int) -> Hours:
    """Live the next few hours of a station."""
    plan = station_of_scenario(station).plan
    hours = min(AT_ONCE, until_seed - first_seed)
    return live(plan, LINES.get(station, LineFigures()), hours, first_seed)


def live_all(station: str, hours: int, first_seed: int) -> Hours:
    """Live all hours, shared out among the machine's cores; the result is the same with one."""
    lived = Hours()
    until_seed = first_seed + hours
    errors = Console(file=sys.stderr)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        seeds = range(first_seed, until_seed, AT_ONCE)
        done = pool.map(partial(live_some, station, until_seed), seeds)
        for some in track(done, station, len(seeds), console=errors, disable=hours <= AT_ONCE):
            lived.add(some)
    return lived


def show(station: str, lived: Hours, seconds: float) -> None:
    """Print what the hours came to."""
    print(
        f"{station}: {lived.hours} h of ordinary use, {len(lived.leaves)} false LEAVE, "
        f"{len(lived.looks)} false LOOK; {lived.hours / seconds:.1f} h lived per second"
    )
    if not lived.leaves:
        # No event in n hours: the rate is below 3/n with 95 % confidence (rule of three).
        print(f"  fewer than one false LEAVE in {lived.hours / 3.0:.0f} h, with 95 % confidence")
    for false in lived.leaves[:MOST_SHOWN]:
        print(f"  LEAVE  {false.text}")
    show_causes("LEAVE", lived.leaves)
    show_causes("LOOK", lived.looks)


def show_causes(word: str, alarms: list[FalseAlarm]) -> None:
    """Print rule and latest happening of the false alarms, the most frequent first."""
    causes: dict[tuple[str, str], list[FalseAlarm]] = {}
    for false in alarms:
        latest = false.going_on[0].split(" at ")[0] if false.going_on else "nothing"
        causes.setdefault((false.rule, latest), []).append(false)
    for (rule, latest), count in Counter(
        {key: len(of) for key, of in causes.items()}
    ).most_common():
        first = causes[rule, latest][0]
        print(f"  {count} x {word} of {rule}, last came: {latest}; first in {first.text}")


def main() -> None:
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for station in sys.argv[3:] or STATIONS:
        begun = time.perf_counter()
        lived = live_all(station, hours, first_seed)
        show(station, lived, time.perf_counter() - begun)


if __name__ == "__main__":
    main()
