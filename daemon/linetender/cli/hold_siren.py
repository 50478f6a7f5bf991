"""The verb `hold-siren`: what the service leaves behind when a watched use breaks off."""

import asyncio
import signal
from pathlib import Path
from typing import Annotated

import typer

from linetender.cli.recalling import recall_for
from linetender.cli.speed import finite
from linetender.cli.state_folder import state_folder
from linetender.core.events import Sound
from linetender.core.stages import Stage
from linetender.core.watch import Watch
from linetender.runtime.boot import boot_hash
from linetender.runtime.carryover_file import load_carryover
from linetender.runtime.clock import MonotonicClock
from linetender.runtime.single_run import runtime_folder
from linetender.runtime.siren_hold import SirenHold, hold_siren_on, is_locked
from linetender.settings.load import load_station
from linetender.settings.station import Station
from linetender_drivers.buses.machine import RealMachine

LONGEST_S = 120.0


def hold_siren(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The station file.")],
    seconds: Annotated[
        float,
        typer.Option(
            metavar="SECONDS", min=0, max=LONGEST_S, callback=finite, help="How long at most."
        ),
    ] = LONGEST_S,
    state: Annotated[
        Path | None,
        typer.Option("--state", metavar="FOLDER", help="What the run before left lies here."),
    ] = None,
) -> None:
    """Sound the siren of a station whose daemon ended in use, until it is back.

    The service starts it after each end of the daemon (systemd/README.md). Where the hood
    was not worn and no high alarm sounded, it does nothing.

    Exit status: 0 done, or nothing to do, 2 usage, 3 bad file, 5 the siren is held already.

    Example: linetender hold-siren station.toml
    """
    station = load_station(file, recall=recall_for(state))
    folder = runtime_folder(station.plan.station)
    if not _broke_off_in_use(station, state_folder(state, station.plan.station)):
        typer.echo("No use was broken off: the siren stays off.")
        return
    try:
        with SirenHold(folder):
            if is_locked(folder / "lock"):
                typer.echo("The station is watched again: the siren stays off.")
                return
            typer.echo("The hood was worn and nobody watches: siren on.")
            asyncio.run(_hold(station, seconds))
    except BlockingIOError:
        typer.echo("Another process holds the siren already.", err=True)
        raise typer.Exit(5) from None
    typer.echo("The siren is let go.")


def _broke_off_in_use(station: Station, folder: Path) -> bool:
    carryover = load_carryover(folder, boot_hash(), station.plan)
    if carryover is None:
        return False
    snapshot = Watch(station.plan, 0, carryover).snapshot()
    return snapshot.stage is Stage.WORN or snapshot.demand.sound is Sound.HIGH


async def _hold(station: Station, seconds: float) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, stop.set)
    machine = RealMachine(MonotonicClock())
    try:
        await hold_siren_on(station, machine, stop, seconds)
    finally:
        machine.close()
