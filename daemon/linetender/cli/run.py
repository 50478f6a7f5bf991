"""The verb `run`: the daemon."""

import asyncio
import faulthandler
import logging
import secrets
import signal
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Annotated

import typer

from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.line_thread import LineHandler, LineThread
from linetender.cli.recalling import recall_for
from linetender.cli.run_recording import recorder_of, upkeep_of
from linetender.cli.run_telling import Telling, checked_of, outbox_of, telling_of
from linetender.cli.scenario_play import scenario_named
from linetender.cli.served_station import boot_of, open_world, state_given, wall_of, world_folder
from linetender.cli.speed import finite
from linetender.cli.spoken import Spoken
from linetender.cli.state_folder import state_folder
from linetender.core.carryover import Carryover
from linetender.core.events import Event
from linetender.core.inputs import By, Verb
from linetender.core.session import blind_words
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.recording.upkeep import Upkeep
from linetender.recording.writer import RecordingWriter
from linetender.runtime.boot import Boot
from linetender.runtime.carryover_file import CarryoverKeeper, load_carryover
from linetender.runtime.clock import MonotonicClock, StationClock, WallClock, read_wall_clock
from linetender.runtime.control_socket import ControlSocket
from linetender.runtime.filter_ledger import FilterKeeper, FilterLedger, filter_keeper_of
from linetender.runtime.idle_shown import IdleShown
from linetender.runtime.link_state import LinkState
from linetender.runtime.live_station import Listener, LiveStation, Surroundings
from linetender.runtime.outbox import Outbox
from linetender.runtime.service_manager import service_manager
from linetender.runtime.session_index import SessionIndex
from linetender.runtime.session_tally import SessionTally
from linetender.runtime.single_run import SingleRun, runtime_folder
from linetender.runtime.siren_hold import take_siren_over
from linetender.runtime.telling import Teller
from linetender.settings.load import load_station
from linetender.settings.station import Station, accepted
from linetender.simulation.devices import Rig
from linetender.simulation.hands import play
from linetender.simulation.scenario import Scenario
from linetender.simulation.script import PowerCut
from linetender.simulation.world import World
from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.contracts import Machine
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.served_time import RealContact, ServedWorld
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

CONTROL_S = 10.0
"""So long a served world's time stands still for a question of somebody at the local socket."""

BROKER_S = 60.0
"""And, in all, for what is under way between station and broker (real seconds)."""

SERVED_SEED = 1
"""Of what is drawn by chance in a served world."""


