"""Plays a scenario on its station in virtual time: simulated devices, real drivers, real core."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache

import typer

from linetender.core.carryover import Carryover
from linetender.core.events import Event
from linetender.core.inputs import By, Verb
from linetender.core.instants import from_seconds
from linetender.core.snapshot import Snapshot
from linetender.recording.lines import as_recorded
from linetender.recording.writer import RecordingWriter
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.live_station import Listener, LiveStation, Surroundings
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.devices import Rig
from linetender.simulation.hands import play
from linetender.simulation.knobs import Knob
from linetender.simulation.scenario import Scenario, load_scenario
from linetender.simulation.script import Order
from linetender.simulation.truth import Verdict, judge
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

DEMO_BOOT = "demo"
FOLDER = "config/scenarios"
TACHOMETER = "gpio_tachometer"


def drawn_for_script(least: int, greatest: int) -> int:
    """Draw the middle: a script must know when its wearer hears the test sound."""
    return (least + greatest) // 2


def scenario_names() -> tuple[str, ...]:
    """Return the names of the scenarios that come with linetender, in order."""
    return tuple(sorted(path.stem for path in shipped(FOLDER).glob("*.toml")))


class UnknownScenario(typer.BadParameter):
    """No scenario of this name comes with linetender."""

    def __init__(self, name: str) -> None:
        close = get_close_matches(name, scenario_names())
        meant = f" Did you mean {' or '.join(close)}?" if close else ""
        super().__init__(f"no scenario {name!r}.{meant} All of them: linetender demo --list")


def scenario_named(name: str) -> Scenario:
    """Return a scenario that comes with linetender.

    Raises:
        UnknownScenario: there is none of that name.
        StationFileError: its file is not in order.
    """
    if name not in scenario_names():
        raise UnknownScenario(name)
    return load_scenario(shipped(f"{FOLDER}/{name}.toml"))


@cache
def station_of_scenario(name: str) -> Station:
    """Return the station that scenarios of a name are played on."""
    if name == "demo":
        return load_station(shipped("config/demo.toml"))
    return load_station(shipped(f"{FOLDER}/stations/{name}.toml"))


@dataclass
class Play:
    """One run of a scenario.

    Args:
        scenario: What happens.
        seed: Of the simulated noise.
        recorder: Where it is recorded, or None.
        listeners: Called after each change, and once a second with no events.

    Attributes:
        events: Everything that the station said, filled while it runs.
        edges: What the station's outputs did, filled at the end.
    """

    scenario: Scenario
    seed: int = 1
    recorder: RecordingWriter | None = None
    listeners: Sequence[Listener] = ()
    events: list[Event] = field(default_factory=list)
    edges: list[OutputEdge] = field(default_factory=list)

    def run(self, speed: float = 0.0) -> Verdict:
        """Play it; 0 is without waiting.

        Raises:
            ValueError: the script needs hands that its station does not have.
        """
        run_virtual(self._run(), speed)
        return judge(self.scenario, self.events)

    async def _run(self) -> None:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        rig = Rig(World(self.seed, self.scenario.figures), machine, seed=self.seed)
        around = Surroundings(
            machine,
            clock,
            demo_wall_clock,
            DEMO_BOOT,
            recorder=self.recorder,
            broker_connected=lambda: rig.world.value(Knob.BROKER, clock.now_ns()) >= 0.5,
            draw=drawn_for_script,
            listeners=(self._note, *self.listeners),
        )
        power = _Power()
        hands = asyncio.create_task(play(self.scenario.script, rig, power.give, power.cut))
        station = station_of_scenario(self.scenario.station)
        if any(device.driver == TACHOMETER for device in station.devices):
            turning = asyncio.create_task(rig.turn_tachometer())
            hands.add_done_callback(lambda _: turning.cancel())
        hands.add_done_callback(lambda _: power.gone.set())
        carryover: Carryover | None = None
        while not hands.done():
            live = power.live = LiveStation(station, around, carryover)
            power.gone.clear()
            await live.run(power.lasts())
            if not hands.done():
                await clock.sleep(power.blind_s)
                left = live.watch.carryover().after_restart(from_seconds(power.blind_s))
                carryover = as_recorded(left)
        await hands
        self.edges += machine.simulated_pins.edges

    def _note(self, events: tuple[Event, ...], _: Snapshot) -> None:
        self.events += events


class _Power:
    """The box's power, and who stands in it: the station of now."""

    def __init__(self) -> None:
        self.live: LiveStation | None = None
        self.gone = asyncio.Event()
        self.blind_s = 0.0

    async def lasts(self) -> None:
        """Wait until the power is cut, or the scenario is over."""
        await self.gone.wait()

    def cut(self, for_s: float) -> None:
        self.blind_s = for_s
        self.gone.set()

    def give(self, order: Order) -> None:
        if self.live is not None:
            self.live.command(Verb(order.value), By.WEARER)
