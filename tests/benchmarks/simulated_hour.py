"""How long a simulated hour of use takes, with the real drivers decoding simulated bytes.

    python tests/benchmarks/simulated_hour.py [STATION ...]

World, chips, bus, drivers, live loop, core and outputs run in virtual time; nothing is
recorded. The hour is a calm one: the hood goes on at 10 s and stays on.
"""

import sys
import time

from linetender.cli.scenario_play import Play, station_of_scenario
from linetender.simulation.knobs import Knob
from linetender.simulation.scenario import Scenario
from linetender.simulation.script import End, Order, Script, Turn, at

STATIONS = ("demo", "wearer_side", "fan_side", "minimal", "calibrated", "gases")
WANTED_S = 5.0
HOUR_S = 3600.0

CALM = Script(
    (
        at(0.0, Turn(Knob.FAN, 1.0)),
        at(10.0, Turn(Knob.HOOD, 1.0)),
        at(10.0, Order.START),
        at(HOUR_S, End()),
    )
)


def main() -> None:
    for station in sys.argv[1:] or STATIONS:
        station_of_scenario(station)
        hour = Scenario("hour", "An hour", station, CALM, None, None, None, (), frozenset())
        begun_s, used_s = time.perf_counter(), time.process_time()
        told = Play(hour).run().told
        used_s, taken_s = time.process_time() - used_s, time.perf_counter() - begun_s
        print(
            f"{station}: a simulated hour in {taken_s:.1f} s ({used_s:.1f} s of processor, "
            f"{HOUR_S / taken_s:.0f} x real time; wanted under {WANTED_S:.0f} s), "
            f"{len(told)} alarms"
        )


if __name__ == "__main__":
    main()
