"""How often LEAVE sounds falsely in ordinary use, with the default rules, and why.

    python tests/benchmarks/false_leaves.py [HOURS] [FIRST_SEED]

Each hour has a seed of its own. No hazard happens in any of them, so that every LEAVE is
false, and every LOOK as well. The physics is fed straight into the core. Prints;
asserts nothing. 20 hours of each arrangement without an argument; 1000 on demand, some
minutes per 100 hours.
"""

import sys
import time
from collections import Counter

from linetender.cli.scenario_play import station_of_scenario
from linetender.simulation.lived_hours import Hours, live
from linetender.simulation.scenario import LINES, LineFigures

STATIONS = ("wearer_side", "fan_side")
MOST_SHOWN = 20


def show(station: str, lived: Hours, seconds: float) -> None:
    """Print what the hours came to."""
    leaves, looks = len(lived.leaves), len(lived.looks)
    print(
        f"{station}: {lived.hours} h of ordinary use, {leaves} false LEAVE, "
        f"{looks} false LOOK; {seconds / lived.hours:.2f} s for an hour"
    )
    if not leaves:
        # No event in n hours: the rate is below 3/n with 95 % confidence (rule of three).
        print(f"  fewer than one false LEAVE in {lived.hours / 3.0:.0f} h, with 95 % confidence")
    for text in lived.leaves[:MOST_SHOWN]:
        print(f"  LEAVE  {text}")
    for rule, count in Counter(text.split(": ")[1].split(" ")[0] for text in lived.looks).items():
        first = next(text for text in lived.looks if f": {rule} " in text)
        print(f"  LOOK   {rule} {count} times, first in {first}")


def main() -> None:
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for station in STATIONS:
        begun = time.perf_counter()
        plan = station_of_scenario(station).plan
        lived = live(plan, LINES.get(station, LineFigures()), hours, first_seed)
        show(station, lived, time.perf_counter() - begun)


if __name__ == "__main__":
    main()
