"""The file of a second box that sends its sensors' readings to a station."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from linetender.settings.devices import FindSpec, devices_of
from linetender.settings.explain import explain
from linetender.settings.forwarded_spec import FORWARDED
from linetender.settings.guarded_link import is_guarded, unguarded
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station import Device
from linetender.settings.station_file import BrokerSettings, DeviceTable
from linetender.settings.strict_model import SLUG_RULE, Slug, StrictModel
from linetender.settings.toml_file import TomlFile, read_toml
from linetender_drivers.registry import Kind
from linetender_drivers.registry import find_spec as installed_spec

KIND = "forward"
"""What `kind` says in such a file."""


class ForwardTable(StrictModel):
    """`[forward]`: who sends to whom."""

    box: Slug = Field(description=f"name of this box, its user at the broker, {SLUG_RULE}")
    station: Slug = Field(description=f"id of the station that takes the readings, {SLUG_RULE}")


class ForwardFile(StrictModel):
    """The whole file."""

    schema_: Literal[1] = Field(alias="schema", description="version of the file's form: 1")
    kind: Literal["forward"] = Field(description='"forward"')
    forward: ForwardTable = Field(description="a table: box, station")
    broker: BrokerSettings = Field(description="a table")
    devices: dict[Slug, DeviceTable] = Field(
        min_length=1, description="one table per sensor, e.g. [devices.finger]"
    )


@dataclass(frozen=True)
class Forwarding:
    """A file that was found fit to run.

    Attributes:
        path: The file, as it was given.
        box: Name of this box.
        station: Id of the station.
        broker: Where the broker is.
        devices: Sensors of this box.
    """

    path: Path
    box: str
    station: str
    broker: BrokerSettings
    devices: tuple[Device, ...]


def is_forward_file(path: Path) -> bool:
    """Say whether a file says of itself that it is one; one that cannot be read does not."""
    try:
        return bool(read_toml(path).data.get("kind") == KIND)
    except StationFileError:
        return False


def load_forwarding(path: Path, find_spec: FindSpec = installed_spec) -> Forwarding:
    """Load such a file.

    Raises:
        StationFileError: it cannot be used; it carries every problem found.
    """
    toml = read_toml(path)
    try:
        file = ForwardFile.model_validate(toml.data)
    except ValidationError as error:
        raise StationFileError(explain(error, ForwardFile, toml)) from error
    problems: list[Problem] = [] if is_guarded(file.broker) else [unguarded(toml)]
    devices: tuple[Device, ...] = ()
    try:
        devices = devices_of(file, toml, find_spec)
    except StationFileError as error:
        problems += error.problems
    problems += _faults_of_devices(devices, toml)
    if problems:
        raise StationFileError(problems)
    return Forwarding(path, file.forward.box, file.forward.station, file.broker, devices)


def _faults_of_devices(devices: tuple[Device, ...], toml: TomlFile) -> list[Problem]:
    problems: list[Problem] = []
    owners: dict[str, str] = {}
    for device in devices:
        path = ("devices", device.name, "driver")
        if device.spec.kind is not Kind.SENSOR or device.driver == FORWARDED:
            expected = "only sensors of this box can be forwarded"
            problems.append(toml.problem(path, expected, "remove the device", device.driver))
        for place, signal in enumerate(device.signals):
            if signal in owners:
                key = ("devices", device.name, "signals", place)
                expected = f'"{owners[signal]}" gives it already'
                problems.append(toml.problem(key, expected, "name it once", signal.value))
            owners.setdefault(signal, device.name)
    return problems
