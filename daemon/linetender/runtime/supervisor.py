"""Keeps devices going: opens them, reads them, and opens them anew when they fail.

A failure becomes a bad reading with its reason and, when it lasts, a Fact. The last
value is never repeated, and nothing is made up.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from typing import NamedTuple, Protocol

from linetender.core.fact_names import FactName
from linetender.core.inputs import ContactState
from linetender.core.signals import Signal
from linetender.runtime.clock import StationClock
from linetender.runtime.inbox import Inbox
from linetender.runtime.progress import Progress
from linetender.runtime.time_limit import TimeLimit
from linetender.settings.station import Device
from linetender_drivers.contracts import InputDevice, Sensor
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.measurements import ContactChange

_LOG = logging.getLogger(__name__)


class Bounds(NamedTuple):
    """How long a kind of device may take.

    Attributes:
        open_s: One that takes longer to open has failed.
        close_s: Closing waits no longer.
    """

    open_s: float
    close_s: float


WIRED = Bounds(open_s=5.0, close_s=2.0)
"""Chosen: a bus gives up sooner, and a stop must not hang on a dead one."""
BY_RADIO = Bounds(open_s=30.0, close_s=6.0)
"""Chosen: a scan with all that follows takes up to 30 s; the Bluetooth service takes 2.2 to
2.7 s to end a link (measured with BlueZ 5.66), and the radio gives up after 4.6 s. To wait
no longer than by wire would leave the link up, and the oximeter out of reach of the next run."""
CHANGE_WITHIN_S = 5.0
"""A switch repeats its state each second; one silent for longer has failed."""
FAILURES_IN_A_ROW = 3
"""After so many failed reads the device is opened anew (chosen: one bad checksum is no fault)."""
FIRST_BACKOFF_S = 0.25
LONGEST_BACKOFF_S = 5.0
"""Waiting between attempts, doubled each time (chosen: the air must come back within seconds)."""


def is_by_radio(device: Device) -> bool:
    """Say whether nobody may wait for a device, as its radio may be out of reach."""
    return Signal.SPO2_PERCENT in device.signals


def bounds_of(device: Device) -> Bounds:
    """Return how long a device may take."""
    return BY_RADIO if is_by_radio(device) else WIRED


class Opened(Protocol):
    """What all supervised devices have in common."""

    async def open(self) -> None:
        """Open it."""

    async def close(self) -> None:
        """Close it."""


class Supervisor:
    """Looks after one device, for ever.

    Args:
        device: Its entry in the station file.
        inbox: Where readings, switches and facts go.
        clock: Watch time.
        progress: Promised each turn.
        bounds: How long its kind of device may take.
    """

    def __init__(
        self,
        device: Device,
        inbox: Inbox,
        clock: StationClock,
        progress: Progress,
        *,
        bounds: Bounds = WIRED,
    ) -> None:
        self._device = device
        self._inbox = inbox
        self._clock = clock
        self._progress = progress
        self._bounds = bounds
        self._limit = TimeLimit()
        self._failed = False
        self._backoff_s = FIRST_BACKOFF_S

    async def keep_sensor(self, sensor: Sensor, *, is_open: bool = False) -> None:
        """Read a sensor for ever."""

        async def turn() -> None:
            with self._within(sensor.read_deadline_s):
                made = await sensor.read()
            self._inbox.measurements(self._device.name, made)

        await self._keep(sensor, turn, is_open=is_open)

    async def keep_input(self, switch: InputDevice, *, is_open: bool = False) -> None:
        """Follow a switch for ever."""

        async def turn() -> None:
            with self._within(CHANGE_WITHIN_S):
                change = await switch.change()
            self._inbox.contact(self._device.name, change)

        await self._keep(switch, turn, is_open=is_open)

    async def _keep(
        self, opened: Opened, turn: Callable[[], Awaitable[None]], *, is_open: bool
    ) -> None:
        try:
            while True:
                if is_open or await self._attempt(lambda: self._open(opened)):
                    await self._read_until_it_fails(turn)
                    await self._close(opened)
                is_open = False
                self._report(failed=True)
                self._promise(self._backoff_s)
                await self._clock.sleep(self._backoff_s)
                self._backoff_s = min(2 * self._backoff_s, LONGEST_BACKOFF_S)
        finally:
            await self._close(opened)
            self._limit.stop()

    async def _close(self, opened: Opened) -> None:
        try:
            with self._within(self._bounds.close_s):
                await opened.close()
        except TimeoutError:
            _LOG.warning("%s: could not be closed in time", self._device.name)
        except Exception:  # noqa: BLE001 - the supervisor may: see _attempt
            _LOG.exception("%s: the driver %s failed", self._device.name, self._device.driver)

    async def _open(self, opened: Opened) -> None:
        with self._within(self._bounds.open_s):
            await opened.open()

    def _within(self, seconds: float) -> TimeLimit:
        self._promise(seconds)
        return self._limit.of(seconds)

    def _promise(self, seconds: float) -> None:
        self._progress.promise(self._device.name, self._clock.now_ns() + round(seconds * 1e9))

    async def _read_until_it_fails(self, turn: Callable[[], Awaitable[None]]) -> None:
        failures = 0
        while failures < FAILURES_IN_A_ROW:
            if await self._attempt(turn):
                failures = 0
                self._backoff_s = FIRST_BACKOFF_S
                self._report(failed=False)
            else:
                failures += 1

    async def _attempt(self, act: Callable[[], Awaitable[None]]) -> bool:
        """Do something to the device; a failure becomes bad readings, never an exception."""
        try:
            await act()
        except asyncio.CancelledError as error:
            task = asyncio.current_task()
            if task is None or task.cancelling():
                raise
            # Nobody stops this station: something inside the driver was cancelled.
            self._lose("driver_fault", error)
        except DriverError as error:
            self._lose(error.reason.value, error)
        except TimeoutError as error:
            self._lose(FailureReason.TIMEOUT.value, error)
        except Exception as error:  # noqa: BLE001 - one of the four places that may
            # A mistake in a driver must not end the watching of everything else.
            _LOG.exception("%s: the driver %s failed", self._device.name, self._device.driver)
            self._lose("driver_fault", error)
        else:
            return True
        return False

    def _lose(self, reason: str, error: BaseException) -> None:
        _LOG.debug("%s: %s", self._device.name, error)
        self._inbox.lost(self._device.name, self._device.signals, reason)

    def _report(self, *, failed: bool) -> None:
        if failed is self._failed:
            return
        self._failed = failed
        self._inbox.fact(FactName.DEVICE_FAILED, failed, self._device.name)
        if failed and self._device.contact:
            # A switch that cannot be read is as good as one with a broken wire.
            change = ContactChange(self._device.contact, ContactState.BROKEN)
            self._inbox.contact(self._device.name, change)
