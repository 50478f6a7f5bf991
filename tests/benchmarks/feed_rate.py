"""How fast the core takes readings, where the time goes, and whether memory stays flat.

    python tests/benchmarks/feed_rate.py [MINUTES]

Both full stations (invented) with the default rules and all signals: 25 Hz pressure,
1 Hz oximeter and fan speed, slow gases and battery; ordinary use, with a fault now and
then and without any. Prints; asserts no time. Yardstick: 1 000 000 readings/s on one
core. Times are processor time, the best of several rounds, so that other work on the
machine counts little.
"""

import gc
import random
import sys
import time
import tracemalloc
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from core.full_stations import NORMAL_PA, air_signal, default_plan, full_plan
from linetender.core.air_readings import AirReadings
from linetender.core.channel import Channel
from linetender.core.conditions.level import INFINITY
from linetender.core.drive import drive
from linetender.core.events import Event
from linetender.core.inputs import By, Command, Contact, ContactState, Fact, Input, Verb, reading
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.plan import Arrangement, Plan
from linetender.core.signals import Signal
from linetender.core.watch import Watch

ROUNDS = 7
AIR_HZ = 25
STEADY_S = 30
SLOW = {
    Signal.HOOD_CO2_PPM: 4000.0,
    Signal.INTAKE_CO_PPM: 0.0,
    Signal.SUPPLY_VOLTAGE_V: 5.0,
    Signal.OXIMETER_BATTERY_PERCENT: 80.0,
    Signal.ELEMENT_TEMPERATURE_C: 21.0,
    Signal.AMBIENT_PRESSURE_PA: 101_300.0,
    Signal.AMBIENT_TEMPERATURE_C: 18.0,
    Signal.AMBIENT_HUMIDITY_PERCENT: 50.0,
}
YEAR_S = 365 * 24 * 3600
SPARSE_S = 6 * 3600


def readings_of(plan: Plan, seconds: int, *, faults: bool = True) -> list[Input]:
    """Return a stretch of ordinary use, without switches and facts."""
    noise = random.Random(3)
    made: list[Input] = []
    for second in range(seconds):
        place = second % 600
        fault = faults and (200 <= place < 212 or 400 <= place < 440)
        level = NORMAL_PA * ((0.05 if place < 300 else 0.5) if fault else 1.0)
        for turn in range(AIR_HZ):
            at_ns = second * SECOND_NS + turn * SECOND_NS // AIR_HZ + MILLISECOND_NS
            made.append(reading(at_ns, air_signal(plan), level * noise.gauss(1.0, 0.02)))
        at_ns = second * SECOND_NS + 970 * MILLISECOND_NS
        spo2 = 92.0 if faults and 500 <= place < 530 else noise.choice((96.0, 97.0))
        made.append(reading(at_ns, Signal.SPO2_PERCENT, spo2))
        made.append(reading(at_ns, Signal.PULSE_RATE_BPM, float(noise.randint(75, 95))))
        made.append(reading(at_ns, Signal.FAN_SPEED_RPM, float(noise.randint(2480, 2520))))
        if second % 10 == 0:
            made += [reading(at_ns, signal, value) for signal, value in SLOW.items()]
    return made


def worn(plan: Plan) -> Watch:
    """Return a Watch of a hood that has just been put on."""
    watch = Watch(plan, 0)
    watch.feed(Contact(0, "fan_mains", ContactState.CLOSED))
    watch.feed(Command(0, Verb.START, By.WEARER))
    return watch


def best_s(work: Callable[[], object]) -> float:
    """Return the least processor time of several runs (s)."""
    times = []
    for _ in range(ROUNDS):
        gc.collect()
        started_s = time.process_time()
        work()
        times.append(time.process_time() - started_s)
    return min(times)


def run(plan: Plan, inputs: list[Input]) -> list[Event]:
    """Feed everything to a new Watch."""
    events: list[Event] = []
    drive(inputs, inputs[-1].arrived_ns, worn(plan), events.extend)
    return events


def without_guards(work: Callable[[], object]) -> float:
    """Return the least time of a work in which every reading is looked at by every rule."""
    requiet, combine = Channel.requiet, AirReadings.combine

    def never_quiet(channel: Channel) -> None:
        requiet(channel)
        channel.low, channel.high = INFINITY, -INFINITY

    Channel.requiet = never_quiet  # type: ignore[method-assign]
    AirReadings.combine = lambda readings, now_ns, look_ns: None  # type: ignore[method-assign]
    try:
        return best_s(work)
    finally:
        Channel.requiet = requiet  # type: ignore[method-assign]
        AirReadings.combine = combine  # type: ignore[method-assign]


def calls_of(plan: Plan, inputs: list[Input]) -> Counter[str]:
    """Count how often the rarer stages of a reading's path are entered."""
    calls: Counter[str] = Counter()
    originals = {(owner, name): getattr(owner, name) for owner, name in _STAGES}

    def counted(owner: type, name: str) -> Callable[..., Any]:
        original = originals[owner, name]

        def call(*given: Any) -> Any:
            calls[name] += 1
            return original(*given)

        return call

    for owner, name in _STAGES:
        setattr(owner, name, counted(owner, name))
    try:
        run(plan, inputs)
    finally:
        for (owner, name), original in originals.items():
            setattr(owner, name, original)
    return calls