@dataclass
class Session:
    """What one run is made of, besides the station itself.

    Attributes:
        station: The station file.
        lines: Where lines for people go.
        boot: In which it runs, hashed.
        recorder: Where the session is recorded, or None.
        telling: The way to the broker, or None.
        keeper: Of the core's state, or None.
        outbox: Of events for the broker; it keeps the core's state as well. Or None.
        carryover: What the run before left, or None.
        upkeep: Of the folder of recordings, or None.
        control: The local socket.
        shown: Who shows what happens.
        index: Of uses and checks, or None.
        filter: Keeps the filter's hours, or None.
        wall: The time of day.
    """

    station: Station
    lines: LineThread
    boot: str
    recorder: RecordingWriter | None = None
    telling: Telling | None = None
    keeper: CarryoverKeeper | None = None
    outbox: Outbox | None = None
    carryover: Carryover | None = None
    upkeep: Upkeep | None = None
    index: SessionIndex | None = None
    filter: FilterKeeper | None = None
    wall: WallClock = read_wall_clock
    control: ControlSocket = field(init=False)
    shown: IdleShown = field(init=False)
    run_id: str = field(default_factory=lambda: secrets.token_hex(4))
    _ledger: FilterLedger | None = None
    _spoken: Spoken = field(init=False)

    def __post_init__(self) -> None:
        """Prepare what people at the computer talk to the daemon by."""
        plan = self.station.plan
        folder = runtime_folder(plan.station)
        self.control = ControlSocket(folder, plan.station, Spoken(plan).line)
        self._spoken = Spoken(plan)

    def surroundings(self, machine: Machine, clock: StationClock, *, is_real: bool) -> Surroundings:
        """Return what the live station runs on."""
        telling, outbox, teller = self.telling, self.outbox, None
        if telling is not None:
            teller = Teller(
                self.station.plan,
                self.run_id,
                telling.link.publish,
                tells_events=outbox is None,
                is_connected=telling.is_connected,
            )
        checked = checked_of(telling, outbox, self.recorder, clock)
        if self.filter is not None:
            checked = replace(checked, filter_due=self.filter.due)
        return Surroundings(
            machine,
            clock,
            read_wall_clock,
            self.boot,
            recorder=self.recorder,
            teller=teller,
            incoming=None if telling is None else telling.incoming,
            guard=None if telling is None else telling.guard,
            keeper=self.keeper if outbox is None else outbox,
            checked=checked,
            broker_connected=None if telling is None else telling.is_connected,
            minds_time_of_day=is_real,
            listeners=(self._shown(clock).tell, *self._tallies()),
            manager=service_manager(),
            proofs=self.index,
        )

    def _shown(self, clock: StationClock) -> IdleShown:
        """Return who shows what happens, here and at the local socket."""
        telling = self.telling
        is_told = (lambda: True) if telling is None else telling.is_told
        self.shown = IdleShown((self._print, self.control.tell), is_told, clock)
        return self.shown

    def _tallies(self) -> tuple[Listener, ...]:
        """Return who counts what becomes of a use, and says it at its end."""
        index = self.index
        recording = "" if self.recorder is None else self.recorder.path.name
        open_use = None if index is None else index.open_use
        tally = SessionTally(index, read_wall_clock, recording, open_use)

        def tell(events: tuple[Event, ...], snapshot: Snapshot) -> None:
            for line in tally.tell(events, snapshot):
                self.lines.put(line)

        if self.filter is None:
            return (tell,)
        self._ledger = FilterLedger(self.station.plan.air, lambda: self.wall(), self.filter.keep)
        return (tell, self._ledger.tell)

    def close(self) -> None:
        """Bring to an end what has threads of its own; outputs are safe by now."""
        if self.telling is not None:
            self.telling.link.stop()
        if self._ledger is not None:
            self._ledger.close()
        for keeper in (self.outbox, self.keeper, self.index, self.filter):
            if keeper is not None:
                keeper.close()
        if self.upkeep is not None:
            self.upkeep.close()

    def _print(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        for event in events:
            line = self._spoken.line(event)
            if line is not None:
                self.lines.put(line)


def run(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The station file.")],
    simulate: Annotated[
        str | None,
        typer.Option("--simulate", metavar="NAME", help="Play a scenario on simulated devices."),
    ] = None,
    speed: Annotated[
        float,
        typer.Option(metavar="TIMES", min=0.01, callback=finite, help="With --simulate: how fast."),
    ] = 1.0,
    record: Annotated[
        Path | None, typer.Option("--record", metavar="FILE", help="Record the session here.")
    ] = None,
    state: Annotated[
        Path | None,
        typer.Option("--state", metavar="FOLDER", help="Keep what outlives a restart here."),
    ] = None,
) -> None:
    """Watch a station until Ctrl-C, SIGTERM or SIGHUP; outputs are left safe.

    Exit status: 0 stopped, 2 usage, 3 bad file, 4 a device is missing or another than the
    file says, 5 another linetender watches this station.

    Example: linetender run station.toml
    """
    state = state_given(state, file)
    station = load_station(file, recall=recall_for(state, is_simulation=simulate is not None))
    scenario = _scenario(simulate, station)
    with ExitStack() as stack:
        lines = lines_of(stack)
        stack.enter_context(SingleRun(station.plan.station))
        faulthandler.enable()  # a watchdog's SIGABRT then says where it hung
        folder = _state_folder(state, simulate, station)
        world = _world(station)
        session = _session(station, lines, record, folder, boot_of(world))
        stack.callback(session.close)
        _watch(session, scenario, speed, world)


def _world(station: Station) -> ServedWorld | None:
    """Take a place in the world that the station's devices are served from, if they are."""
    given = world_folder(station.path, station.devices)
    if given is None:
        return None
    return open_world(station.path, given, f"run {station.plan.station}")


def _watch(
    session: Session, scenario: Scenario | None, speed: float, world: ServedWorld | None
) -> None:
    for caution in CAUTIONS:
        session.lines.put(f"• {caution.short}")
    for line in accepted(session.station):
        session.lines.put(line)
    for line in session.station.expired:
        session.lines.put(f"LOOK  {line}")
    if session.telling is not None:
        session.telling.link.start()
    if session.outbox is not None:
        session.outbox.start()
    if world is not None:
        world.run(_run_served(session, world), _contacts(session))
    elif scenario is None:
        asyncio.run(_run_real(session))
    else:
        run_virtual(_run_simulated(session, scenario), speed)
    session.lines.put("Stopped. Nothing is being watched now.")


def lines_of(stack: ExitStack) -> LineThread:
    """Return where lines for people go; what is logged goes to stderr in the same way."""
    said, logged = LineThread(1), LineThread(2)
    stack.callback(logged.close)
    stack.callback(said.close)
    logging.basicConfig(
        format="%(message)s", level=logging.WARNING, handlers=[LineHandler(logged)], force=True
    )
    return said


def _scenario(name: str | None, station: Station) -> Scenario | None:
    simulated = {device.name for device in station.devices if device.options.is_simulated}
    if name is None:
        if simulated and world_folder(station.path, station.devices) is None:
            raise typer.BadParameter(
                f"{station.path} names simulated devices ({', '.join(sorted(simulated))}); "
                "add --simulate demo, or name real ones"
            )
        return None
    scenario = scenario_named(name)
    real = [device.name for device in station.devices if device.name not in simulated]
    if real:
        raise typer.BadParameter(
            f"{station.path} names real devices ({', '.join(real)}), and a simulation must not "
            "be taken for watching; take a station file whose devices are all simulated"
        )
    if any(isinstance(step.action, PowerCut) for step in scenario.script.steps):
        raise typer.BadParameter(f"{name!r} cuts the box's power; only `linetender demo` plays it")
    return scenario


def _state_folder(given: Path | None, simulate: str | None, station: Station) -> Path | None:
    """Where state is kept; a simulation asks."""
    if given is None and simulate is not None:
        return None
    return state_folder(given, station.plan.station)


def _session(
    station: Station, lines: LineThread, record: Path | None, folder: Path | None, boot: Boot
) -> Session:
    session = Session(station, lines, boot.name)
    if station.broker is not None:
        telling = session.telling = telling_of(station, station.broker)
        session.control.broker = telling.view
    if folder is not None:
        session.carryover = load_carryover(folder, boot.name, station.plan, boot.machine_ns)
        session.index = SessionIndex(folder)
        session.filter = filter_keeper_of(station, folder, lambda: session.wall())
        if session.filter is not None:
            session.control.filter_due = session.filter.due
            session.control.until_known = session.filter.until_looked
        if session.telling is not None:
            session.outbox = outbox_of(station, session.telling, folder, session.run_id, boot)
        else:
            session.keeper = CarryoverKeeper(folder, boot.name, station.plan.air, boot.machine_ns)
    # Last, so that nothing above leaves an empty recording behind when it fails.
    session.recorder = recorder_of(station, record)
    session.upkeep = upkeep_of(station, session.recorder)
    if session.upkeep is not None:
        session.upkeep.start()
    return session


async def _run_real(session: Session) -> None:
    clock = MonotonicClock()
    machine = RealMachine(clock)
    try:
        around = session.surroundings(machine, clock, is_real=True)
        live = LiveStation(session.station, around, session.carryover)
        _stop_on_signals(live)
        _say_resumption(live, session)
        take_siren_over(runtime_folder(session.station.plan.station))
        session.control.until_ended = lambda: session.shown.until_shown(live.snapshot)
        async with session.control.serving(live):
            await live.run()
    finally:
        machine.close()


async def _run_served(session: Session, world: ServedWorld) -> None:
    session.wall = lambda: wall_of(world)
    around = session.surroundings(world.machine, world.clock, is_real=False)
    # The same each time: a script shall find the same day again.
    drawn = Random(SERVED_SEED).randint
    around = replace(around, wall=lambda: wall_of(world), draw=drawn)
    live = LiveStation(session.station, around, session.carryover)
    _stop_on_signals(live)
    _say_resumption(live, session)
    session.control.pace_s = 0.0  # simulated time may stand still
    async with session.control.serving(live):
        await live.run()


def _contacts(session: Session) -> list[RealContact]:
    """Return what is real about a station in a served world."""
    contacts = [RealContact(lambda: session.control.is_asked, CONTROL_S, anew=True)]
    telling = session.telling
    if telling is not None:
        link = telling.link
        contacts.append(RealContact(lambda: _is_busy(link.state()), BROKER_S, anew=False))
    return contacts


def _is_busy(link: LinkState) -> bool:
    return not link.connected or link.waiting > 0 or link.unconfirmed > 0


async def _run_simulated(session: Session, scenario: Scenario) -> None:
    clock = VirtualClock()
    machine = SimulatedMachine(clock)
    rig = Rig(World(seed=1, figures=scenario.figures), machine)
    around = session.surroundings(machine, clock, is_real=False)
    live = LiveStation(session.station, around, session.carryover)
    _stop_on_signals(live)
    hands = play(scenario.script, rig, lambda order: live.command(Verb(order.value), By.WEARER))
    async with session.control.serving(live):
        await live.run(hands)


def _stop_on_signals(live: LiveStation) -> None:
    loop = asyncio.get_running_loop()
    # SIGHUP: the terminal was closed. The pins would stay as they are.
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, live.stop)


def _say_resumption(live: LiveStation, session: Session) -> None:
    carryover = session.carryover
    if carryover is None or live.watch.snapshot().stage is Stage.IDLE:
        return
    how_long = blind_words(carryover.blind_ns)
    stage = live.watch.snapshot().stage.value
    session.lines.put(f"Resuming {stage}: the station was blind for {how_long}.")
