"""From a reading to the buzzer's pin, in process. Prints; asserts no time.

    python tests/benchmarks/pin_latency.py [ROUNDS]

The live station runs on the real clock, with recording and kept state on the disk. A
sensor gives 200 readings a second; every fifth is a drop of pressure to one of 25 levels,
each with a rule of its own that raises HIGH without delay; the next reading clears it.
(One rule alone would be held as chattering.) Measured from the driver handing over
the drop to the write on the pin: without a broker, and with one that accepts the
connection and then takes nothing and answers nothing, with the outbox at work.

One thing differs from a real station: the buzzer follows the alarm and plays no
pattern, so that a new alarm can be timed 40 times a second.
Yardstick: p99 under 1 ms with the broker black-holed.
"""

import asyncio
import statistics
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

import msgspec

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.annunciation.patterns import Edge
from linetender.annunciation.topics import Topics
from linetender.core.events import Demand, Sound
from linetender.core.plan import Above, AllOf, Below, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.recording.writer import RecordingWriter
from linetender.runtime import outputs
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.carryover_file import CarryoverKeeper
from linetender.runtime.clock import MonotonicClock, read_wall_clock
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.runtime.outbox import Outbox
from linetender.runtime.telling import Teller
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.settings.station_file import BrokerSettings
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import DriverSpec
from linetender_drivers.simulated.machine import SimulatedMachine
from scripted_broker import ScriptedBroker

RUN = "00000000"
READINGS_PER_S = 200
DROP_EVERY = 5
RULES = 25
DROPS = 2 * RULES
"""In a round: each rule raises twice, and is not yet taken for chattering."""


class Sampler:
    """The sensor; notes when it hands over a drop."""

    read_deadline_s = 2.0

    def __init__(self, clock: MonotonicClock) -> None:
        self.drops_ns: list[int] = []
        self._clock = clock
        self._count = 0
        self._due_ns = 0

    async def open(self) -> None:
        self._due_ns = self._clock.now_ns()

    async def read(self) -> tuple[Measurement, ...]:
        self._due_ns += 1_000_000_000 // READINGS_PER_S
        await self._clock.sleep_until_ns(self._due_ns)
        self._count += 1
        drop, rest = divmod(self._count, DROP_EVERY)
        if rest or drop > DROPS:
            return (Measurement("hood_pressure_pa", 60.0 + self._count % 7),)
        self.drops_ns.append(self._clock.now_ns())
        return (Measurement("hood_pressure_pa", drop % RULES + 0.5),)

    async def close(self) -> None:
        pass


class Pin:
    """The buzzer; notes when it rises."""

    def __init__(self, clock: MonotonicClock) -> None:
        self.rises_ns: list[int] = []
        self._clock = clock

    async def open(self) -> None:
        pass

    def write(self, on: bool) -> None:
        if on:
            self.rises_ns.append(self._clock.now_ns())

    async def close(self) -> None:
        pass


class FollowsTheAlarm:
    """A schedule without a pattern: on while anything sounds."""

    def __init__(self) -> None:
        self._edge: Edge | None = None
        self._on = False

    def demand(self, demand: Demand, now_ns: int) -> None:
        self._edge = Edge(now_ns, demand.sound is not Sound.SILENT)

    def next_edge(self) -> Edge | None:
        return self._edge

    def take(self, now_ns: int) -> bool:
        if self._edge is not None:
            self._on, self._edge = self._edge.on, None
        return self._on


