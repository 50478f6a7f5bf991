"""What is done to a running station, and undone again: one injector for each way to break it."""

import errno
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from linetender.annunciation.payloads import Wall
from linetender.core.inputs import By, Verb
from linetender.runtime.live_station import LiveStation
from linetender.simulation.devices import (
    AIR_SENSOR_ADDRESS,
    CO2_SENSOR_ADDRESS,
    CO_CELL_ADDRESS,
    SUPPLY_SENSOR_ADDRESS,
    Rig,
)
from linetender.simulation.knobs import Knob
from linetender.simulation.named_faults import FAULTS
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated.plx_peer import PeerState

BUZZER_GPIO, LAMP_GPIO, NO_GPIO, NC_GPIO = 22, 23, 17, 27


class SwitchableDisk:
    """A disk with one file, that can be filled up and emptied."""

    def __init__(self) -> None:
        self.is_full = False

    def begin(self, path: Path) -> "SwitchableDisk":
        return self

    def probe(self, path: Path) -> None:
        self.append(b"")

    def append(self, piece: bytes) -> None:
        if self.is_full:
            raise OSError(errno.ENOSPC, "No space left on device")

    def sync(self) -> None:
        """Nothing to do."""

    def close(self) -> None:
        """Nothing to do."""


@dataclass
class Around:
    """What an injector can reach.

    Attributes:
        rig: World, devices and hands.
        live: The station.
        disk: Where it records.
        wall: Its time of day.
        broker_connected: Whether its broker has accepted the connection.
        broker_refuses: Why the broker takes no events, or empty.
        topics_forbidden: What the broker's access list refuses, or empty.
        cut_power: Takes the box its power for so long (s).
    """

    rig: Rig
    live: LiveStation
    disk: SwitchableDisk = field(default_factory=SwitchableDisk)
    wall: Wall = field(default_factory=lambda: Wall("2000-01-01T00:00:00.000+00:00", True))
    broker_connected: bool = True
    broker_refuses: str = ""
    topics_forbidden: str = ""
    cut_power: "Callable[[Around, float], None]" = lambda _on, _blind_s: None

    def turn(self, knob: Knob, to: float) -> None:
        """Turn a knob of the world."""
        self.rig.world.turn(self.rig.machine.clock.now_ns(), knob, to)
        self.rig.keep_up()

    def command(self, verb: Verb) -> None:
        """Give an order as the wearer does."""
        self.live.command(verb, By.WEARER)


Act = Callable[[Around], None]


class Injector(NamedTuple):
    """A way to break something.

    Attributes:
        begin: Breaks it.
        end: Mends it.
    """

    begin: Act
    end: Act


def _nothing(_: Around) -> None:
    """Nothing is to be mended."""


def _named(name: str) -> Injector:
    fault = FAULTS[name]

    def begin(around: Around) -> None:
        for knob, to in fault.knobs.items():
            around.turn(knob, to)
        if fault.bus is not None:
            around.rig.machine.buses[SIMULATED].faults.append(BusFault(fault.bus))

    def end(around: Around) -> None:
        for knob in fault.knobs:
            around.turn(knob, fault.mended(knob))
        if fault.bus is not None:
            around.rig.machine.buses[SIMULATED].faults.remove(BusFault(fault.bus))

    return Injector(begin, end)


def _chip(kind: FaultKind, *addresses: int) -> Injector:
    def begin(around: Around) -> None:
        around.rig.machine.buses[SIMULATED].faults.extend(BusFault(kind, at) for at in addresses)

    def end(around: Around) -> None:
        for at in addresses:
            around.rig.machine.buses[SIMULATED].faults.remove(BusFault(kind, at))

    return Injector(begin, end)


def _peer(state: PeerState) -> Injector:
    def to(state: PeerState) -> Act:
        return lambda around: setattr(around.rig.oximeter, "state", state)

    return Injector(to(state), to(PeerState.WORN))


def _packets(packet: bytes) -> Injector:
    def begin(around: Around) -> None:
        vars(around.rig.oximeter)["notification"] = lambda: packet

    def end(around: Around) -> None:
        del vars(around.rig.oximeter)["notification"]

    return Injector(begin, end)


def _set(name: str, to: object, mended: object) -> Injector:
    return Injector(lambda on: setattr(on, name, to), lambda on: setattr(on, name, mended))


def _disk(around: Around, *, is_full: bool) -> None:
    around.disk.is_full = is_full


