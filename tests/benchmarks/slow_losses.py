"""What rules for slow losses would gain: how much sooner they tell, and how often falsely.

    python tests/benchmarks/slow_losses.py [RUNS] [HOURS] [FIRST_SEED]

Per hazard and rule tried: by how many seconds it is sooner than the first of the default
rules (median, least, most), and in how many runs it told nothing. Then how often each
sounded falsely in HOURS of ordinary use. From this the rule `air_heading` was chosen, and
that there is no `drift` of oxygen. Prints; asserts nothing. 5 runs and 2 hours without
arguments; 100 and 200 on demand, an hour.
"""

import sys
from statistics import median

from linetender.cli.scenario_play import station_of_scenario
from linetender.simulation.slow_losses import SLOW_HAZARDS, TRIED, false_of, gains_of, with_tried


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:4]]
    runs, hours, first = (*numbers, *(5, 2, 1)[len(numbers) :])
    for side in ("wearer_side", "fan_side"):
        plan = with_tried(station_of_scenario(side).plan)
        print(f"{side}: seconds sooner than the default rules: median, least, most of {runs} runs")
        for hazard in SLOW_HAZARDS:
            for name, gain in gains_of(plan, hazard, range(first, first + runs)).items():
                if gain.sooner_s:
                    least, most = min(gain.sooner_s), max(gain.sooner_s)
                    print(
                        f"  {hazard.name:20} {name:26} {median(gain.sooner_s):7.1f} "
                        f"{least:7.1f} {most:7.1f}   untold {gain.untold}, alone {gain.alone}, "
                        f"too early {gain.early}"
                    )
        false = false_of(plan, hours, first)
        print(f"{side}: false LOOK in {hours} h of ordinary use")
        for name in TRIED:
            print(f"  {name:26} {false[name]:4}")


if __name__ == "__main__":
    main()
