"""The recorded levels of every driver on digital lines still mean what they meant.

Each file holds the levels of a driver's lines with their times, and what it made of them
(a switch, a tachometer) or was told (an output). Driven by the same, it must do the same.
`pytest --update-golden` makes the files anew, from invented hands, wires and fans.
"""

import asyncio
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from linetender_drivers.registry import Kind, driver_names, find_spec
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

FOLDER = Path(__file__).parents[1] / "recordings" / "drivers"
MS = 1_000_000

Level = tuple[float, int, bool]
"""Time (ms), GPIO, whether it is high."""


@dataclass(frozen=True)
class Line:
    """One driver and what happens on its lines.

    Attributes:
        driver: Its name in the registry.
        role: What the station file wants of it.
        options: Besides `chip`.
        levels: Of an input or a tachometer: how its lines are driven from outside.
        commands: Of an output: at which time (ms) it is switched on or off.
        until_ms: When the recording ends.
    """

    driver: str
    role: str
    options: dict[str, Any]
    levels: tuple[Level, ...] = ()
    commands: tuple[tuple[float, bool], ...] = field(default=())
    until_ms: float = 3000.0

    def __str__(self) -> str:
        return self.driver


def _bouncing(at_ms: float, gpio: int, high: bool) -> Iterator[Level]:
    """A contact that closes or opens and bounces twice within 3 ms."""
    for after_ms, is_there in ((0.0, True), (0.7, False), (1.1, True), (2.0, False), (2.6, True)):
        yield at_ms + after_ms, gpio, high is is_there


def _pressed() -> Iterator[Level]:
    """A change-over button at rest, pressed, let go, and then its wire crushed."""
    yield 0.0, 17, True
    yield 0.0, 27, False
    yield from _bouncing(500.0, 27, True)
    yield from _bouncing(504.0, 17, False)
    yield from _bouncing(900.0, 17, True)
    yield from _bouncing(905.0, 27, False)
    yield 1500.0, 27, True


def _turning() -> Iterator[Level]:
    """A fan at 600 turns a minute with two pulses each, which stops after 2 s."""
    for pulse in range(40):
        yield 50.0 * pulse + 10.0, 6, False
        yield 50.0 * pulse + 35.0, 6, True


SWITCHING = ((200.0, True), (700.0, False), (900.0, True), (901.0, False), (1500.0, True))

LINES = (
    Line("gpio_button", "answer", {"no_gpio": 17, "nc_gpio": 27}, tuple(_pressed())),
    Line("gpio_contact", "hook", {"gpio": 5}, tuple(_bouncing(800.0, 5, False))),
    Line("gpio_tachometer", "fan_speed_rpm", {"gpio": 6}, tuple(_turning()), until_ms=4000.0),
    Line("gpio_buzzer", "buzzer", {"gpio": 22}, commands=SWITCHING),
    Line("gpio_lamp", "lamp_red", {"gpio": 23, "active_high": False}, commands=SWITCHING),
    Line("gpio_keep_alive", "keep_alive", {"gpio": 24}, commands=SWITCHING),
    Line("gpio_relay", "buzzer", {"gpio": 25}, commands=SWITCHING),
)


class Stage:
    """A machine with one driver's lines.

    Args:
        driver: Its name in the registry.
        role: What is wanted of it.
        options: Besides `chip`.
    """

    def __init__(self, driver: str, role: str, options: dict[str, Any]) -> None:
        self.clock = VirtualClock()
        machine = SimulatedMachine(self.clock)
        self.pins = machine.simulated_pins
        spec = find_spec(driver)
        self.kind = spec.kind
        model = spec.options.model_validate({"chip": "simulated", **options})
        self.device = spec.opener()("part", model, machine, (role,))

    async def until(self, at_ms: float) -> None:
        wait_ms = at_ms - self.clock.now_ns() / MS
        if wait_ms > 0:
            await self.clock.sleep(wait_ms / 1000)

    async def drive(self, levels: list[Level]) -> None:
        for at_ms, gpio, high in levels:
            await self.until(at_ms)
            self.pins.drive(gpio, high)

    async def hear(self, until_ms: float) -> list[list[object]]:
        """Return what an input or a tachometer says, each with its time (ms)."""
        said: list[list[object]] = []
        while self.clock.now_ns() < until_ms * MS:
            if self.kind is Kind.INPUT:
                change = await self.device.change()
                words: list[object] = [change.contact, change.state]
            else:
                (one,) = await self.device.read()
                words = [one.signal, one.value, one.reason, one.doubt]
            said.append([self.clock.now_ns() / MS, *words])
        return said

    async def obey(self, commands: list[tuple[float, bool]], until_ms: float) -> list[Level]:
        """Switch an output, close it at the end, and return how it drove its line."""
        for at_ms, on in commands:
            await self.until(at_ms)
            self.device.write(on)
        await self.until(until_ms)
        await self.device.close()
        return [(edge.at_ns / MS, edge.gpio, edge.high) for edge in self.pins.edges]


