"""Findings about devices: does each signal and role exist once, and can anybody hear?"""

from collections.abc import Iterator

from linetender.core.signals import Signal
from linetender.settings.case import Case
from linetender.settings.problems import Finding
from linetender.settings.station import Device


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


def no_sounder(case: Case) -> Iterator[Finding]:
    """Nothing makes a noise."""
    if all(device.output != "buzzer" for device in case.devices):
        expected = 'no device has output = "buzzer": nobody would hear an alarm'
        remedy = "add a siren, at least 100 dB at 1 m, where the work is done"
        yield case.finding("no_sounder", ("devices",), expected, remedy)


def no_answer_button(case: Case) -> Iterator[Finding]:
    """No hand can answer, ask for help or end."""
    if all(device.contact != "answer" for device in case.devices):
        expected = 'no device has contact = "answer": nobody could answer or call for help'
        remedy = "add a button that a gloved hand finds"
        yield case.finding("no_answer_button", ("devices",), expected, remedy)


def _places(device: Device) -> Iterator[tuple[tuple[str, str], str]]:
    """The lines and addresses that a device takes, with the option that names each."""
    bus = getattr(device.options, "bus", None)
    chip = getattr(device.options, "chip", getattr(device.options, "power_chip", None))
    for key in type(device.options).model_fields:
        number = getattr(device.options, key)
        if isinstance(chip, str) and number is not None and key.endswith("gpio"):
            yield (f"GPIO {number}", f"the chip {chip}"), key
        elif isinstance(bus, str) and isinstance(number, int) and key == "address":
            yield (f"address {number:#x}", f"the bus {bus}"), key
