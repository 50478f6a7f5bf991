"""One hardware PWM channel, through the files in which the kernel shows it.

Source of files and order: Linux kernel, Documentation/driver-api/pwm.rst ("Using PWMs
with the sysfs interface").
"""

import logging
import os
from pathlib import Path

from linetender_drivers.contracts import Clock
from linetender_drivers.errors import DeviceNotFound, DriverConfigError, DriverError

log = logging.getLogger(__name__)

EXPORT_S, EXPORT_STEPS = 0.05, 20
"""How long the files of a channel may take to be there and writable: after the kernel
makes them, udev gives them to the group gpio (chosen: 1 s in all)."""


class PwmChannel:
    """A square wave that is on or off.

    Args:
        folder: Of the chip, e.g. `/sys/class/pwm/pwmchip0`.
        channel: Its number.
        clock: Whose time is waited by.
    """

    def __init__(self, folder: Path, channel: int, clock: Clock) -> None:
        self._chip = folder
        self._number = channel
        self._folder = folder / f"pwm{channel}"
        self._clock = clock

    async def open(self, frequency_hz: float) -> None:
        """Take the channel, off, and set its wave: half of the time high.

        Raises:
            DeviceNotFound: there is no such chip or channel.
            DriverError: the kernel refuses.
        """
        if not self._chip.is_dir():
            raise DeviceNotFound(
                str(self._chip),
                "there is no such PWM chip; switch one on in config.txt "
                "(`dtoverlay=pwm`), restart, and look with `ls /sys/class/pwm`",
            )
        if not self._folder.is_dir():
            self._set(self._chip / "export", self._number)
        await self._wait_for_files()
        period_ns = round(1e9 / frequency_hz)
        if self._has_period():
            # Left by a crash, maybe sounding; a new channel (period 0) refuses both, and
            # no wave may be high for longer than its period.
            self._set(self._folder / "enable", 0)
            self._set(self._folder / "duty_cycle", 0)
        self._set(self._folder / "period", period_ns)
        self._set(self._folder / "duty_cycle", period_ns // 2)

    def write(self, on: bool) -> None:
        """Start or stop the wave.

        Raises:
            DriverError: the kernel refuses.
        """
        self._set(self._folder / "enable", int(on))

    def close(self) -> None:
        """Stop the wave and give the channel back."""
        try:
            self.write(False)
            self._set(self._chip / "unexport", self._number)
        except DriverError as error:
            log.warning("%s", error)

    async def _wait_for_files(self) -> None:
        for _ in range(EXPORT_STEPS):
            if os.access(self._folder / "period", os.W_OK):
                return
            await self._clock.sleep(EXPORT_S)

    def _has_period(self) -> bool:
        try:
            return (self._folder / "period").read_text("ascii").strip() not in ("", "0")
        except OSError:
            return False  # what follows says why

    def _set(self, file: Path, number: int) -> None:
        try:
            # Opened as it is: a file that is not there must not be made.
            with file.open("r+", encoding="ascii") as opened:
                opened.write(str(number))
        except PermissionError as error:
            raise DriverConfigError(
                str(file), "this user may not write it; add it to the group gpio"
            ) from error
        except OSError as error:
            raise DriverError(
                str(file),
                f"the kernel refuses {number}: {error.strerror}. Is the channel one of this "
                "chip, and used by nothing else (the analogue sound output is one)?",
            ) from error
