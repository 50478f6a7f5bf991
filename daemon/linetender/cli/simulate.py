"""The verb `simulate`: a simulated world that other verbs share, and a script's hands in it."""

import asyncio
import json
import signal
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

import typer

from linetender.cli.bare_flags import VerbGroup
from linetender.cli.exit_codes import ExitCode
from linetender.cli.offered_names import offered_faults
from linetender.cli.scenario_play import FOLDER, scenario_named, scenario_names
from linetender.cli.simulate_report import fault_lines, world_lines
from linetender.cli.speed import finite
from linetender.runtime.single_run import AlreadyRunning
from linetender.settings.shipped import shipped
from linetender.simulation.gated_time import Gate, GatedLoop
from linetender.simulation.scenario import Scenario, load_scenario
from linetender.simulation.script import PowerCut
from linetender.simulation.world_server import AlreadyServed, WorldServer
from linetender_drivers.simulated.world_link import PATIENCE_S, WorldGone, WorldLink
from linetender_drivers.simulated.world_wire import (
    Answer,
    Fault,
    Hold,
    Look,
    Pass,
    Press,
    Request,
    Stop,
    Turn,
)
from linetender_drivers.simulated_place import served

PRACTICE = f"{FOLDER}/practice"
"""Where the scenarios lie in which nothing happens by itself."""

At = Annotated[
    Path, typer.Option("--at", metavar="DIR", help="The folder that the world is served from.")
]


class _WorldOrHand(VerbGroup):
    """Commands are a script's hands; whatever else comes first is a scenario to serve."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["serve", *args]
        return super().parse_args(ctx, args)


simulate = typer.Typer(
    cls=_WorldOrHand,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    help="""Serve a simulated world that other verbs share: `simulate SCENARIO --at DIR`.

Devices with `bus`, `chip` or `address` = `"simulated:DIR"` are in it, for run, probe and
calibrate alike. The commands below are a script's hands. Time passes only while every
station waits for it. Nothing here watches anybody.

Exit status: 0 done, 1 what was waited for did not come, 2 usage or refused, 3 nothing can be
written there, 4 no world is served there, 5 another one is.

