"""Stations whose devices are in a world that `linetender simulate` serves."""

import os
import re
import tomllib
from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import typer

from linetender.annunciation.payloads import Wall
from linetender.runtime.boot import Boot, this_boot
from linetender.settings.station import Device
from linetender_drivers.simulated.served_time import ServedWorld
from linetender_drivers.simulated_place import world_at

STATE = "state"
"""Folder, beside the world's socket, of what its stations keep."""


def world_folder(path: Path, devices: Iterable[Device]) -> str | None:
    """Return the folder of the served world that devices are in, as the file names it, or None.

    Raises:
        BadParameter: some are in it and some are not, or in another.
    """
    worlds = {device.name: world_at(device.options.place) for device in devices}
    named = set(worlds.values())
    if len(named) > 1:
        told = ", ".join(f"{name} in {at or 'none'}" for name, at in sorted(worlds.items()))
        raise typer.BadParameter(
            f"{path}: its devices are in different worlds ({told}); a served simulation wants "
            'every device in one "simulated:DIR"'
        )
    return named.pop() if named else None


def open_world(path: Path, given: str, name: str) -> ServedWorld:
    """Take a place in a served world.

    Args:
        path: The station file; a relative folder is meant from where it lies.
        given: The folder, as the file names it.
        name: Of this program, for people.

    Raises:
        WorldGone: no world is served there.
    """
    return ServedWorld(folder_of(path, given), given, f"{name} {os.getpid()}")


def say_if_held(world: ServedWorld) -> None:
    """Tell somebody who will wait why it may take long."""
    if world.was_held:
        typer.echo(
            "That world is held: its time passes only while `linetender simulate wait` lasts, or "
            "after `linetender simulate go`.",
            err=True,
        )


def folder_of(path: Path, given: str) -> Path:
    """Return the folder of a world as a station file names it: from where the file lies."""
    return path.parent / given


def boot_of(world: ServedWorld | None) -> Boot:
    """Return the boot of this computer, or that of a world: each serving is one."""
    if world is None:
        return this_boot()
    return Boot(sha256(f"world {world.epoch}".encode()).hexdigest()[:16], world.now_ns)


def wall_of(world: ServedWorld) -> Wall:
    """Return the time of day in a world; nobody has set its clock."""
    return Wall(world.time_of_day().isoformat(timespec="milliseconds"), False)


def state_given(state: Path | None, path: Path) -> Path | None:
    """Return where what outlives a run is kept, if that is said.

    A station in a served world keeps it beside that world, whatever its id: what was
    taught to an invented line must never be taken for a real one's.

    Args:
        state: Option `--state`, or None.
        path: The station file; one that cannot be read says nothing.
    """
    if state is not None:
        return state
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    worlds = sorted({world for text in _texts(table.get("devices")) if (world := world_at(text))})
    named = _id(table)
    return path.parent / worlds[0] / STATE / named if worlds and named else None


def _id(table: dict[str, Any]) -> str | None:
    """Return the station's id, where it can be a folder's name."""
    station = table.get("station")
    named = station.get("id") if isinstance(station, dict) else None
    return named if isinstance(named, str) and re.fullmatch(r"[\w-]+", named) else None


def _texts(table: Any) -> Iterator[str]:
    if isinstance(table, dict):
        for value in table.values():
            yield from _texts(value)
    elif isinstance(table, str):
        yield table
