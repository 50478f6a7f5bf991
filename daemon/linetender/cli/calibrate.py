"""The verb `calibrate`: teach the line's own pressures, or find out what flow they mean."""

import asyncio
import signal
import tempfile
from collections.abc import Awaitable, Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer
from rich.console import Console

from linetender.cli.calibration_answers import AnswersFile, load_answers
from linetender.cli.calibration_data import alarms_data, calibrated_data, taught_data
from linetender.cli.calibration_guides import AnswersGuide, SimulatedGuide, TerminalGuide
from linetender.cli.calibration_speech import ConsoleSpeech, JsonSpeech, Speech, tell
from linetender.cli.calibration_words import alarm_lines, calibrated_lines, taught_lines
from linetender.cli.exit_codes import ExitCode
from linetender.cli.served_calibration import AsideGuide, served_line
from linetender.cli.served_station import (
    folder_of,
    open_world,
    say_if_held,
    state_given,
    wall_of,
    world_folder,
)
from linetender.cli.speed import finite
from linetender.cli.state_folder import state_folder
from linetender.memory.drafts import draft, drop_draft
from linetender.memory.recall import remembered_in
from linetender.memory.store import Store, open_store
from linetender.memory.taught_pressures import taught_in_force, withdraw_all
from linetender.runtime.calibration_guide import CalibrationRefused, Guide
from linetender.runtime.calibration_session import DRAFT, Calibration
from linetender.runtime.clock import MonotonicClock, read_wall_clock
from linetender.runtime.pressure_measuring import Bench
from linetender.runtime.single_run import SingleRun, refuse_if_service_runs
from linetender.runtime.teach_session import teach as teach_line
from linetender.settings.calibration_target import CalibrationTarget, load_target
from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.remembered import nothing_recalled
from linetender.settings.station import Station
from linetender.simulation.calibration_line import CalibrationLine
from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.served_time import ServedWorld
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual


class Outcome(NamedTuple):
    """What a calibration came to.

    Attributes:
        lines: For people.
        data: For programs.
    """

    lines: list[str]
    data: dict[str, Any]


Procedure = Callable[[CalibrationTarget, Bench, Guide, Store], Awaitable[Outcome]]


_FILE = typer.Argument(metavar="FILE", help="The station file.")
_TEACH = typer.Option("--teach", help="Learn the line's pressures: five minutes, no L/min.")
_ANSWERS = typer.Option("--answers", metavar="FILE", help="Take what was measured from here.")
_SIMULATE = typer.Option("--simulate", help="Play it on an invented line, no hardware needed.")
_SPEED = typer.Option(
    "--speed",
    metavar="TIMES",
    min=0.0,
    callback=finite,
    help="With --simulate; 0 = no waiting.",
)
_STATE = typer.Option("--state", metavar="FOLDER", help="Where what was taught is kept.")
_FRESH = typer.Option("--fresh", help="Do not go on with an interrupted calibration.")
_JSON = typer.Option("--json", help="Print JSON lines; with --answers or --simulate.")
_FORGET = typer.Option("--forget", help="Put what was taught and calibrated out of force.")