async def _heard(stage: Stage, levels: list[Level], until_ms: float) -> list[list[object]]:
    started = [level for level in levels if level[0] == 0.0]
    await stage.drive(started)
    await stage.device.open()
    hand = asyncio.ensure_future(stage.drive(levels[len(started) :]))
    said = await stage.hear(until_ms)
    await hand
    await stage.device.close()
    return said


async def _driven(stage: Stage, commands: list[tuple[float, bool]], until_ms: float) -> list[Level]:
    await stage.device.open()
    return await stage.obey(commands, until_ms)


def _play(header: dict[str, Any], levels: list[Level]) -> tuple[list[Any], list[Level]]:
    """Return what a driver says, and how its lines go, under what a recording holds."""

    async def scene() -> tuple[list[Any], list[Level]]:
        stage = Stage(header["driver"], header["role"], header["options"])
        if stage.kind is Kind.OUTPUT:
            commands = [(at_ms, on) for at_ms, on in header["commands"]]
            return [], await _driven(stage, commands, header["until_ms"])
        return await _heard(stage, levels, header["until_ms"]), levels

    return run_virtual(scene())


def _read(path: Path) -> tuple[dict[str, Any], list[Level]]:
    header, *lines = [json.loads(line) for line in path.read_text().splitlines()]
    return header, [(line["at_ms"], line["gpio"], line["high"]) for line in lines]


def _record(line: Line, path: Path) -> None:
    header: dict[str, Any] = {
        "driver": line.driver,
        "device": "simulated lines, no real part",
        "who": "simulation",
        "how": "tests/drivers/test_line_recordings.py --update-golden",
        "options": line.options,
        "role": line.role,
        "commands": line.commands,
        "until_ms": line.until_ms,
    }
    header["said"], levels = _play(header, list(line.levels))
    lines = [{"at_ms": at_ms, "gpio": gpio, "high": high} for at_ms, gpio, high in levels]
    path.write_text("".join(json.dumps(one) + "\n" for one in (header, *lines)))


@pytest.mark.parametrize("line", LINES, ids=str)
def test_the_recorded_levels_mean_what_they_meant(line: Line, update_golden: bool) -> None:
    path = FOLDER / f"{line.driver}.jsonl"
    if update_golden:
        _record(line, path)
    header, levels = _read(path)
    assert _play(header, levels) == (header["said"], levels)


def test_every_driver_on_digital_lines_has_a_recording() -> None:
    on_lines = [name for name in driver_names() if name.startswith("gpio_")]
    assert sorted(line.driver for line in LINES) == on_lines


def test_the_recordings_say_what_a_person_did() -> None:
    """By hand: pressed at 504 + 2.6 ms and let go at 905 + 2.6 ms, each 20 ms settled."""
    said = _read(FOLDER / "gpio_button.jsonl")[0]["said"]
    states = [state for _, _, state in said]
    changes = [new for old, new in zip([None, *states], states, strict=False) if new != old]
    assert changes == ["open", "closed", "open", "broken"]
    speeds = [value for _, _, value, _, _ in _read(FOLDER / "gpio_tachometer.jsonl")[0]["said"]]
    assert speeds[0] == pytest.approx(600.0, abs=10.0)
    assert speeds[-1] == 0.0


def test_a_changed_level_does_not_pass() -> None:
    header, levels = _read(FOLDER / "gpio_button.jsonl")
    pressed = [level for level in levels if level[1] != 17]
    assert _play(header, pressed)[0] != header["said"]
