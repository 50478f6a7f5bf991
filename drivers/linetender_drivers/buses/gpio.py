"""The digital lines of a Raspberry Pi, through gpiozero with its lgpio pin factory only.

Any other factory is refused rather than taken: they count edges, debounce and close
lines differently. The chip is found by its label, because its number moved between
kernels. Edges carry no meaning here: lgpio runs all callbacks in one thread without a
safety net, so a callback only wakes the event loop, which samples the level.

Tested with gpiozero 2.0.1 and its mock factory; lgpio >= 0.2.2 (older wheels on the
package index are empty).
"""

import asyncio
import logging
from pathlib import Path
from typing import Any

from gpiozero import InputDevice, OutputDevice
from gpiozero.exc import GPIOZeroError

from linetender_drivers.edge_wait import wait_bounded
from linetender_drivers.errors import (
    DeviceNotFound,
    DriverConfigError,
    DriverError,
    FailureReason,
)

log = logging.getLogger(__name__)

HEADER_CHIP = "gpio"
"""Name in station files of the chip behind the 40-pin header."""

HEADER_LABELS = frozenset({"pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835"})
"""Kernel labels of that chip on Raspberry Pi 5; 4; and earlier ones.

Source: `compatible` data of the Linux drivers pinctrl-rp1.c and pinctrl-bcm2835.c."""

MIN_LGPIO = "0.2.2"


class RealPins:
    """The lines of one GPIO chip; implements `contracts.Pins`.

    Args:
        chip: `gpio` for the 40-pin header, or the label of another chip.
        factory: A gpiozero pin factory, for tests; lgpio's on the chip otherwise.

    Raises:
        DriverConfigError: lgpio is not installed or cannot start.
        DeviceNotFound: no chip has the label, or it may not be opened.
    """

    def __init__(self, chip: str = HEADER_CHIP, factory: Any = None) -> None:
        self._errors: tuple[type[Exception], ...] = (GPIOZeroError, OSError)
        if factory is None:
            lgpio, factory = _open_lgpio(chip)
            self._errors += (lgpio.error,)
        self._factory = factory

    def input(self, gpio: int, *, pull_up: bool) -> "RealInputLine":
        """Claim an input with its pull resistor up (else down); needs a running loop.

        Raises:
            DriverConfigError: there is no such line, it is taken, or it cannot be
                pulled that way.
        """
        try:
            device = InputDevice(gpio, pull_up=pull_up, pin_factory=self._factory)
            return RealInputLine(gpio, device, self._errors)
        except self._errors as error:
            raise _refusal(gpio, error) from error

    def output(self, gpio: int, *, safe_high: bool) -> "RealOutputLine":
        """Claim an output, driven to its safe level first.

        gpiozero claims it low and raises it within microseconds where safe is high.

        Raises:
            DriverConfigError: there is no such line, or it is taken.
        """
        try:
            device = OutputDevice(gpio, initial_value=safe_high, pin_factory=self._factory)
        except self._errors as error:
            raise _refusal(gpio, error) from error
        return RealOutputLine(gpio, device, safe_high, self._errors)

    def close(self) -> None:
        """Give all lines and the chip back; lines become floating inputs."""
        self._factory.close()


class RealInputLine:
    """One input; implements `contracts.InputLine`.

    Attributes:
        failed_callbacks: How many edges could not be handed to the loop.
    """

    def __init__(self, gpio: int, device: Any, errors: tuple[type[Exception], ...]) -> None:
        self.failed_callbacks = 0
        self._gpio = gpio
        self._device = device
        self._errors = errors
        self._loop = asyncio.get_running_loop()
        self._changed = asyncio.Event()
        self._edges = 0
        device.pin.when_changed = self._on_edge

    def is_high(self) -> bool:
        """Sample the level now.

        Raises:
            DriverError: the line was given back, or the kernel refuses to read it.
        """
        return bool(_pin_call(self._gpio, self._errors, lambda: _pin_of(self).state))

    async def edge(self, timeout_s: float) -> None:
        """Return at a change of level since the last call, or after the timeout (s)."""
        await wait_bounded(self._changed, timeout_s)

    def edges(self) -> int:
        """Return how many changes of level were reported since the line was claimed."""
        return self._edges

    def close(self) -> None:
        """Give the line back."""
        if self._device.closed:
            return
        try:
            try:
                self._device.pin.when_changed = None
            finally:  # else nobody could claim it again
                self._device.close()
        except self._errors:
            log.warning("GPIO %d could not be given back", self._gpio, exc_info=True)

    def _on_edge(self, _ticks: float, _state: bool) -> None:
        # Runs in lgpio's only thread: an exception here would silence every line.
        self._edges += 1
        try:
            self._loop.call_soon_threadsafe(self._changed.set)
        except Exception:
            self.failed_callbacks += 1
            log.exception("an edge of GPIO %d was lost", self._gpio)