def calibrate(
    file: Annotated[Path, _FILE],
    teach: Annotated[bool, _TEACH] = False,
    answers: Annotated[Path | None, _ANSWERS] = None,
    simulate: Annotated[bool, _SIMULATE] = False,
    speed: Annotated[float, _SPEED] = 20.0,
    state: Annotated[Path | None, _STATE] = None,
    fresh: Annotated[bool, _FRESH] = False,
    forget: Annotated[bool, _FORGET] = False,
    as_json: Annotated[bool, _JSON] = False,
) -> None:
    """Learn a line's own pressures (--teach), or what they mean in litres per minute.

    Exit status: 0 stored, 1 refused with reasons and nothing stored, 2 usage, 3 bad file,
    4 device, 5 the daemon has the station: stop it first. With --json each line on the
    output is an object whose "event" is said, wanted, measuring, progress, taught,
    calibrated, refused or forgotten; any other failure is told in words on the error output.

    A station in a world that `linetender simulate` serves is asked as a real one; with
    --answers, that world's own hands bring its line into the states.

    Example: linetender calibrate station.toml --teach
    """
    target, state = load_target(file), state_given(state, file)
    said = None if answers is None else load_answers(answers)
    _refuse_mixture(target, simulate=simulate)
    if as_json and said is None and not simulate and not forget:
        raise typer.BadParameter("--json asks nothing: give --answers FILE, or --simulate")
    with _store(target, state, simulate=simulate) as store:
        if forget:
            count = withdraw_all(store, read_wall_clock().at)
            _say_forgotten(count, store, as_json=as_json)
            return
        if not simulate:
            target.refuse_if_stated(teach=teach)
        if fresh:
            drop_draft(store, DRAFT)
        run = _run_as_json if as_json else _run_for_people
        run(target, store, said, teach=teach, speed=speed if simulate else None)


def _say_forgotten(count: int, store: Store, *, as_json: bool) -> None:
    if as_json:
        tell("forgotten", count=count)
    else:
        typer.echo(f"Out of force: {count}. The records themselves stay in {store.path}.")


def _run_for_people(
    target: CalibrationTarget,
    store: Store,
    said: AnswersFile | None,
    *,
    teach: bool,
    speed: float | None,
) -> None:
    """Teach or calibrate, and say the outcome."""
    console = _asking()
    try:
        outcome = _outcome(target, store, said, ConsoleSpeech(console), teach=teach, speed=speed)
    except CalibrationRefused as refused:
        console.print(f"Refused:\n{refused}")
        raise typer.Exit(ExitCode.FINDINGS) from refused
    except (typer.Abort, KeyboardInterrupt):
        if draft(store, DRAFT) is not None:
            console.print("\nWhat was measured is kept for 24 hours: the same command goes on.")
        raise
    for line in [*outcome.lines, *(_alarms(target, store) if teach else [])]:
        console.print(line)


def _run_as_json(
    target: CalibrationTarget,
    store: Store,
    said: AnswersFile | None,
    *,
    teach: bool,
    speed: float | None,
) -> None:
    """Teach or calibrate, and print the outcome as the last line."""
    try:
        outcome = _outcome(target, store, said, JsonSpeech(), teach=teach, speed=speed)
    except CalibrationRefused as refused:
        tell("refused", reasons=refused.reasons, is_stored=False)
        raise typer.Exit(ExitCode.FINDINGS) from refused
    if not teach:
        tell("calibrated", **outcome.data)
        return
    record, station = taught_in_force(store), _station(target, store)
    raised = None if record is None or station is None else alarms_data(station, record)
    tell("taught", **outcome.data, alarms=raised)


def _outcome(
    target: CalibrationTarget,
    store: Store,
    said: AnswersFile | None,
    speech: Speech,
    *,
    teach: bool,
    speed: float | None,
) -> Outcome:
    """Teach or calibrate, on the real line or (with a speed) an invented one."""
    procedure = _teach if teach else _calibrate
    given = world_folder(target.path, [target.device])
    if given is not None:
        world = open_world(target.path, given, f"calibrate {target.station}")
        say_if_held(world)
        return world.run(_in_world(procedure, target, store, speech, said, world))
    if speed is None:
        return asyncio.run(_guided(procedure, target, store, speech, said))
    return run_virtual(_played(procedure, target, store, speech, said), speed)


async def _teach(target: CalibrationTarget, bench: Bench, guide: Guide, store: Store) -> Outcome:
    record = await teach_line(target, bench, guide, store)
    return Outcome(taught_lines(record), taught_data(record))


async def _calibrate(
    target: CalibrationTarget, bench: Bench, guide: Guide, store: Store
) -> Outcome:
    record, fit = await Calibration(target, bench, guide, store).run()
    required_l_min = target.settings.station.required_airflow_l_min
    return Outcome(calibrated_lines(record, fit, required_l_min), calibrated_data(record, fit))


