"""Is a station safe to run as written? One small function per finding.

A finding refuses the station. Those in `GRANTABLE` can be accepted by an
`[[exceptions]]` table with a reason, which every report then shows.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from linetender.core.plan import AllOf, AnyOf, Condition, Plan, Stale, Stuck
from linetender.core.signals import DERIVED_SIGNALS, Signal
from linetender.settings.compile_air import air_signal, normal_pa
from linetender.settings.positions import Path
from linetender.settings.problems import Finding
from linetender.settings.station import Device
from linetender.settings.station_file import FittedElement, StationFile
from linetender.settings.toml_file import TomlFile

GRANTABLE = ("no_loss_of_air_rule", "no_blind_rule")
"""Findings that a station file can accept, with a reason."""

LINE_PRESSURES = (Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA)


@dataclass(frozen=True)
class Case:
    """What is judged.

    Attributes:
        station: The station file.
        plan: What it compiles to.
        devices: Its devices.
        toml: The file, for lines.
    """

    station: StationFile
    plan: Plan
    devices: tuple[Device, ...]
    toml: TomlFile

    def finding(
        self, name: str, path: Path, expected: str, remedy: str, value: object = None
    ) -> Finding:
        """Make a Finding about a key of the station file."""
        made = self.toml.problem(path, expected, remedy, value)
        grantable = name in GRANTABLE
        return Finding(
            made.file,
            made.line,
            made.key,
            made.value,
            made.expected,
            made.remedy,
            name=name,
            grantable=grantable,
        )


def lint(case: Case) -> list[Finding]:
    """Return everything that is unsafe, granted exceptions included."""
    return [finding for check in CHECKS for finding in check(case)]


def no_normal(case: Case) -> Iterator[Finding]:
    """Air is judged against a normal: without one the air rules cannot exist."""
    if not any(signal in LINE_PRESSURES for device in case.devices for signal in device.signals):
        return
    element = case.station.element
    if element is None:
        expected = "[element] is missing: nothing says what the pressure is measured across"
        remedy = 'add [element] with kind and normal_pa, e.g. kind = "hood_hose", normal_pa = 60'
        yield case.finding("no_normal", ("element",), expected, remedy)
    elif normal_pa(case.station) is None:
        remedy = "run the line as you use it, read the pressure and write it there in Pa"
        if isinstance(element, FittedElement):
            remedy = "add station.required_airflow_l_min, or the pressure in normal use"
        expected = "normal_pa is missing: air is judged against the line's own normal"
        yield case.finding("no_normal", ("element", "normal_pa"), expected, remedy)


def no_element_pressure(case: Case) -> Iterator[Finding]:
    """An element whose pressure no device gives."""
    element = case.station.element
    if element is not None and air_signal(case.station, case.devices) is None:
        wanted = "duct_pressure_pa"
        if element.kind in ("hood_hose", "fitted"):
            wanted += " or hood_pressure_pa"
        expected = f"no device gives the pressure across it ({wanted})"
        remedy = f"add a device with signals = [{wanted.split()[0]!r}], or remove [element]"
        yield case.finding("no_element_pressure", ("element", "kind"), expected, remedy)


def no_loss_of_air_rule(case: Case) -> Iterator[Finding]:
    """No rule that notices the air being lost: air is NOT watched."""
    if any(no_normal(case)) or any(no_element_pressure(case)):
        return  # said already, with what to do about it
    air = case.plan.air
    watched = DERIVED_SIGNALS | ({air.signal} if air else set())
    for rule in case.plan.rules:
        if rule.loss_of_air and any(_judges(part, watched) for part in parts(rule.condition)):
            return
    remedy = "fit a pressure sensor with [element], and keep a rule with loss_of_air = true"
    expected = "no rule notices the loss of air: air is NOT watched"
    yield case.finding("no_loss_of_air_rule", ("rules",), expected, remedy)


def no_blind_rule(case: Case) -> Iterator[Finding]:
    """No rule that notices when nothing is watched any more."""
    for rule in case.plan.rules:
        if rule.loss_of_air and any(isinstance(part, Stale) for part in parts(rule.condition)):
            return
    expected = "no rule notices that every sensor has gone silent"
    remedy = "keep the rule blind of the default set, or one with stale and loss_of_air = true"
    yield case.finding("no_blind_rule", ("rules",), expected, remedy)


def two_sources(case: Case) -> Iterator[Finding]:
    """Two devices for one signal: nobody could say which one is right."""
    owners: dict[Signal, str] = {}
    for device in case.devices:
        for place, signal in enumerate(device.signals):
            if signal in owners:
                path = ("devices", device.name, "signals", place)
                expected = (
                    f'expected one source for each signal; "{owners[signal]}" gives it already'
                )
                yield case.finding("two_sources", path, expected, "remove one", signal.value)
            owners.setdefault(signal, device.name)


def role_twice(case: Case) -> Iterator[Finding]:
    """Two devices with the same role."""
    owners: dict[tuple[str, str], str] = {}
    for device in case.devices:
        for key, role in (("contact", device.contact), ("output", device.output)):
            if role is None:
                continue
            if (key, role) in owners:
                expected = f'expected each {key} once; "{owners[key, role]}" is it already'
                path = ("devices", device.name, key)
                yield case.finding("role_twice", path, expected, "change one of them", role)
            owners.setdefault((key, role), device.name)


def line_twice(case: Case) -> Iterator[Finding]:
    """Two devices on one GPIO line, or at one address of one bus."""
    owners: dict[tuple[str, str], str] = {}
    for device in case.devices:
        for place, key in _places(device):
            if place in owners:
                expected = f'{place[0]} of {place[1]} is taken by "{owners[place]}"'
                path = ("devices", device.name, "options", key)
                remedy = "use another, as it is wired"
                yield case.finding("line_twice", path, expected, remedy, case.toml.at(path))
            owners.setdefault(place, device.name)


def circular_suppression(case: Case) -> Iterator[Finding]:
    """Two rules that withhold each other could both stay silent."""
    by = {rule.id: rule.suppressed_by for rule in case.plan.rules}
    for start in by:
        reached: list[str] = list(by[start])
        for rule_id in reached:
            reached += [other for other in by.get(rule_id, ()) if other not in reached]
        if start in reached:
            path = ("rules", "change", start, "suppressed_by")
            expected = f'the rule "{start}" would in the end suppress itself'
            yield case.finding("circular_suppression", path, expected, "break the circle")


def parts(condition: Condition) -> Iterator[Condition]:
    """Yield a condition and all its parts."""
    yield condition
    if isinstance(condition, AnyOf | AllOf):
        for part in condition.conditions:
            yield from parts(part)


def _judges(condition: Condition, signals: frozenset[Signal]) -> bool:
    """Whether a condition judges the value of one of the signals, not merely its silence."""
    if isinstance(condition, Stale | Stuck):
        return False
    return getattr(condition, "signal", None) in signals


def _places(device: Device) -> Iterator[tuple[tuple[str, str], str]]:
    """The lines and addresses that a device takes, with the option that names each."""
    chip, bus = getattr(device.options, "chip", None), getattr(device.options, "bus", None)
    for key in type(device.options).model_fields:
        number = getattr(device.options, key)
        if isinstance(chip, str) and number is not None and key.endswith("gpio"):
            yield (f"GPIO {number}", f"the chip {chip}"), key
        elif isinstance(bus, str) and isinstance(number, int) and key == "address":
            yield (f"address {number:#x}", f"the bus {bus}"), key


CHECKS: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    no_normal,
    no_element_pressure,
    no_loss_of_air_rule,
    no_blind_rule,
    two_sources,
    role_twice,
    line_twice,
    circular_suppression,
)
"""All checks, in the order in which their findings are told."""
