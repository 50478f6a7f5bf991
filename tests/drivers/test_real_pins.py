"""The GPIO adapter over gpiozero's own mock factory, and the search for the chip."""

import asyncio
import errno
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from gpiozero.pins.mock import MockFactory

from linetender_drivers.buses.gpio import RealPins, find_chip
from linetender_drivers.errors import (
    DeviceNotFound,
    DriverConfigError,
    DriverError,
    FailureReason,
)


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    made = MockFactory()
    yield made
    made.reset()


def test_an_input_reads_levels_and_wakes_at_edges(factory: MockFactory) -> None:
    async def scene() -> list[bool]:
        line = RealPins(factory=factory).input(17, pull_up=True)
        seen = [line.is_high()]
        factory.pin(17).drive_low()
        await asyncio.wait_for(line.edge(30.0), 5.0)
        seen.append(line.is_high())
        line.close()
        return seen

    assert asyncio.run(scene()) == [True, False]


def test_every_edge_is_counted_however_busy_the_loop_is(factory: MockFactory) -> None:
    async def scene() -> tuple[int, int]:
        line = RealPins(factory=factory).input(17, pull_up=True)
        before = line.edges()
        for _ in range(100):
            factory.pin(17).drive_low()
            factory.pin(17).drive_high()
        return before, line.edges()

    assert asyncio.run(scene()) == (0, 200)


def test_a_button_held_at_start_is_sampled(factory: MockFactory) -> None:
    async def scene() -> bool:
        line = RealPins(factory=factory).input(17, pull_up=False)
        factory.pin(17).drive_high()
        return line.is_high()

    assert asyncio.run(scene()) is True


def test_an_edge_after_the_loop_has_ended_is_counted_and_does_not_raise(
    factory: MockFactory, caplog: pytest.LogCaptureFixture
) -> None:
    async def claim() -> object:
        return RealPins(factory=factory).input(17, pull_up=True)

    line = asyncio.run(claim())
    factory.pin(17).drive_low()
    assert line.failed_callbacks == 1
    assert "an edge of GPIO 17 was lost" in caplog.text


@pytest.mark.parametrize("safe_high", [False, True])
def test_an_output_starts_safe_and_ends_safe(factory: MockFactory, safe_high: bool) -> None:
    pins = RealPins(factory=factory)
    pin = factory.pin(18)
    line = pins.output(18, safe_high=safe_high)
    levels = [(pin.function, bool(pin.state))]
    line.write(not safe_high)
    levels.append((pin.function, bool(pin.state)))
    pin.clear_states()
    line.close()
    assert levels == [("output", safe_high), ("output", not safe_high)]
    assert bool(pin.states[1].state) is safe_high
    assert pin.function == "input"


def test_lines_can_be_claimed_again_after_closing(factory: MockFactory) -> None:
    pins = RealPins(factory=factory)
    pins.output(18, safe_high=False).close()
    line = pins.output(18, safe_high=False)
    line.write(True)
    assert factory.pin(18).state == 1


