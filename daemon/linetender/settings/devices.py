"""Match the devices of a station file with their drivers."""

from collections.abc import Callable
from difflib import get_close_matches
from typing import Any, Protocol

from pydantic import ValidationError

from linetender.core.signals import DERIVED_SIGNALS
from linetender.settings.explain import explain
from linetender.settings.forwarded_spec import FORWARDED
from linetender.settings.positions import Path
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station import Device
from linetender.settings.station_file import DeviceTable
from linetender.settings.toml_file import TomlFile
from linetender_drivers.registry import DriverSpec, Kind, UnknownDriver, driver_names

FindSpec = Callable[[str], DriverSpec]
"""Name of a driver to its spec; raises UnknownDriver."""

_ROLE_OF_KIND = {Kind.SENSOR: "signals", Kind.INPUT: "contact", Kind.OUTPUT: "output"}


class HasDevices(Protocol):
    """A file with devices: a station file, or that of a second box."""

    @property
    def devices(self) -> dict[str, DeviceTable]:
        """The tables `[devices.NAME]`."""


def devices_of(station: HasDevices, toml: TomlFile, find_spec: FindSpec) -> tuple[Device, ...]:
    """Look up every device's driver and check its options and its role.

    Raises:
        StationFileError: a driver is unknown, an option wrong, or a role not the driver's.
    """
    problems: list[Problem] = []
    devices: list[Device] = []
    for name, table in station.devices.items():
        try:
            devices.append(_device(name, table, toml, find_spec))
        except StationFileError as error:
            problems += error.problems
    if problems:
        raise StationFileError(problems)
    return tuple(devices)


def _device(name: str, table: DeviceTable, toml: TomlFile, find_spec: FindSpec) -> Device:
    path: Path = ("devices", name)
    try:
        spec = find_spec(table.driver)
    except UnknownDriver as error:
        near = get_close_matches(table.driver, driver_names(), n=1)
        remedy = f'did you mean "{near[0]}"?' if near else "install it, or change the name"
        problem = toml.problem((*path, "driver"), str(error), remedy, table.driver)
        raise StationFileError([problem]) from error
    problems = [*_faults_of_role(path, table, spec, toml), *_faults_of_box(path, table, toml)]
    options_path = (*path, "options")
    try:
        options = spec.options.model_validate(_options(table))
    except ValidationError as error:
        explained = explain(error, spec.options, toml, options_path)
        raise StationFileError([*problems, *explained]) from error
    if spec.kind is Kind.SENSOR and not problems:
        problems += _faults_of_signals(path, table, spec.provides(options), toml)
    if problems:
        raise StationFileError(problems)
    return Device(
        name, table.driver, spec, options, table.signals or (), table.contact, table.output
    )


def _faults_of_role(
    path: Path, table: DeviceTable, spec: DriverSpec, toml: TomlFile
) -> list[Problem]:
    role = _ROLE_OF_KIND[spec.kind]
    given = [key for key in _ROLE_OF_KIND.values() if getattr(table, key) is not None]
    problems = [
        toml.problem(
            (*path, key),
            f"{table.driver} is of the kind {spec.kind}, which states {role}",
            "remove it",
            toml.at((*path, key)),
        )
        for key in given
        if key != role
    ]
    if role not in given:
        expected = f"{role} is missing: {table.driver} is of the kind {spec.kind}"
        problems.append(toml.problem(path, expected, f"add {role} = …"))
    return problems


def _options(table: DeviceTable) -> dict[str, Any]:
    """Return the options; the box of a forwarded device stands beside them in the file."""
    is_named = table.driver == FORWARDED and table.box is not None
    return {**table.options, "from": table.box} if is_named else table.options


def _faults_of_box(path: Path, table: DeviceTable, toml: TomlFile) -> list[Problem]:
    if table.driver == FORWARDED and table.box is None:
        expected = "from is missing: it names the second box that sends the readings"
        raise StationFileError(
            [toml.problem(path, expected, 'add from = "…", the name of the box')]
        )
    if table.driver != FORWARDED and table.box is not None:
        expected = f"{table.driver} reads a device of this computer; only {FORWARDED} has from"
        return [toml.problem((*path, "from"), expected, "remove it", table.box)]
    return []


def _faults_of_signals(
    path: Path, table: DeviceTable, provides: frozenset[str], toml: TomlFile
) -> list[Problem]:
    problems = []
    known = ", ".join(sorted(provides))
    for place, signal in enumerate(table.signals or ()):
        key = (*path, "signals", place)
        if signal in DERIVED_SIGNALS:
            expected = "this signal is computed from the pressure; no device gives it"
            problems.append(toml.problem(key, expected, f"name one of {known}", signal.value))
        elif signal.value not in provides:
            expected = f"{table.driver} can give {known}"
            problems.append(toml.problem(key, expected, "name one of these", signal.value))
    return problems
