"""Finds a peer by radio: scan first, then devices that are connected already.

In this order, because after a restart of the Bluetooth service the library still
believes in the old connections, and only a scan corrects it; and because a peer whose
link was left open by a killed program does not advertise, so that no scan can find it.

A scan for an address is not filtered by the service, one for `only` is. An address alone
names the device that a person meant, and not every oximeter advertises all that it offers:
a filter would make such a one seem absent. What has the address but not the service is
connected to, and then told as the wrong device, which says more than "not in range". The
price is that the Bluetooth service reports all that advertises around, for the second or
less that it takes until the address is heard.
"""

import asyncio

from bleak import BleakAdapter
from bleak.backends.device import BLEDevice

from linetender_drivers.buses.ble_bounded import bounded
from linetender_drivers.buses.ble_failures import RADIO_ERRORS, radio_failure
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.buses.ble_scanner import Scanner
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

ONLY = "only"
"""Instead of an address: the only peer in range that offers the service."""


class PeerFinder:
    """The one scanner of this process: a second scan at the same time is refused by the
    Bluetooth service, so whoever comes later waits.

    Args:
        limits: How long calls may take.
    """

    def __init__(self, limits: RadioLimits) -> None:
        self._limits = limits
        self._scanner = Scanner(limits)
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

    async def offering(self, service: str) -> dict[str, str]:
        """Return the names of all peers that offer a service now, by address in upper case.

        Args:
            service: 128-bit UUID in lower case.

        Raises:
            DriverError: there is no radio to look with, or it may not be used.
        """
        async with self._scanning:
            try:
                heard = await self._scanner.listen(lambda _: False, [service])
                found = heard | await self._connected(service)
            except RADIO_ERRORS as error:
                if isinstance(error, DriverError):
                    raise
                raise radio_failure(service, error) from error
        return {address: device.name or "" for address, device in sorted(found.items())}

    async def _by_address(self, address: str, service: str) -> BLEDevice:
        heard = await self._scanner.listen(lambda device: device.address.upper() == address)
        found = heard if address in heard else await self._connected(service)
        if address not in found:
            raise DeviceNotFound(
                address,
                f"not heard by radio for {self._limits.scan_s:g} s; switch it on, bring it "
                "nearer, and see that no telephone holds its link",
            )
        return found[address]

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
        heard = await self._scanner.listen(lambda _: False, [service])
        found = heard | await self._connected(service)
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

    async def _connected(self, service: str) -> dict[str, BLEDevice]:
        async def ask() -> list[BLEDevice]:
            adapter = await BleakAdapter.get()
            return await adapter.get_connected_devices([service])

        devices = await bounded(ask(), self._limits.call_s)
        return {device.address.upper(): device for device in devices}


def _place(peer: str) -> str:
    return "the only oximeter in range" if peer == ONLY else peer