def bench_station(sampler: Sampler, pin: Pin) -> Station:
    """Return the demo's station with this sensor, this buzzer, and its rules for drops."""
    station = load_station(shipped("config/demo.toml"))
    drops = tuple(
        RulePlan(
            id=f"drop_{level}",
            condition=AllOf(
                (
                    Below(Signal.HOOD_PRESSURE_PA, level + 0.75),
                    Above(Signal.HOOD_PRESSURE_PA, level + 0.25),
                )
            ),
            priority=Priority.HIGH,
            on_delay_ns=0,
            off_delay_ns=0,
            stages=tuple(Stage),
            say="The pressure dropped.",
        )
        for level in range(RULES)
    )
    plan = msgspec.structs.replace(station.plan, rules=(*station.plan.rules, *drops))
    opened = {"air": sampler, "buzzer": pin}
    devices = tuple(
        replace(device, spec=_spec(device.spec, opened[device.name]))
        for device in station.devices
        if device.name in opened
    )
    return replace(station, plan=plan, devices=devices)


def _spec(spec: DriverSpec, opened: object) -> DriverSpec:
    class Given(DriverSpec):
        def opener(self):  # type: ignore[no-untyped-def]
            return lambda *_: opened

    return Given(spec.kind, spec.options, spec.provides, spec.open)


def round_ms(folder: Path, link: BrokerLink | None) -> list[float]:
    """Run the station for one round; return the latency of each drop (ms)."""
    clock = MonotonicClock()
    sampler, pin = Sampler(clock), Pin(clock)
    station = bench_station(sampler, pin)
    folder.mkdir()
    keeper = _keeper(folder, station, link)
    around = Surroundings(
        SimulatedMachine(clock),
        clock,
        read_wall_clock,
        "bench",
        recorder=RecordingWriter(folder / "s.jsonl"),
        teller=Teller(station.plan, RUN, link.publish, tells_events=False) if link else None,
        keeper=keeper,
    )

    async def run() -> None:
        live = LiveStation(station, around)
        round_s = (DROPS + 2) * DROP_EVERY / READINGS_PER_S
        asyncio.get_running_loop().call_later(round_s, live.stop)
        await live.run()

    asyncio.run(run())
    keeper.close()
    both = zip(sampler.drops_ns, pin.rises_ns, strict=True)
    return [(rise_ns - drop_ns) / 1e6 for drop_ns, rise_ns in both]


def _keeper(folder: Path, station: Station, link: BrokerLink | None) -> CarryoverKeeper | Outbox:
    """Return what keeps the state: with a broker, the outbox, which tells events from the disk."""
    if link is None:
        return CarryoverKeeper(folder, "bench")
    outbox = Outbox(
        folder,
        Topics(station.plan.station).event,
        RUN,
        "bench",
        link.publish,
        lambda: link.state().connected,
        read_wall_clock,
    )
    outbox.start()
    return outbox


def rounds_ms(rounds: int, folder: Path, link: BrokerLink | None) -> list[float]:
    """Return the latencies of some rounds (ms), sorted."""
    folder.mkdir()
    return sorted(ms for n in range(rounds) for ms in round_ms(folder / str(n), link))


def said(name: str, ms: list[float]) -> float:
    """Print the figures of sorted latencies (ms); return their p99."""
    p99 = ms[int(len(ms) * 0.99)]
    print(
        f"{name}: {len(ms)} alarms, reading to pin p50 {statistics.median(ms):.3f} ms, "
        f"p99 {p99:.3f} ms, longest {ms[-1]:.3f} ms"
    )
    return p99


def main() -> None:
    """Measure both, print figures and their ratio."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    outputs.schedule_for = lambda *_: FollowsTheAlarm()
    with tempfile.TemporaryDirectory() as folder, ScriptedBroker() as broker:
        without = said("no broker", rounds_ms(rounds, Path(folder) / "without", None))
        threading.Thread(target=broker.accept, daemon=True).start()
        settings = BrokerSettings(host="127.0.0.1", port=broker.port)
        link = BrokerLink(settings, "bench", MonotonicClock())
        link.start()
        with_it = said("black hole", rounds_ms(rounds, Path(folder) / "with", link))
        state = link.state()
        print(f"messages the black hole left waiting: {state.waiting + state.unconfirmed}")
        link.stop(0.1)
    print(f"p99 with the black hole over p99 without: {with_it / without:.2f}")


if __name__ == "__main__":
    main()
