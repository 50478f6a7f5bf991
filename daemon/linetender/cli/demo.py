"""The verb `demo`: ninety simulated seconds of a station and its wearer, no hardware needed."""

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console

from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.exit_codes import ExitCode
from linetender.cli.live_view import LiveView
from linetender.cli.speed import finite
from linetender.cli.spoken import spoken_line
from linetender.core.events import DemandChanged, Event, Sound
from linetender.core.inputs import By, Verb
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Plan
from linetender.core.snapshot import Snapshot
from linetender.recording.writer import RecordingWriter
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.live_station import Listener, LiveStation, Surroundings
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.demo_scenario import DEMO_SCRIPT, FAN_STOPS_S
from linetender.simulation.devices import Rig
from linetender.simulation.hands import play
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

DEMO_BOOT = "demo"


@dataclass
class Outcome:
    """What a demo came to.

    Attributes:
        events: Number of events.
        leave_ns: When LEAVE was first demanded, or None.
        sound_ns: When the sounder's pin first rose after that, or None.
    """

    events: int = 0
    leave_ns: int | None = None
    sound_ns: int | None = None

    def note(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Count events and mark the first LEAVE."""
        self.events += len(events)
        for event in events:
            is_leave = isinstance(event, DemandChanged) and event.demand.sound is Sound.HIGH
            if is_leave and self.leave_ns is None:
                self.leave_ns = event.due_ns

    @property
    def seconds_to_sound(self) -> float | None:
        """From the fan's failure to the sound on the pin (s)."""
        if self.sound_ns is None:
            return None
        return to_seconds(self.sound_ns - from_seconds(FAN_STOPS_S))


def demo(
    headless: Annotated[
        bool, typer.Option("--headless", help="One line per event instead of the live view.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="JSON lines, one per event, and a summary.")
    ] = False,
    speed: Annotated[
        float,
        typer.Option(
            min=0.0, callback=finite, help="Simulated seconds per second; 0 = no waiting."
        ),
    ] = 1.0,
    record: Annotated[
        Path | None, typer.Option("--record", metavar="FILE", help="Record the session.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Of the simulated noise.")] = 1,
) -> None:
    """Watch a simulated station and wearer for 90 s; the fan fails on the way.

    Everything is invented but the watching itself: real drivers decode the bytes of
    simulated chips, and the alarms are those of a real station.

    Example: linetender demo --headless --speed 0 --record session.jsonl
    """
    station = load_station(shipped("config/demo.toml"))
    outcome = Outcome()
    with ExitStack() as stack:
        show = _display(station.plan, stack, headless=headless, as_json=as_json)
        recorder = None if record is None else RecordingWriter(record, waits=True)
        run_virtual(_play(station, seed, recorder, (outcome.note, show), outcome), speed)
    fault = recorder.fault if recorder else None
    _summarise(outcome, None if fault else record, as_json=as_json)
    if fault:
        typer.echo(fault, err=True)
        raise typer.Exit(ExitCode.BAD_FILE)
    if outcome.seconds_to_sound is None:
        raise typer.Exit(ExitCode.FAULT)


async def _play(
    station: Station,
    seed: int,
    recorder: RecordingWriter | None,
    listeners: tuple[Listener, ...],
    outcome: Outcome,
) -> None:
    clock = VirtualClock()
    machine = SimulatedMachine(clock)
    rig = Rig(World(seed), machine)
    around = Surroundings(
        machine, clock, demo_wall_clock, DEMO_BOOT, recorder=recorder, listeners=listeners
    )
    live = LiveStation(station, around)
    hands = play(DEMO_SCRIPT, rig, lambda order: live.command(Verb(order.value), By.WEARER))
    await live.run(hands)
    outcome.sound_ns = _first_sound_ns(machine, _buzzer_gpio(station), outcome.leave_ns)


def _buzzer_gpio(station: Station) -> int:
    buzzer = next(device for device in station.devices if device.output == "buzzer")
    gpio: int = buzzer.options.model_dump()["gpio"]
    return gpio


def _first_sound_ns(machine: SimulatedMachine, gpio: int, from_ns: int | None) -> int | None:
    if from_ns is None:
        return None
    edges = machine.simulated_pins.edges
    return next((e.at_ns for e in edges if e.gpio == gpio and e.high and e.at_ns >= from_ns), None)


def _display(plan: Plan, stack: ExitStack, *, headless: bool, as_json: bool) -> Listener:
    if as_json:
        return lambda events, _: _print_json(events)
    if headless:
        return lambda events, _: _print_lines(events, plan)
    console = Console()
    if not console.is_terminal:
        return lambda events, _: _print_lines(events, plan)
    view = stack.enter_context(LiveView(plan, console, "linetender demo: an invented station"))
    return view.show


def _print_json(events: tuple[Event, ...]) -> None:
    for event in events:
        typer.echo(msgspec.json.encode(event))


def _print_lines(events: tuple[Event, ...], plan: Plan) -> None:
    for event in events:
        line = spoken_line(event, plan)
        if line is not None:
            typer.echo(line)


def _summarise(outcome: Outcome, record: Path | None, *, as_json: bool) -> None:
    seconds = outcome.seconds_to_sound
    if as_json:
        summary = {"is": "summary", "events": outcome.events, "seconds_to_sound": seconds}
        typer.echo(msgspec.json.encode(summary))
        return
    typer.echo()
    if seconds is None:
        typer.echo("The fan failed and no LEAVE sounded: something is wrong with this program.")
    else:
        typer.echo(f"The fan failed at {FAN_STOPS_S:.0f} s; LEAVE sounded {seconds:.1f} s later.")
    typer.echo()
    for caution in CAUTIONS:
        typer.echo(f"• {caution.short}")
    typer.echo()
    if record is None:
        typer.echo("Record it, and replay the recording to the nanosecond:")
        typer.echo("  linetender demo --record session.jsonl")
        typer.echo("  linetender replay session.jsonl")
    else:
        typer.echo(f"Replay it to the nanosecond:  linetender replay {record}")