Example: linetender simulate practice --at /tmp/world
""",
)


@simulate.command()
def serve(
    scenario: Annotated[str, typer.Argument(metavar="SCENARIO", help="What happens by itself.")],
    at: At,
    speed: Annotated[
        float,
        typer.Option(
            metavar="TIMES",
            min=0.0,
            callback=finite,
            help="Simulated seconds per second at most; 0 = no waiting.",
        ),
    ] = 0.0,
    seed: Annotated[
        int, typer.Option("--seed", metavar="NUMBER", help="Of the simulated noise.")
    ] = 1,
    held: Annotated[
        bool, typer.Option("--held", help="Let time pass only in `wait` and `press`.")
    ] = False,
) -> None:
    """Serve a world until `simulate stop` or Ctrl-C; `serve` itself may be left out.

    SCENARIO is practice, practice_fan_side, or one of `linetender demo --list`.

    Example: linetender simulate practice --at /tmp/world --speed 1
    """
    chosen = _scenario(scenario)
    gate = Gate(held=held)
    with asyncio.Runner(loop_factory=lambda: GatedLoop(gate, speed)) as runner:
        try:
            runner.run(_serve(chosen, at.absolute(), gate, seed))
        except AlreadyServed as error:
            raise AlreadyRunning(f"{error}. Stop it: linetender simulate stop --at {at}") from error
    typer.echo("Stopped.")


async def _serve(scenario: Scenario, at: Path, gate: Gate, seed: int) -> None:
    server = WorldServer(scenario, at, gate, seed, _say)
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, server.stop)
    place = served(str(at))
    _say(f"{scenario.title}. Invented: nothing here watches anybody.")
    await server.serve(lambda: _say(f'Ready. Stations take bus, chip or address = "{place}"'))


def _say(line: str) -> None:
    print(line, flush=True)  # noqa: T201 - a script reads it at once


def _scenario(name: str) -> Scenario:
    practice = {path.stem: path for path in sorted(shipped(PRACTICE).glob("*.toml"))}
    if name in practice:
        return load_scenario(practice[name])
    if name not in scenario_names():
        known = (*practice, *scenario_names())
        close = " or ".join(get_close_matches(name, known))
        meant = f"Did you mean {close}? " if close else ""
        raise typer.BadParameter(
            f"no scenario or command {name!r}. {meant}There are {', '.join(practice)} and all "
            "of: linetender demo --list"
        )
    scenario = scenario_named(name)
    if any(isinstance(step.action, PowerCut) for step in scenario.script.steps):
        raise typer.BadParameter(f"{name!r} cuts the box's power; only `linetender demo` plays it")
    return scenario


@simulate.command()
def press(
    contact: Annotated[str, typer.Argument(metavar="CONTACT", help="The button: answer.")],
    at: At,
    hold: Annotated[
        float, typer.Option("--hold", min=0.01, max=60.0, help="Hold it so long, s.")
    ] = 0.3,
) -> None:
    """Press a button and let it go; so much time passes.

    Example: linetender simulate press answer --at /tmp/world
    """
    _tell(_asked(at, Press(1, contact, hold), patience_s=None), f"{contact} was pressed")


@simulate.command()
def fault(
    name: Annotated[
        str,
        typer.Argument(metavar="NAME", help="Which; see --list.", autocompletion=offered_faults),
    ] = "",
    at: Annotated[Path | None, typer.Option("--at", metavar="DIR", help="Of the world.")] = None,
    clear: Annotated[
        bool, typer.Option("--clear", help="Mend it; without a NAME, mend all.")
    ] = False,
    list_them: Annotated[bool, typer.Option("--list", help="Say what can go wrong.")] = False,
) -> None:
    """Break something, or mend it.

    Example: linetender simulate fault fan_stop --at /tmp/world
    """
    if list_them:
        for line in fault_lines():
            typer.echo(line)
        return
    if at is None:
        raise typer.BadParameter("--at DIR is missing: where the world is served")
    if not name and not clear:
        raise typer.BadParameter("which fault? see linetender simulate fault --list")
    answer = _asked(at, Fault(1, name, clear))
    _tell(answer, f"{name or 'everything'} {'is mended' if clear else 'is there'}")


@simulate.command()
def turn(
    knob: Annotated[str, typer.Argument(metavar="KNOB", help="As scenarios name it.")],
    to: Annotated[float, typer.Argument(metavar="VALUE", help="In its own unit.")],
    at: At,
    over: Annotated[
        float, typer.Option("--over", min=0.0, max=86_400.0, help="Within so long, s.")
    ] = 0.0,
) -> None:
    """Turn a knob of the world, e.g. `hood` to 1 to put the hood on.

    Example: linetender simulate turn hood 1 --at /tmp/world
    """
    _tell(_asked(at, Turn(1, knob, to, over)), f"{knob} goes to {to:g}")


@simulate.command()
def wait(
    seconds: Annotated[
        float, typer.Argument(metavar="SECONDS", min=0.0, max=604_800.0, help="Simulated.")
    ],
    at: At,
    pin: Annotated[
        int | None, typer.Option("--pin", min=0, max=27, help="End when this output goes high.")
    ] = None,
    low: Annotated[bool, typer.Option("--low", help="With --pin: when it goes low.")] = False,
    stations: Annotated[
        int, typer.Option("--stations", min=0, max=16, help="First await so many, 60 real s.")
    ] = 0,
) -> None:
    """Let simulated time pass, in a world that is held as well.

    Example: linetender simulate wait 20 --pin 22 --at /tmp/world
    """
    if stations:
        _await(stations, at)
    answer = _asked(at, Pass(1, seconds, pin, not low), patience_s=None)
    if answer.high is False:
        typer.echo(f"{_at(answer)}  GPIO {pin} did not change within {seconds:g} s.")
        raise typer.Exit(ExitCode.FINDINGS)
    _tell(answer, "there" if pin is None else f"GPIO {pin} is {'low' if low else 'high'}")


@simulate.command()
def hold(at: At) -> None:
    """Let time stand still, but for what `wait` and `press` let pass.

    Example: linetender simulate hold --at /tmp/world
    """
    _tell(_asked(at, Hold(1, True)), "time stands still")


@simulate.command()
def go(at: At) -> None:
    """Let time pass whenever all stations wait for it.

    Example: linetender simulate go --at /tmp/world
    """
    _tell(_asked(at, Hold(1, False)), "time passes")


@simulate.command()
def status(
    at: At,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as one JSON object.")] = False,
) -> None:
    """Say how the world is: time, stations, outputs, faults, and what is true.

    Example: linetender simulate status --at /tmp/world
    """
    world = _asked(at, Look(1)).world or {}
    if as_json:
        typer.echo(json.dumps(world))
        return
    for line in world_lines(world):
        typer.echo(line)


@simulate.command()
def stop(at: At) -> None:
    """End the world.

    Example: linetender simulate stop --at /tmp/world
    """
    _tell(_asked(at, Stop(1)), "the world ends")


def _await(stations: int, at: Path) -> None:
    try:
        _asked(at, Pass(1, 0.0, stations=stations), PATIENCE_S)
    except WorldGone as gone:
        if not isinstance(gone.__cause__, TimeoutError):
            raise
        missing = "The station was" if stations == 1 else f"{stations} stations were"
        typer.echo(f"{missing} not there within {PATIENCE_S:g} s.")
        raise typer.Exit(ExitCode.FINDINGS) from gone


def _asked(at: Path, request: Request, patience_s: float | None = PATIENCE_S) -> Answer:
    link = WorldLink(at, patience_s)
    try:
        return link.answer(request)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from error
    finally:
        link.close()


def _at(answer: Answer) -> str:
    return f"{answer.now_ns / 1e9:.3f} s"


def _tell(answer: Answer, what: str) -> None:
    typer.echo(f"{_at(answer)}  {what}.")
