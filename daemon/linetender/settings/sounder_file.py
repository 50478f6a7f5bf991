"""The file of a second box (`kind = "sounder"`): its models, and how it is loaded."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from linetender.settings.devices import FindSpec, devices_of
from linetender.settings.explain import explain
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station import Device
from linetender.settings.station_file import BrokerSettings, DeviceTable
from linetender.settings.strict_model import SLUG_RULE, Slug, StrictModel
from linetender.settings.toml_file import TomlFile, read_toml
from linetender_drivers.registry import find_spec as installed_spec


class BoxTable(StrictModel):
    """`[box]`: which second box this is."""

    name: Slug = Field(description=f"its name in the station files and at the broker, {SLUG_RULE}")


class StationEntry(StrictModel):
    """`[[stations]]`: one station that it sounds for."""

    id: Slug = Field(description=f"station.id of the station's own file, {SLUG_RULE}")
    role: Literal["wearer", "attendant"] = Field(
        description='who is near this box: "wearer" or "attendant"'
    )


class SounderFile(StrictModel):
    """The whole file."""

    schema_: Literal[1] = Field(alias="schema", description="version of the file's form: 1")
    kind: Literal["sounder"] = Field(description='"sounder"')
    box: BoxTable = Field(description="a table: name")
    broker: BrokerSettings = Field(description="a table")
    stations: Annotated[tuple[StationEntry, ...], Field(strict=False)] = Field(
        min_length=1, max_length=16, description="tables [[stations]]"
    )
    devices: dict[Slug, DeviceTable] = Field(
        default_factory=dict, description="one table per device, e.g. [devices.buzzer]"
    )


@dataclass(frozen=True)
class Sounder:
    """A second box whose file was found fit to run.

    Attributes:
        path: The file, as it was given.
        name: Name of the box.
        broker: Its broker; a password file's path starts at the file's folder.
        stations: Those that it sounds for.
        devices: Its buzzer, lamps and button.
    """

    path: Path
    name: str
    broker: BrokerSettings
    stations: tuple[StationEntry, ...]
    devices: tuple[Device, ...]


def is_sounder_file(path: Path) -> bool:
    """Say whether a file says of itself that it is a second box's; one that cannot be read no."""
    try:
        return read_toml(path).data.get("kind") == "sounder"
    except StationFileError:
        return False


def load_sounder(
    path: Path, find_spec: FindSpec = installed_spec, *, terminal: bool = False
) -> Sounder:
    """Load the file of a second box.

    Args:
        path: The file.
        find_spec: Where to look up drivers; tests give their own.
        terminal: Whether a terminal stands in for buzzer and button.

    Raises:
        StationFileError: it is not in order; it carries every problem found.
    """
    toml = read_toml(path)
    try:
        file = SounderFile.model_validate(toml.data)
    except ValidationError as error:
        raise StationFileError(explain(error, SounderFile, toml)) from error
    problems = [*_faults_of_stations(file, toml)]
    devices: tuple[Device, ...] = ()
    try:
        devices = devices_of(file, toml, find_spec)
    except StationFileError as error:
        problems += error.problems
    else:
        problems += _faults_of_devices(devices, toml, terminal=terminal)
    if problems:
        raise StationFileError(problems)
    return Sounder(path, file.box.name, file.broker, file.stations, devices)


def _faults_of_stations(file: SounderFile, toml: TomlFile) -> list[Problem]:
    problems = []
    ids = [station.id for station in file.stations]
    for place, name in enumerate(ids):
        if name in ids[:place]:
            key = ("stations", place, "id")
            problems.append(toml.problem(key, "each station once", "remove one of the two", name))
    wearers = [place for place, one in enumerate(file.stations) if one.role == "wearer"]
    for place in wearers[1:]:
        expected = "one wearer at most: a press must be theirs, and nobody wears two hoods"
        remedy = 'make it "attendant", or use a box of its own'
        problems.append(toml.problem(("stations", place, "role"), expected, remedy, "wearer"))
    return problems


def _faults_of_devices(
    devices: tuple[Device, ...], toml: TomlFile, *, terminal: bool
) -> list[Problem]:
    problems = []
    for device in devices:
        if device.signals or device.contact not in (None, "answer"):
            expected = 'a second box has outputs, and one button with contact = "answer"'
            problems.append(toml.problem(("devices", device.name), expected, "remove it"))
    roles = [device.output for device in devices] + [device.contact for device in devices]
    if terminal:
        return problems
    for role, key in (("buzzer", "output"), ("answer", "contact")):
        if role not in roles:
            remedy = f'add a device with {key} = "{role}", or run it with --terminal'
            problems.append(toml.problem(("devices",), f'nothing has {key} = "{role}"', remedy))
    return problems