async def _guided(
    procedure: Procedure,
    target: CalibrationTarget,
    store: Store,
    speech: Speech,
    said: AnswersFile | None,
) -> Outcome:
    """Do it on the real sensor."""
    # While a question waits, Ctrl-C shall end it at the first press.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    clock = MonotonicClock()
    machine = RealMachine(clock)
    guide = TerminalGuide(_asking()) if said is None else AnswersGuide(speech, said)
    try:
        return await procedure(target, Bench(machine, clock, read_wall_clock), guide, store)
    finally:
        machine.close()


async def _in_world(
    procedure: Procedure,
    target: CalibrationTarget,
    store: Store,
    speech: Speech,
    said: AnswersFile | None,
    world: ServedWorld,
) -> Outcome:
    """Do it on the line of a served world, asking there as on a real one; a file has hands."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    bench = Bench(world.machine, world.clock, lambda: wall_of(world))
    speech.say("A simulated line: nothing here says anything about yours.")
    if said is None:
        guide: Guide = AsideGuide(TerminalGuide(_asking()), world)
        return await procedure(target, bench, guide, store)
    given = world_folder(target.path, [target.device]) or ""
    with served_line(folder_of(target.path, given)) as line:
        guide = AsideGuide(AnswersGuide(speech, said, line), world)
        return await procedure(target, bench, guide, store)


async def _played(
    procedure: Procedure,
    target: CalibrationTarget,
    store: Store,
    speech: Speech,
    said: AnswersFile | None,
) -> Outcome:
    """Do it on an invented line."""
    clock = VirtualClock()
    machine = SimulatedMachine(clock)
    line = CalibrationLine(machine, clock)
    guide: Guide = SimulatedGuide(speech, line)
    if said is not None:
        guide = AnswersGuide(speech, said, line)
    speech.say("An invented line: nothing here says anything about yours.")
    return await procedure(target, Bench(machine, clock, read_wall_clock), guide, store)


def _asking() -> Console:
    return Console(soft_wrap=True, highlight=False, markup=False)


def _refuse_mixture(target: CalibrationTarget, *, simulate: bool) -> None:
    is_simulated = target.device.options.is_simulated
    is_served = world_folder(target.path, [target.device]) is not None
    if simulate and is_served:
        raise typer.BadParameter(
            f"{target.path}: {target.device.name} is in a served world; leave --simulate out"
        )
    if simulate and not is_simulated:
        raise typer.BadParameter(
            f"{target.path} names a real sensor ({target.device.name}); --simulate wants one "
            'with bus = "simulated"'
        )
    if not simulate and is_simulated and not is_served:
        raise typer.BadParameter(
            f"{target.path} names a simulated sensor ({target.device.name}); add --simulate"
        )


@contextmanager
def _store(target: CalibrationTarget, state: Path | None, *, simulate: bool) -> Iterator[Store]:
    """Own the station and open its memory.

    While it is owned no daemon reads the same sensor. What is simulated owns nothing,
    and is kept only where a folder is named.
    """
    with ExitStack() as stack:
        folder = state_folder(state, target.station)
        if not simulate:
            refuse_if_service_runs(target.station)
            stack.enter_context(SingleRun(target.station))
        elif state is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        yield stack.enter_context(open_store(folder))


def _alarms(target: CalibrationTarget, store: Store) -> list[str]:
    """Say which alarms tell each taught fault, or why the station cannot say it yet."""
    record, station = taught_in_force(store), _station(target, store)
    if record is None:
        return []
    if station is None:
        return ["", f"What is still missing before it can run: linetender lint {target.path}"]
    return alarm_lines(station, record)


def _station(target: CalibrationTarget, store: Store) -> Station | None:
    remembered = remembered_in(store.path.parent, datetime.now().astimezone())
    recalls = [lambda _: remembered]
    if target.device.options.is_simulated:  # its file may state the normal pressure as well
        recalls.append(nothing_recalled)
    for recall in recalls:
        try:
            return load_station(target.path, recall=recall)
        except StationFileError:
            continue
    return None