def test_a_line_whose_last_order_was_refused_can_be_claimed_again(
    factory: MockFactory, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(_: object) -> None:
        raise OSError(errno.EBUSY, "GPIO busy")

    async def scene() -> list[bool]:
        pins = RealPins(factory=factory)
        lines = pins.input(17, pull_up=True), pins.output(18, safe_high=False)
        with monkeypatch.context() as stubborn:
            stubborn.setattr(factory.pin(17), "_set_when_changed", refuse)
            stubborn.setattr(factory.pin(18), "_set_state", refuse)
            for line in lines:
                line.close()
        again, output = pins.input(17, pull_up=True), pins.output(18, safe_high=False)
        output.write(True)
        return [again.is_high(), factory.pin(18).state == 1]

    assert asyncio.run(scene()) == [True, True]
    assert [f"GPIO {gpio} could not be given back" in caplog.text for gpio in (17, 18)] == [
        True
    ] * 2


def test_a_taken_line_says_what_to_do(factory: MockFactory) -> None:
    pins = RealPins(factory=factory)
    keep = pins.output(18, safe_high=False)
    with pytest.raises(DriverConfigError, match=r"GPIO 18: cannot be claimed.*no other device"):
        pins.output(18, safe_high=False)
    keep.close()


@pytest.mark.parametrize("gpio", [-1, 99])
def test_a_wrong_number_is_refused(factory: MockFactory, gpio: int) -> None:
    with pytest.raises(DriverConfigError, match=f"GPIO {gpio}: cannot be claimed"):
        RealPins(factory=factory).output(gpio, safe_high=False)


def test_a_line_with_a_fixed_pull_up_cannot_be_pulled_down(factory: MockFactory) -> None:
    async def scene() -> None:
        RealPins(factory=factory).input(2, pull_up=False)

    with pytest.raises(DriverConfigError, match="GPIO 2: cannot be claimed"):
        asyncio.run(scene())


def test_a_closed_line_says_so(factory: MockFactory) -> None:
    line = RealPins(factory=factory).output(18, safe_high=False)
    line.close()
    line.close()
    with pytest.raises(DriverError) as refused:
        line.write(True)
    assert refused.value.reason is FailureReason.CLOSED


class LgpioError(Exception):
    """Stands for lgpio.error."""


class FakeLgpio:
    """Chips by number; a label of None may not be opened."""

    error = LgpioError

    def __init__(self, labels: dict[int, str | None]) -> None:
        self.labels = labels
        self.open_handles: list[int] = []

    def gpiochip_open(self, number: int) -> int:
        if self.labels[number] is None:
            raise LgpioError("permission denied")
        self.open_handles.append(number)
        return number

    def gpio_get_chip_info(self, handle: int) -> list[object]:
        return [0, 54, f"gpiochip{handle}", self.labels[handle]]

    def gpiochip_close(self, handle: int) -> None:
        self.open_handles.remove(handle)


def chips(folder: Path, labels: dict[int, str | None]) -> FakeLgpio:
    for number in labels:
        (folder / f"gpiochip{number}").touch()
    (folder / "gpiomem").touch()
    return FakeLgpio(labels)


@pytest.mark.parametrize(
    ("labels", "chip", "number"),
    [
        ({0: "pinctrl-bcm2835", 1: "raspberrypi-exp-gpio"}, "gpio", 0),
        ({0: "pinctrl-bcm2711", 1: "raspberrypi-exp-gpio"}, "gpio", 0),
        ({0: "gpio-brcmstb@107d508500", 4: "pinctrl-rp1"}, "gpio", 4),
        ({0: "pinctrl-rp1", 10: "gpio-brcmstb@107d508500"}, "gpio", 0),
        ({0: None, 1: "other board"}, "other board", 1),
    ],
)
def test_the_chip_is_found_by_label(
    tmp_path: Path, labels: dict[int, str | None], chip: str, number: int
) -> None:
    lgpio = chips(tmp_path, labels)
    assert find_chip(lgpio, chip, tmp_path) == number
    assert lgpio.open_handles == []


def test_no_such_chip_lists_what_there_is(tmp_path: Path) -> None:
    lgpio = chips(tmp_path, {0: None, 1: "something else"})
    with pytest.raises(DeviceNotFound) as refused:
        find_chip(lgpio, "gpio", tmp_path)
    assert "gpiochip0 (permission denied), gpiochip1 (something else)" in str(refused.value)
    assert "group gpio" in str(refused.value)


def test_without_lgpio_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    with pytest.raises(DriverConfigError, match=r"pip install 'linetender\[pi\]'"):
        RealPins()


def test_an_empty_lgpio_is_refused_and_no_other_factory_is_taken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", ModuleType("lgpio"))
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    with pytest.raises(DriverConfigError, match=r"lgpio >= 0\.2\.2 cannot be loaded"):
        RealPins()
