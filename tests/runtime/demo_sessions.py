"""Whole sessions of the demo station in virtual time, with faults where a test puts them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Verb
from linetender.core.instants import to_seconds
from linetender.core.snapshot import Snapshot
from linetender.recording.writer import RecordingWriter
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.live_station import Listener, LiveStation, Surroundings
from linetender.runtime.supervisor import BY_RADIO
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.devices import Rig
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

S = 1_000_000_000
BUZZER_GPIO, GREEN_GPIO, RED_GPIO = 22, 23, 24
WORN_S = 10.0


@cache
def demo_station() -> Station:
    return load_station(shipped("config/demo.toml"))


class Hand:
    """What a test's script can reach: the world with its devices, and the station."""

    def __init__(self, rig: Rig, live: LiveStation) -> None:
        self.rig = rig
        self.live = live

    @property
    def now_ns(self) -> int:
        return self.rig.machine.clock.now_ns()

    def fan_start(self) -> None:
        self.rig.world.fan_start(self.now_ns)

    def fan_stop(self) -> None:
        self.rig.world.fan_stop(self.now_ns)

    def start(self) -> None:
        self.rig.world.hood_on(self.now_ns)
        self.live.command(Verb.START, By.WEARER)

    def command(self, verb: Verb) -> None:
        self.live.command(verb, By.WEARER)


Deed = tuple[float, Callable[[Hand], None]]

ORDINARY: tuple[Deed, ...] = ((0.0, Hand.fan_start), (WORN_S, Hand.start))
"""The fan starts, the hood goes on."""


@dataclass
class Played:
    """What a session came to.

    Attributes:
        events: All of them.
        snapshots: One a second.
        edges: Of all pins.
        machine: As it was left.
        live: As it was left.
    """

    machine: SimulatedMachine
    live: LiveStation
    events: list[Event] = field(default_factory=list)
    snapshots: list[Snapshot] = field(default_factory=list)

    def listen(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Take what the station tells its listeners."""
        self.events += events
        if not events:
            self.snapshots.append(snapshot)

    @property
    def edges(self) -> list[OutputEdge]:
        return self.machine.simulated_pins.edges

    def alarms(self) -> list[tuple[str, str, float]]:
        """Return rule, new state and instant (s, to a tenth) of each transition."""
        return [
            (event.rule, event.after.value, round(to_seconds(event.due_ns), 1))
            for event in self.events
            if isinstance(event, AlarmChanged)
        ]

    def sounded_s(self, from_s: float) -> float | None:
        """Return when the buzzer's pin first rose from an instant on (s)."""
        return next(
            (
                to_seconds(edge.at_ns)
                for edge in self.edges
                if edge.gpio == BUZZER_GPIO and edge.high and edge.at_ns >= from_s * S
            ),
            None,
        )


def play(
    deeds: Sequence[Deed],
    end_s: float,
    *,
    record: Path | None = None,
    prepare: Callable[[Rig], None] = lambda _: None,
    carryover: Carryover | None = None,
    into: list[Played] | None = None,
    also: Sequence[Listener] = (),
    **around: Any,
) -> Played:
    """Run the live station of the demo while a script acts on it.

    Args:
        deeds: Instant (s) and deed, in order.
        end_s: When it ends.
        record: Where it is recorded.
        prepare: Called with the rig before anything is opened.
        carryover, into: What a run before left; what receives this one before it begins.
        also, around: Further listeners and surroundings.
    """

    async def run() -> Played:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        rig = Rig(World(1), machine)
        prepare(rig)
        if record is not None:
            around["recorder"] = RecordingWriter(record, waits=True)
        listeners: list[Listener] = [*also]
        on = Surroundings(machine, clock, demo_wall_clock, "test", listeners=listeners, **around)
        live = LiveStation(demo_station(), on, carryover)
        played = Played(machine, live)
        listeners.append(played.listen)
        (into if into is not None else []).append(played)
        await live.run(_act(deeds, end_s, Hand(rig, live)))
        assert end_s * S <= clock.now_ns() <= (end_s + BY_RADIO.close_s) * S
        return played

    return run_virtual(run())


async def _act(deeds: Sequence[Deed], end_s: float, hand: Hand) -> None:
    for at_s, deed in deeds:
        await hand.rig.machine.clock.sleep(at_s - hand.now_ns / S)
        deed(hand)
    await hand.rig.machine.clock.sleep(end_s - hand.now_ns / S)
