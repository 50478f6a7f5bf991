"""The verb `demo`: a simulated station and its wearer, no hardware needed."""

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import msgspec
import typer
from rich.console import Console

from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.exit_codes import ExitCode
from linetender.cli.live_view import LiveView
from linetender.cli.offered_names import offered_scenarios
from linetender.cli.own_name import own_name
from linetender.cli.plain_output import is_plain
from linetender.cli.scenario_play import Play, scenario_named, station_of_scenario
from linetender.cli.scenario_table import list_scenarios, play_all
from linetender.cli.speed import finite
from linetender.cli.spoken import Spoken
from linetender.core.events import DemandChanged, Event, Sound
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.plan import Plan
from linetender.recording.writer import RecordingWriter
from linetender.runtime.live_station import Listener
from linetender.settings.station import Station
from linetender.simulation.scenario import Scenario
from linetender.simulation.script import PowerCut
from linetender.simulation.truth import Verdict
from linetender_drivers.simulated.pins import OutputEdge

DEMO = "demo"

ScenarioName = Annotated[
    str,
    typer.Option(
        "--scenario",
        metavar="NAME",
        help="What happens; see --list.",
        autocompletion=offered_scenarios,
    ),
]

Speed = Annotated[
    float,
    typer.Option(
        metavar="TIMES",
        min=0.0,
        callback=finite,
        help="Simulated seconds per second; 0 = no waiting.",
    ),
]


