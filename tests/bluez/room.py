"""A room with oximeters in it: the emulated service, a radio of ours, and how to wait.

Real time passes here, for the D-Bus is real; so every wait is for a condition, within a
limit, and the radio's own limits are short.
"""

import asyncio
import os
import shutil
from collections.abc import Awaitable, Callable
from types import SimpleNamespace
from typing import TypeVar

import pytest
from bleak.backends.bluezdbus import manager
from bleak.backends.bluezdbus.version import BlueZFeatures

from bluez.emulated_bluez import EmulatedBlueZ
from bluez.peripheral import CONTINUOUS, PLX, Peripheral
from bluez.private_bus import PrivateBus
from linetender_drivers.buses.ble import BleLink, BleRadio
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.errors import DriverError

needs_dbus = pytest.mark.skipif(
    shutil.which("dbus-daemon") is None,
    reason="NOT CHECKED on a real D-Bus: install dbus-daemon (apt install dbus-daemon)",
)

PATIENT = RadioLimits(scan_s=0.4, connect_s=6.0, call_s=4.0, disconnect_s=4.0, late_start_s=4.0)
"""For what is expected to work, also on a busy machine."""
HURRIED = RadioLimits(scan_s=0.25, connect_s=0.5, call_s=0.3, disconnect_s=0.4, late_start_s=0.5)
"""For what is expected to fail, or is tried again."""
SCENE_S = 30.0
PATIENCE_S = 10.0

T = TypeVar("T")


class Room:
    """What a test plays with.

    Attributes:
        bus: The D-Bus daemon.
        bluez: The emulated service; replaced when it is restarted.
        radio: Ours.
        peripherals: The devices in range.
    """

    def __init__(
        self, bus: PrivateBus, peripherals: tuple[Peripheral, ...], limits: RadioLimits
    ) -> None:
        self.bus = bus
        self.peripherals = peripherals
        self.bluez = EmulatedBlueZ(bus.address, *peripherals)
        self.radio = BleRadio(limits)
        self._links: list[BleLink] = []

    def link(self, peer: str | None = None, characteristic: str = CONTINUOUS) -> BleLink:
        """Return an unopened link, to the first device if none is named."""
        return self.notifications(peer or self.peripherals[0].address, PLX, characteristic)

    def notifications(self, peer: str, service: str, characteristic: str) -> BleLink:
        """Return an unopened link, as a machine does."""
        link = self.radio.link(peer, service, characteristic)
        self._links.append(link)
        return link

    async def close(self) -> None:
        """Leave nothing open, also when a scene failed."""
        for link in self._links:
            await link.close()
        await self.bluez.stop()

    async def open_sooner_or_later(self, peer: str | None = None) -> BleLink:
        """Open a link as a supervisor does: by trying again, each time with a new one."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                link = self.link(peer)
                try:
                    await link.open()
                except DriverError:
                    await asyncio.sleep(0.02)
                else:
                    return link

    @property
    def machine(self) -> SimpleNamespace:
        """As much of a machine as an oximeter needs."""
        clock = SimpleNamespace(now_ns=lambda: round(asyncio.get_running_loop().time() * 1e9))
        return SimpleNamespace(clock=clock, notifications=self.notifications)

    async def restart_bluez(self) -> None:
        """Start the service anew after it was stopped; it knows no device yet."""
        self.bluez = EmulatedBlueZ(self.bus.address, *self.peripherals)
        await self.bluez.start()


def play(
    scene: Callable[[Room], Awaitable[T]],
    *peripherals: Peripheral,
    limits: RadioLimits = PATIENT,
    bus: PrivateBus | None = None,
) -> T:
    """Play a scene with devices in range; at the end nothing of it is left."""

    async def whole(entered: PrivateBus) -> T:
        room = Room(entered, peripherals, limits)
        # Else bleak runs `bluetoothctl --version`, which is not what is tested here.
        BlueZFeatures.checked_bluez_version = True
        await room.bluez.start()
        try:
            async with asyncio.timeout(SCENE_S):
                return await scene(room)
        finally:
            await room.close()
            await _close_bleaks_own_bus()

    with bus or PrivateBus() as entered:
        return asyncio.run(whole(entered))


async def _close_bleaks_own_bus() -> None:
    """Bleak keeps one connection per event loop open until the process ends."""
    own = manager._global_instances.pop(asyncio.get_running_loop(), None)
    if own is not None and own._bus is not None:
        own._bus.disconnect()
        await asyncio.wait({asyncio.ensure_future(own._bus.wait_for_disconnect())})


async def until(is_so: Callable[[], bool], what: str) -> None:
    """Wait until something is so."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            while not is_so():  # noqa: ASYNC110 - what is waited for knows of no event
                await asyncio.sleep(0.005)
    except TimeoutError:
        pytest.fail(f"waited {PATIENCE_S:g} s in vain until {what}")


def open_files() -> int:
    """Return how many file handles this process has open."""
    return len(os.listdir("/proc/self/fd"))
