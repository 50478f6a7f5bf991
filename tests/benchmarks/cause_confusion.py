"""What each hazard is called, with the default rules, in both arrangements: a table of confusion.

    python tests/benchmarks/cause_confusion.py [RUNS] [FIRST_SEED] [HAZARD ...]

Each run is a hazard of its own strength in the midst of ordinary use; the physics is fed
straight into the core. A name is right if it is that of the hazard, or holds it where two
look the same to the sensors ("duct or tube off"). Dangerous is an air or wearer's fault
called one of the oximeter or of a sensor, at any time. Prints; asserts nothing. 20 runs
of each without an argument; 1000 on demand, an hour. Hazards named are those alone.
"""

import sys
import time

from linetender.cli.scenario_play import station_of_scenario
from linetender.simulation.confusion import Called, call
from linetender.simulation.hazards import HAZARDS


def show(side: str, called: Called) -> None:
    """Print one row."""
    names = ", ".join(f"{name} {count}" for name, count in called.last.most_common())
    wrong = f"  DANGEROUS {called.dangerous[:5]}" if called.dangerous else ""
    print(
        f"{side:12} {called.hazard.name:21} {100.0 * called.right_part:5.1f} % "
        f"({100.0 * called.first_right / called.runs:5.1f} % at once)  {names}{wrong}"
    )


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    named = sys.argv[3:] or [hazard.name for hazard in HAZARDS]
    begun = time.perf_counter()
    all_called: list[Called] = []
    for side in ("wearer_side", "fan_side"):
        plan = station_of_scenario(side).plan
        for hazard in HAZARDS:
            if plan.arrangement in hazard.truth and hazard.name in named:
                all_called.append(call(plan, hazard, range(first, first + runs)))
                show(side, all_called[-1])
    total = sum(called.runs for called in all_called)
    right = sum(called.right for called in all_called)
    dangerous = sum(len(called.dangerous) for called in all_called)
    print(
        f"{total} runs, {100.0 * right / total:.1f} % right, {dangerous} dangerous; "
        f"{time.perf_counter() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