def _taken(gpio: int) -> Injector:
    """Another program takes an output's line away, and gives it back."""
    held = []

    def begin(around: Around) -> None:
        pins = around.rig.machine.simulated_pins
        pins._outputs[gpio].lose()
        held.append(pins.output(gpio, safe_high=False))

    return Injector(begin, lambda _: held.pop().close())


def _taken_as_fan_stops(gpio: int) -> Injector:
    taken = _taken(gpio)

    def begin(around: Around) -> None:
        taken.begin(around)
        around.turn(Knob.FAN, 0.0)

    return Injector(begin, taken.end)


def _lose(gpio: int) -> Act:
    return lambda around: around.rig.machine.simulated_pins._outputs[gpio].lose()


def _both_contacts(around: Around) -> None:
    for gpio in (NO_GPIO, NC_GPIO):
        around.rig.machine.simulated_pins.press(gpio)


def _release(around: Around) -> None:
    around.rig.release("answer")


def _press(around: Around) -> None:
    around.rig.press("answer")


def _fan_stops_answered(around: Around) -> None:
    """The fan stops, and the wearer answers without leaving."""
    around.turn(Knob.FAN, 0.0)
    around.live.command(Verb.ACKNOWLEDGE, By.WEARER)


def _day_ends(around: Around) -> None:
    around.turn(Knob.HOOD, 0.0)
    around.command(Verb.END)
    around.turn(Knob.FAN, 0.0)


def _power_cut(blind_s: float, fan: float) -> Injector:
    def begin(around: Around) -> None:
        around.turn(Knob.FAN, fan)
        around.cut_power(around, blind_s)

    return Injector(begin, _nothing)


def _all_gone(around: Around) -> None:
    _chip(FaultKind.NACK, AIR_SENSOR_ADDRESS).begin(around)
    around.rig.oximeter.state = PeerState.OUT_OF_RANGE


def _all_back(around: Around) -> None:
    _chip(FaultKind.NACK, AIR_SENSOR_ADDRESS).end(around)
    around.rig.oximeter.state = PeerState.WORN


_KNOWN = Wall("2000-01-01T00:00:00.000+00:00", True)

INJECTORS: Mapping[str, Injector] = MappingProxyType(
    {f"world:{name}": _named(name) for name in FAULTS}
    | {f"air_sensor:{kind.value}": _chip(kind, AIR_SENSOR_ADDRESS) for kind in FaultKind}
    | {
        "supply_sensor:nack": _chip(FaultKind.NACK, SUPPLY_SENSOR_ADDRESS),
        "gas_sensors:nack": _chip(FaultKind.NACK, CO2_SENSOR_ADDRESS, CO_CELL_ADDRESS),
        "oximeter:silent": _peer(PeerState.SILENT),
        "oximeter:empty_packets": _packets(b""),
        "oximeter:cut_packets": _packets(b"\x1c\x61\x00"),
        "everything:gone": Injector(_all_gone, _all_back),
        "button:held": Injector(_press, _release),
        "button:both_contacts": Injector(_both_contacts, _release),
        "buzzer:taken": _taken(BUZZER_GPIO),
        "buzzer:taken_as_fan_stops": _taken_as_fan_stops(BUZZER_GPIO),
        "lamp:taken": _taken(LAMP_GPIO),
        "lamp:lost_once": Injector(_lose(LAMP_GPIO), _nothing),
        "broker:away": _set("broker_connected", False, True),
        "broker:refuses": _set("broker_refuses", "not authorised", ""),
        "broker:forbids": _set("topics_forbidden", "not authorised", ""),
        "disk:full": Injector(
            lambda on: _disk(on, is_full=True), lambda on: _disk(on, is_full=False)
        ),
        "clock:unknown": _set("wall", Wall("1970-01-01T00:00:00.000+00:00", False), _KNOWN),
        "clock:a_day_back": _set("wall", Wall("1999-12-31T00:00:00.000+00:00", True), _KNOWN),
        "clock:a_year_on": _set("wall", Wall("2001-01-01T00:00:00.000+00:00", True), _KNOWN),
        "process:restart": _power_cut(4.0, 1.0),
        "process:restart_without_fan": _power_cut(4.0, 0.0),
        "human:answers_and_stays": Injector(
            _fan_stops_answered, lambda around: around.turn(Knob.FAN, 1.0)
        ),
        "human:ends_and_switches_off": Injector(_day_ends, _nothing),
    }
)
"""All there are; one that no row of the table uses fails a test."""