class RealOutputLine:
    """One output; implements `contracts.OutputLine`."""

    def __init__(
        self, gpio: int, device: Any, safe_high: bool, errors: tuple[type[Exception], ...]
    ) -> None:
        self._gpio = gpio
        self._device = device
        self._safe_high = safe_high
        self._errors = errors

    def write(self, high: bool) -> None:
        """Drive the line.

        Raises:
            DriverError: the line was given back, or the kernel refuses to drive it.
        """
        _pin_call(self._gpio, self._errors, lambda: setattr(_pin_of(self), "state", high))

    def close(self) -> None:
        """Drive the line to its safe level and give it back, a floating input.

        From then on the external pull resistor alone holds it safe.
        """
        if self._device.closed:
            return
        try:
            try:
                self._device.pin.state = self._safe_high
            finally:  # else nobody could claim it again
                self._device.close()
        except self._errors:
            log.warning("GPIO %d could not be given back", self._gpio, exc_info=True)


def find_chip(lgpio: Any, chip: str, folder: Path = Path("/dev")) -> int:
    """Return the number of a GPIO chip by its label.

    Args:
        lgpio: The lgpio module.
        chip: `gpio` for the 40-pin header, or a chip's label.
        folder: Where the chips' device files lie.

    Raises:
        DeviceNotFound: no chip has the label; lists what there is.
    """
    wanted = HEADER_LABELS if chip == HEADER_CHIP else frozenset({chip})
    numbers = sorted(
        int(path.name.removeprefix("gpiochip"))
        for path in folder.glob("gpiochip*")
        if path.name.removeprefix("gpiochip").isdecimal()
    )
    seen = []
    for number in numbers:
        try:
            handle = lgpio.gpiochip_open(number)
        except lgpio.error as error:
            seen.append(f"gpiochip{number} ({error})")
            continue
        try:
            label = lgpio.gpio_get_chip_info(handle)[3]
        finally:
            lgpio.gpiochip_close(handle)
        if label in wanted:
            return number
        seen.append(f"gpiochip{number} ({label})")
    raise DeviceNotFound(
        chip,
        f"no GPIO chip labelled {' or '.join(sorted(wanted))}; found: {', '.join(seen) or 'none'}. "
        "On a Raspberry Pi the user must be in the group gpio; elsewhere name the chip's label",
    )


def _open_lgpio(chip: str) -> tuple[Any, Any]:
    try:
        import lgpio
        from gpiozero.pins.lgpio import LGPIOFactory
    except (ImportError, AttributeError) as error:
        raise DriverConfigError(
            chip,
            f"lgpio >= {MIN_LGPIO} cannot be loaded ({error}); install the extra: "
            "pip install 'linetender[pi]', or the system's python3-lgpio",
        ) from error
    except OSError as error:
        raise DriverConfigError(
            chip,
            f"lgpio cannot make its pipe ({error}); start in a folder that may be written to, "
            "or name one in the environment variable LG_WD",
        ) from error
    number = find_chip(lgpio, chip)
    try:
        return lgpio, LGPIOFactory(chip=number)
    except lgpio.error as error:
        raise DeviceNotFound(chip, f"gpiochip{number} cannot be opened: {error}") from error


def _refusal(gpio: int, error: Exception) -> DriverConfigError:
    why = str(error) or type(error).__name__
    return DriverConfigError(
        f"GPIO {gpio}",
        f"cannot be claimed: {why}. Give it a GPIO (BCM) number of the header, used by no "
        "other device of the station, program or overlay (`gpioinfo` names who has it)",
    )


def _pin_of(line: RealInputLine | RealOutputLine) -> Any:
    if line._device.closed:
        raise DriverError(f"GPIO {line._gpio}", "is closed", FailureReason.CLOSED)
    return line._device.pin


def _pin_call(gpio: int, errors: tuple[type[Exception], ...], call: Any) -> Any:
    try:
        return call()
    except errors as error:
        raise DriverError(f"GPIO {gpio}", f"the kernel refuses: {error}") from error
