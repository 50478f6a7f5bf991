"""What must hold between the keys of a station file, beyond the range of each."""

from collections.abc import Callable, Iterator

from linetender.settings.exceptions_policy import GRANTABLE, NEVER
from linetender.settings.forwarded_spec import FORWARDED
from linetender.settings.guarded_link import is_guarded, unguarded
from linetender.settings.line_checks import LINE_CHECKS
from linetender.settings.problems import Problem
from linetender.settings.station_file import OrificeElement, StationFile
from linetender.settings.toml_file import TomlFile


def faults_of_station(station: StationFile, toml: TomlFile) -> list[Problem]:
    """Return everything that is wrong between keys that are each in range."""
    return [fault for check in _CHECKS for fault in check(station, toml)]


def _bore_fits_pipe(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    element = station.element
    if isinstance(element, OrificeElement) and element.bore_mm >= element.pipe_mm:
        expected = f"expected less than the pipe's {element.pipe_mm:g} mm"
        path = ("element", "bore_mm")
        yield toml.problem(path, expected, "change one of them", toml.at(path))


def _normal_over_zero(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    element = station.element
    if element is None or element.normal_pa is None or element.normal_pa > element.zero_pa:
        return
    expected = f"expected more than the zero of {element.zero_pa:g} Pa: else no air flows"
    path = ("element", "normal_pa")
    yield toml.problem(path, expected, "measure both again", element.normal_pa)


def _names_once(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    for key, names in (
        ("contacts", [contact.name for contact in station.contacts]),
        ("far_end", [box.name for box in station.far_end]),
    ):
        for place, name in enumerate(names):
            if name in names[:place]:
                path = (key, place, "name")
                yield toml.problem(
                    path, "expected a name of its own", "rename one of the two", name
                )


def _exceptions_known(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    for place, granted in enumerate(station.exceptions):
        if granted.finding not in GRANTABLE:
            path = ("exceptions", place, "finding")
            expected = f"expected a finding that can be granted: {', '.join(GRANTABLE)}"
            if granted.finding in NEVER:
                expected = f"this one can never be granted: {NEVER[granted.finding]}"
            yield toml.problem(path, expected, "change or remove it", granted.finding)


def _forwarded_is_safe(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    for name, device in station.devices.items():
        if device.driver != FORWARDED:
            continue
        path = ("devices", name, "driver")
        if station.broker is None:
            expected = "readings of a second box come through the broker, and [broker] is missing"
            yield toml.problem(path, expected, "add [broker]", device.driver)
        elif not is_guarded(station.broker):
            yield unguarded(toml)


def _commands_guarded(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    broker = station.broker
    if broker is None or not broker.commands:
        return
    if not broker.tls:
        path = ("broker", "tls")
        expected = "commands over the broker need an encrypted connection"
        yield toml.problem(path, expected, "set tls = true, or commands = false", broker.tls)
    if broker.user is None or broker.password_file is None:
        path = ("broker", "commands")
        expected = "commands need a broker that knows its users: user and password_file"
        yield toml.problem(path, expected, "add both, or set commands = false", True)


_CHECKS: tuple[Callable[[StationFile, TomlFile], Iterator[Problem]], ...] = (
    _bore_fits_pipe,
    _normal_over_zero,
    _names_once,
    _exceptions_known,
    _forwarded_is_safe,
    _commands_guarded,
    *LINE_CHECKS,
)