_STAGES = ((Channel, "judge"), (Channel, "_look_at_window"), (Watch, "_settle"))


def ns_each(work: Callable[[], object], count: int) -> float:
    """Return the least time of one of `count` steps (ns)."""
    return best_s(work) / count * 1e9


def print_shares(plan: Plan, inputs: list[Input], whole_s: float) -> None:
    """Print what each stage of a reading's path costs, and its share of the whole."""
    steady = readings_of(plan, STEADY_S, faults=False)
    end_ns = steady[-1].arrived_ns
    watch = worn(plan)
    drive(steady, end_ns, watch, lambda events: None)
    temperature = [reading(end_ns, Signal.ELEMENT_TEMPERATURE_C, 21.0)] * 20_000
    air = [reading(end_ns, air_signal(plan), NORMAL_PA)] * 20_000
    percent = watch.channels[Signal.AIR_PERCENT_OF_BASELINE]

    def feed_all(items: list[Input]) -> None:
        drive(items, end_ns, watch, lambda events: None)
        watch.carryover()  # Takes what was put aside.

    other_ns = ns_each(lambda: feed_all(temperature), len(temperature))
    air_ns = ns_each(lambda: feed_all(air), len(air))
    judge_ns = ns_each(lambda: [percent.judge(end_ns, 100.0, end_ns) for _ in range(5_000)], 5_000)
    settle_ns = ns_each(lambda: [watch._settle(end_ns) for _ in range(2_000)], 2_000)
    calls = calls_of(plan, inputs)
    airs = sum(item.signal is air_signal(plan) for item in inputs)  # type: ignore[union-attr]
    parts = {
        "pressure": (air_ns, airs),
        "other signals": (other_ns, len(inputs) - airs),
        "judging": (judge_ns, calls["judge"]),
        "settling": (settle_ns, calls["_settle"]),
    }
    known_s = 0.0
    for name, (each_ns, count) in parts.items():
        part_s = each_ns * count / 1e9
        known_s += part_s
        print(f"    {name:13} {each_ns:7.0f} ns × {count:7} = {part_s / whole_s:4.0%}")
    rest_s = whole_s - known_s
    print(f"    windows, rest {calls['_look_at_window']:12} windows = {rest_s / whole_s:4.0%}")


def print_rates(plan: Plan, minutes: int) -> None:
    """Print rates with and without the guard, and the shares."""
    inputs = readings_of(plan, 60 * minutes)
    guarded_s = best_s(lambda: run(plan, inputs))
    unguarded_s = without_guards(lambda: run(plan, inputs))
    print(
        f"{plan.arrangement}: {len(plan.rules)} rules, {len(inputs)} readings, "
        f"{len(run(plan, inputs))} events"
    )
    print(f"  feed, a fault now and then: {len(inputs) / guarded_s:,.0f} readings/s")
    usual = readings_of(plan, 60 * minutes, faults=False)
    usual_s = best_s(lambda: run(plan, usual))
    print(f"  feed, ordinary use without faults: {len(usual) / usual_s:,.0f} readings/s")
    print(f"  without guard intervals: {len(inputs) / unguarded_s:,.0f} readings/s")
    print_shares(plan, inputs, guarded_s)


def print_slow_rules(plan: Plan, minutes: int) -> None:
    """Print the rate with `drift` and `heading` beside the default rules, twice each."""
    inputs = readings_of(plan, 60 * minutes)
    taken_s = best_s(lambda: run(plan, inputs))
    print(
        f"  with {len(plan.rules)} rules, slow losses too: {len(inputs) / taken_s:,.0f} readings/s"
    )


def print_memory(plan: Plan) -> None:
    """Print what a Watch holds after each quarter of a simulated year of sparse inputs."""
    watch = worn(plan)
    held = []
    tracemalloc.start()
    for second in range(SPARSE_S, YEAR_S + 1, SPARSE_S):
        at_ns = second * SECOND_NS
        low = second % (5 * SPARSE_S) == 0
        watch.feed(reading(at_ns, air_signal(plan), 1.0 if low else NORMAL_PA))
        watch.feed(reading(at_ns, Signal.SPO2_PERCENT, 97.0))
        watch.feed(Fact(at_ns, "storage_failed", low, f"disk {second % 7}"))
        watch.feed(Contact(at_ns, "answer", ContactState.CLOSED))
        watch.feed(Contact(at_ns, "answer", ContactState.OPEN))
        if second % (YEAR_S // 4) < SPARSE_S:
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0] / 1024)
    tracemalloc.stop()
    print(f"{plan.arrangement}: {watch.journal.n} transitions in a simulated year; held after")
    print("  each quarter: " + ", ".join(f"{kib:.0f} KiB" for kib in held))


def main() -> None:
    """Print everything for both arrangements."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    for arrangement in Arrangement:
        print_rates(default_plan(arrangement), minutes)
        print_slow_rules(full_plan(arrangement), minutes)
    for arrangement in Arrangement:
        print_memory(full_plan(arrangement))


if __name__ == "__main__":
    main()
