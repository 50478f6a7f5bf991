"""Listens for what advertises by radio.

The start of a scan is never cancelled on the spot: where the Bluetooth service was only
slow it would begin to scan for us after we gave up, nobody would stop it, and it would
refuse each later scan of this process as "in progress".
"""

import asyncio
import contextlib
import logging
from collections.abc import Callable

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from linetender_drivers.buses.ble_bounded import bounded
from linetender_drivers.buses.ble_failures import RADIO_ERRORS
from linetender_drivers.buses.ble_limits import RadioLimits

_LOG = logging.getLogger(__name__)


class Scanner:
    """Scans, one scan at a time; whoever uses it sees to that.

    Args:
        limits: How long it may take.
    """

    def __init__(self, limits: RadioLimits) -> None:
        self._limits = limits
        self._late: asyncio.Task[None] | None = None

    async def listen(
        self, is_enough: Callable[[BLEDevice], bool], services: list[str] | None = None
    ) -> dict[str, BLEDevice]:
        """Listen until something is heard that is enough, or the time is over.

        Args:
            is_enough: Whether this device ends the scan.
            services: Hear only what advertises one of these; 128-bit UUIDs in lower
                case, for they are compared as text.

        Returns:
            What was heard, by address in upper case.

        Raises:
            TimeoutError: the Bluetooth service does not answer.
            BleakError, OSError, EOFError: it refuses, or is not there.
        """
        heard: dict[str, BLEDevice] = {}
        found = asyncio.Event()

        def detected(device: BLEDevice, _data: AdvertisementData) -> None:
            heard[device.address.upper()] = device
            if is_enough(device):
                found.set()

        scanner = BleakScanner(detected, services)
        await self._start(scanner)
        try:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._limits.scan_s):
                    await found.wait()
        finally:
            await bounded(scanner.stop(), self._limits.call_s)
        return heard

    async def _start(self, scanner: BleakScanner) -> None:
        if self._late is not None and not self._late.done():
            await asyncio.wait({self._late}, timeout=self._limits.call_s)
            if not self._late.done():
                raise TimeoutError("an earlier scan has not been answered yet")
        starting = asyncio.ensure_future(scanner.start())
        is_started = False
        try:
            await asyncio.wait({starting}, timeout=self._limits.call_s)
            if not starting.done():
                raise TimeoutError(f"no scan within {self._limits.call_s:g} s")
            starting.result()
            is_started = True
        finally:
            if not is_started:
                self._late = asyncio.ensure_future(self._stop_once_started(scanner, starting))

    async def _stop_once_started(
        self, scanner: BleakScanner, starting: "asyncio.Task[None]"
    ) -> None:
        with contextlib.suppress(*RADIO_ERRORS):
            await bounded(_ended(starting), self._limits.late_start_s)
            await bounded(scanner.stop(), self._limits.call_s)
            _LOG.debug("a scan that began too late was stopped")


async def _ended(starting: "asyncio.Task[None]") -> None:
    await starting