def demo(
    headless: Annotated[
        bool, typer.Option("--headless", help="One line per event instead of the live view.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="JSON lines, one per event, and a summary.")
    ] = False,
    speed: Speed = 1.0,
    record: Annotated[
        Path | None, typer.Option("--record", metavar="FILE", help="Record the session.")
    ] = None,
    seed: Annotated[
        int, typer.Option("--seed", metavar="NUMBER", help="Of the simulated noise.")
    ] = 1,
    scenario: ScenarioName = DEMO,
    lists: Annotated[bool, typer.Option("--list", help="List the scenarios.")] = False,
    plays_all: Annotated[
        bool, typer.Option("--all", help="Play all of them without waiting, and judge each.")
    ] = False,
) -> None:
    """Play a simulated line and wearer for 90 s; the fan fails on the way.

    All is invented but the watching: real drivers decode the bytes of simulated chips.

    Exit status: 0 what must sound did, 1 it did not, 2 usage, 3 cannot record there.

    Example: linetender demo --headless --speed 0 --record session.jsonl
    """
    if lists:
        list_scenarios(as_json=as_json)
    elif not plays_all:
        play = Play(scenario_named(scenario), seed)
        _play(play, speed, record, headless=headless, as_json=as_json)
    elif not play_all(seed, as_json=as_json):
        raise typer.Exit(ExitCode.FINDINGS)


def _play(play: Play, speed: float, record: Path | None, *, headless: bool, as_json: bool) -> None:
    cuts = any(isinstance(step.action, PowerCut) for step in play.scenario.script.steps)
    if record is not None and cuts:
        raise typer.BadParameter("a scenario that cuts the power cannot be recorded as one session")
    station = station_of_scenario(play.scenario.station)
    with ExitStack() as stack:
        play.listeners = (_display(station.plan, stack, headless=headless, as_json=as_json),)
        recorder = play.recorder = None if record is None else RecordingWriter(record, waits=True)
        verdict = play.run(speed)
    fault = recorder.fault if recorder else None
    seconds = _seconds_to_sound(play, station)
    if as_json:
        _summarise_as_json(play, verdict, seconds)
    else:
        _summarise(verdict, seconds, None if fault else record)
    if fault:
        typer.echo(fault, err=True)
        raise typer.Exit(ExitCode.BAD_FILE)
    if play.scenario.name == DEMO and seconds is None:
        raise typer.Exit(ExitCode.FAULT)
    if verdict.faults:
        raise typer.Exit(ExitCode.FINDINGS)


def _seconds_to_sound(play: Play, station: Station) -> float | None:
    """Return how long after the hazard the sounder's pin first rose for a LEAVE (s), or None."""
    if play.scenario.hazard_s is None:
        return None
    hazard_ns = from_seconds(play.scenario.hazard_s)
    leave_ns = next(
        (
            event.due_ns
            for event in play.events
            if isinstance(event, DemandChanged)
            and event.demand.sound is Sound.HIGH
            and event.due_ns >= hazard_ns
        ),
        None,
    )
    sound_ns = _first_sound_ns(play.edges, _buzzer_gpio(station), leave_ns)
    return None if sound_ns is None else to_seconds(sound_ns - hazard_ns)


def _buzzer_gpio(station: Station) -> int:
    buzzer = next(device for device in station.devices if device.output == "buzzer")
    gpio: int = buzzer.options.model_dump()["gpio"]
    return gpio


def _first_sound_ns(edges: list[OutputEdge], gpio: int, from_ns: int | None) -> int | None:
    if from_ns is None:
        return None
    return next((e.at_ns for e in edges if e.gpio == gpio and e.high and e.at_ns >= from_ns), None)


def _display(plan: Plan, stack: ExitStack, *, headless: bool, as_json: bool) -> Listener:
    if as_json:
        return lambda events, _: _print_json(events)
    spoken = Spoken(plan)
    console = Console()
    if headless or is_plain() or not console.is_terminal:
        return lambda events, _: _print_lines(events, spoken)
    view = stack.enter_context(LiveView(plan, console, "linetender demo: an invented station"))
    return view.show


def _print_json(events: tuple[Event, ...]) -> None:
    for event in events:
        typer.echo(msgspec.json.encode(event))


def _print_lines(events: tuple[Event, ...], spoken: Spoken) -> None:
    for event in events:
        line = spoken.line(event)
        if line is not None:
            typer.echo(line)


def _summarise_as_json(play: Play, verdict: Verdict, seconds: float | None) -> None:
    summary = {
        "is": "summary",
        "events": len(play.events),
        "seconds_to_sound": seconds,
        "scenario": play.scenario.name,
        "faults": verdict.faults,
    }
    typer.echo(msgspec.json.encode(summary))


def _summarise(verdict: Verdict, seconds: float | None, record: Path | None) -> None:
    scenario = verdict.scenario
    typer.echo()
    for line in _outcome(scenario, verdict, seconds):
        typer.echo(line)
    typer.echo()
    for caution in CAUTIONS:
        typer.echo(f"• {caution.short}")
    typer.echo()
    if record is None:
        named = "" if scenario.name == DEMO else f" --scenario {scenario.name}"
        typer.echo("Record it, replay the recording to the nanosecond, and read its report:")
        typer.echo(f"  {own_name()} demo{named} --record session.jsonl")
        typer.echo(f"  {own_name()} replay session.jsonl")
        typer.echo(f"  {own_name()} report session.jsonl")
    else:
        typer.echo(f"Replay it to the nanosecond:  {own_name()} replay {record}")


def _outcome(scenario: Scenario, verdict: Verdict, seconds: float | None) -> list[str]:
    if scenario.name == DEMO:
        if seconds is None:
            return ["The fan failed and no LEAVE sounded: something is wrong with this program."]
        return [
            f"The fan failed at {scenario.hazard_s:.0f} s; LEAVE sounded {seconds:.1f} s later."
        ]
    lines = [f"{scenario.title}."]
    if scenario.hazard is not None:
        lines.append(f"{scenario.hazard}, from {scenario.hazard_s:g} s on.")
    if scenario.unseen is not None:
        lines.append(f"The station cannot see it: {scenario.unseen}.")
    elif verdict.delay_s is not None:
        lines.append(f"The first alarm came {verdict.delay_s:.1f} s later.")
    elif scenario.hazard is None and not verdict.faults:
        lines.append("Nothing was to sound, and nothing did.")
    return lines + [f"Not as it must be: {fault}." for fault in verdict.faults]
