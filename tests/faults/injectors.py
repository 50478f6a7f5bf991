"""What is done to a running station, and undone again: one injector for each way to break it."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from faults.switchable_disk import SwitchableDisk
from linetender.annunciation.payloads import Wall
from linetender.core.inputs import By, Verb
from linetender.runtime.live_station import LiveStation
from linetender.simulation.devices import (
    AIR_SENSOR_ADDRESS,
    CO2_SENSOR_ADDRESS,
    CO_CELL_ADDRESS,
    SUPPLY_SENSOR_ADDRESS,
    TACHOMETER_GPIO,
    Rig,
)
from linetender.simulation.knobs import Knob
from linetender.simulation.named_faults import FAULTS
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated.plx_peer import PeerState

BUZZER_GPIO, LAMP_GPIO, NO_GPIO, NC_GPIO, HOOK_GPIO = 22, 23, 17, 27, 6
TAP_S = 0.2


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
        tachometer: Turns a minute that its wire tells of those that the fan makes.
    """

    rig: Rig
    live: LiveStation
    disk: SwitchableDisk = field(default_factory=SwitchableDisk)
    wall: Wall = field(default_factory=lambda: Wall("2000-01-01T00:00:00.000+00:00", True))
    broker_connected: bool = True
    broker_refuses: str = ""
    topics_forbidden: str = ""
    cut_power: "Callable[[Around, float], None]" = lambda _on, _blind_s: None
    tachometer: Callable[[float], float] = float

    def turn(self, knob: Knob, to: float, over_s: float = 0.0) -> None:
        """Turn a knob of the world."""
        self.rig.world.turn(self.rig.machine.clock.now_ns(), knob, to, over_s)
        self.rig.keep_up()

    def hang(self, *, on_hook: bool) -> None:
        """Hang the hood on its hook, or take it off."""
        pins = self.rig.machine.simulated_pins
        (pins.press if on_hook else pins.release)(HOOK_GPIO)

    def tap(self) -> None:
        """Press the button shortly."""
        self.rig.press("answer")
        asyncio.get_running_loop().call_later(TAP_S, self.rig.release, "answer")

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


def _taken_input(gpio: int) -> Injector:
    """Another program takes an input's line away, and gives it back."""
    held = []

    def begin(around: Around) -> None:
        pins = around.rig.machine.simulated_pins
        pins._inputs[gpio].close()
        held.append(pins.input(gpio, pull_up=True))

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


def _button_stuck_as_fan_stops(around: Around) -> None:
    around.rig.press("answer")
    around.turn(Knob.FAN, 0.0)


def _button_and_fan_back(around: Around) -> None:
    around.rig.release("answer")
    around.turn(Knob.FAN, 1.0)


def _fan_stops_and_is_answered_once(around: Around) -> None:
    """The fan stops, LEAVE sounds, the wearer presses, and stays all the same."""
    around.turn(Knob.FAN, 0.0)
    asyncio.get_running_loop().call_later(8.0, around.tap)


def _hood_on_as_fan_stops(around: Around) -> None:
    """Nobody has checked: the hood leaves its hook, and the fan stops."""
    around.turn(Knob.HOOD, 1.0)
    around.hang(on_hook=False)
    around.turn(Knob.FAN, 0.0)


def _tells(of: Callable[[float], float], fan: float = 1.0) -> Injector:
    """The tachometer's wire tells something else than the fan does."""

    def begin(around: Around) -> None:
        around.tachometer = of
        around.turn(Knob.FAN, fan)

    def end(around: Around) -> None:
        around.tachometer = float
        around.turn(Knob.FAN, 1.0)

    return Injector(begin, end)


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
        "world:filter_loads": Injector(
            lambda on: on.turn(Knob.FILTER, 3.0, 300.0), lambda on: on.turn(Knob.FILTER, 1.0)
        ),
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
        "human:silent": Injector(_nothing, Around.tap),
        "human:no_pulse_and_silent": Injector(lambda on: on.turn(Knob.FINGER_OUT, 1.0), Around.tap),
        "human:answers_once": Injector(
            _fan_stops_and_is_answered_once, lambda on: on.turn(Knob.FAN, 1.0)
        ),
        "human:never_starts": Injector(_nothing, lambda on: on.command(Verb.PRE_USE)),
        "human:starts_without_hood": Injector(
            lambda on: on.command(Verb.START), lambda on: on.turn(Knob.FINGER_OUT, 0.0)
        ),
        "human:hood_on_unchecked": Injector(
            _hood_on_as_fan_stops, lambda on: on.turn(Knob.FAN, 1.0)
        ),
        "button:stuck_as_fan_stops": Injector(_button_stuck_as_fan_stops, _button_and_fan_back),
        "hook:wire_off": Injector(lambda on: on.hang(on_hook=False), _nothing),
        "hook:shorted": Injector(lambda on: on.hang(on_hook=True), _nothing),
        "tachometer:wire_off": _tells(lambda _: 0.0),
        "tachometer:wire_off_as_fan_stops": _tells(lambda _: 0.0, fan=0.0),
        "tachometer:hums_as_fan_stops": _tells(lambda _: 3000.0, fan=0.0),
        "tachometer:counts_half": _tells(lambda rpm: rpm / 2),
        "tachometer:counts_half_as_fan_slows": _tells(lambda rpm: rpm / 2, fan=0.55),
        "tachometer:taken": _taken_input(TACHOMETER_GPIO),
    }
)
"""All there are; one that no row of the table uses fails a test."""
