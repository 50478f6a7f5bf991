"""Finds a peer by radio: scan first, then devices that are connected already.

In this order, because after a restart of the Bluetooth service the library still
believes in the old connections, and only a scan corrects it; and because a peer whose
link was left open by a killed program does not advertise, so that no scan can find it.
"""

import asyncio
from collections.abc import Iterable
from dataclasses import dataclass

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice

from linetender_drivers.buses.ble_bounded import bounded
from linetender_drivers.buses.ble_failures import RADIO_ERRORS, radio_failure
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

ONLY = "only"
"""Instead of an address: the only peer in range that offers the service."""


@dataclass(frozen=True)
class RadioLimits:
    """How long each call may take, s. Together they stay under 30 s, the time within
    which a supervisor expects a device to open.

    Attributes:
        scan_s: Looking for a peer (chosen: oximeters advertise several times a second).
        start_and_stop_s: What starting and stopping the scan may add (chosen).
        connect_s: Connecting, with the discovery of services (chosen: typically under
            a second, several where the signal is weak).
        call_s: Any other call (chosen).
        disconnect_s: Disconnecting; the Bluetooth service takes 2.2 to 2.7 s for it by
            design (measured with BlueZ 5.66).
    """

    scan_s: float = 8.0
    start_and_stop_s: float = 2.0
    connect_s: float = 9.0
    call_s: float = 2.0
    disconnect_s: float = 4.0


class PeerFinder:
    """The one scanner of this process: a second scan at the same time is refused by the
    Bluetooth service, so whoever comes later waits.

    Args:
        limits: How long calls may take.
    """

    def __init__(self, limits: RadioLimits) -> None:
        self._limits = limits
        self._scanning = asyncio.Lock()
        self._chosen: dict[str, str] = {}

    async def find(self, peer: str, service: str) -> BLEDevice:
        """Return the peer as the Bluetooth service knows it now.

        Once `only` has been resolved it means that same peer for as long as the process
        runs: a neighbour's must not take its place when it goes out of range.

        Args:
            peer: Its address in upper case, or `only`.
            service: 128-bit UUID in lower case; scan filters compare it as text.

        Raises:
            DeviceNotFound: it is not in range, or there is no radio to look with.
            DriverError: with reason `ambiguous`, several fit `only`.
            DriverConfigError: this user may not use the radio.
        """
        async with self._scanning:
            try:
                if peer != ONLY:
                    return await self._by_address(peer, service)
                if service in self._chosen:
                    return await self._the_same_again(self._chosen[service], service)
                return await self._the_only_one(service)
            except RADIO_ERRORS as error:
                if isinstance(error, DriverError):
                    raise
                raise radio_failure(_place(peer), error) from error

    async def _by_address(self, address: str, service: str) -> BLEDevice:
        # Not filtered by service: a peer need not advertise all that it offers, and one
        # without the service is better told as such than as absent.
        scan = BleakScanner.find_device_by_filter(
            lambda device, _: device.address.upper() == address, timeout=self._limits.scan_s
        )
        found = await bounded(scan, self._scan_limit_s)
        connected = () if found else await self._connected(service)
        for device in connected:
            if device.address.upper() == address:
                return device
        if found is None:
            raise DeviceNotFound(
                address,
                f"not heard by radio for {self._limits.scan_s:g} s; switch it on, bring it "
                "nearer, and see that no telephone holds its link",
            )
        return found

    async def _the_same_again(self, address: str, service: str) -> BLEDevice:
        try:
            return await self._by_address(address, service)
        except DeviceNotFound as error:
            raise DeviceNotFound(
                address,
                "the one chosen at the start is not heard by radio; bring it nearer, or "
                "restart linetender to choose another",
            ) from error

    async def _the_only_one(self, service: str) -> BLEDevice:
        heard = await bounded(self._listen(service), self._scan_limit_s)
        found = _by_address((*heard, *await self._connected(service)))
        if not found:
            raise DeviceNotFound(
                _place(ONLY),
                f"none was heard by radio for {self._limits.scan_s:g} s; switch it on and "
                "bring it nearer",
            )
        if len(found) > 1:
            names = ", ".join(f"{address} ({found[address].name})" for address in sorted(found))
            raise DriverError(
                _place(ONLY),
                f"{len(found)} are in range: {names}; write the address of the one that is "
                "worn in the station file",
                FailureReason.AMBIGUOUS,
            )
        ((address, device),) = found.items()
        self._chosen[service] = address
        return device

    async def _listen(self, service: str) -> list[BLEDevice]:
        async with BleakScanner(service_uuids=[service]) as scanner:
            await asyncio.sleep(self._limits.scan_s)
            return list(scanner.discovered_devices)

    async def _connected(self, service: str) -> list[BLEDevice]:
        async def ask() -> list[BLEDevice]:
            adapter = await BleakAdapter.get()
            return await adapter.get_connected_devices([service])

        return await bounded(ask(), self._limits.call_s)

    @property
    def _scan_limit_s(self) -> float:
        return self._limits.scan_s + self._limits.start_and_stop_s


def _by_address(devices: Iterable[BLEDevice]) -> dict[str, BLEDevice]:
    return {device.address.upper(): device for device in devices}


def _place(peer: str) -> str:
    return "the only oximeter in range" if peer == ONLY else peer
