"""Listens to everything that one Bluetooth peer offers and sends, for who explores it.

It writes nothing to the peer but the wish to be notified, unless it is told to.
"""

import asyncio
import contextlib
from collections.abc import Callable
from typing import NamedTuple

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from linetender_drivers.buses.ble_bounded import bounded
from linetender_drivers.buses.ble_failures import RADIO_ERRORS, radio_failure
from linetender_drivers.buses.ble_finder import PeerFinder
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

SENDS = frozenset({"notify", "indicate"})
"""Properties of a characteristic that can be subscribed to."""

_PLX_SERVICE = "00001822-0000-1000-8000-00805f9b34fb"


class Offer(NamedTuple):
    """One characteristic of a peer.

    Attributes:
        service: 128-bit UUID, lower case.
        characteristic: The same.
        properties: What may be done with it: `read`, `write`, `notify`, …, sorted.
    """

    service: str
    characteristic: str
    properties: tuple[str, ...]

    @property
    def sends(self) -> bool:
        """Whether it can be subscribed to."""
        return not SENDS.isdisjoint(self.properties)


class Heard(NamedTuple):
    """One notification or indication.

    Attributes:
        characteristic: Who sent it.
        octets: What.
    """

    characteristic: str
    octets: bytes


class BleListener:
    """A link to one peer that hears all of it. Open it once.

    Args:
        address: Of the peer, in upper case.
        limits: How long calls may take.
    """

    def __init__(self, address: str, limits: RadioLimits | None = None) -> None:
        self._address = address
        self._limits = limits or RadioLimits()
        self._client: BleakClient | None = None
        self._heard: asyncio.Queue[Heard | None] = asyncio.Queue()

    async def open(self) -> tuple[Offer, ...]:
        """Find the peer and connect; return what it offers, in its own order.

        Raises:
            DriverError: it is not in range, does not answer, or there is no radio.
        """
        device = await PeerFinder(self._limits).find(self._address, _PLX_SERVICE)
        limits = self._limits
        self._client = client = BleakClient(
            device, disconnected_callback=self._dropped, timeout=limits.connect_s
        )
        is_up = False
        try:
            await bounded(client.connect(), limits.connect_s + limits.call_s)
            is_up = True
            return tuple(
                Offer(each.service_uuid, each.uuid, tuple(sorted(each.properties)))
                for service in client.services
                for each in service.characteristics
            )
        except RADIO_ERRORS as error:
            raise radio_failure(self._address, error) from error
        finally:
            if not is_up:
                await self.close()

    async def subscribe(self, is_wanted: Callable[[Offer], bool]) -> None:
        """Ask for all that the wanted characteristics send.

        Raises:
            DriverError: the peer refuses, or the link is lost or not open.
        """
        client = self._open_client()
        try:
            for service in client.services:
                for each in service.characteristics:
                    offer = Offer(each.service_uuid, each.uuid, tuple(sorted(each.properties)))
                    if offer.sends and is_wanted(offer):
                        await bounded(client.start_notify(each, self._take), self._limits.call_s)
        except RADIO_ERRORS as error:
            raise radio_failure(self._address, error) from error

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Write to a characteristic.

        Raises:
            DriverError: the peer has none such, refuses, or the link is lost or not open.
        """
        client = self._open_client()
        try:
            await bounded(client.write_gatt_char(characteristic, octets), self._limits.call_s)
        except RADIO_ERRORS as error:
            raise radio_failure(self._address, error) from error

    async def next(self) -> Heard:
        """Wait for what comes next.

        Raises:
            DeviceNotFound: the link was lost.
            DriverError: the link is not open.
        """
        self._open_client()
        heard = await self._heard.get()
        if heard is None:
            self._heard.put_nowait(None)
            raise DeviceNotFound(
                self._address, "the radio link was lost: out of range, switched off, or empty"
            )
        return heard

    async def close(self) -> None:
        """Disconnect, within a limit; never raises."""
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(*RADIO_ERRORS):
                await bounded(client.disconnect(), self._limits.disconnect_s)

    def _take(self, characteristic: BleakGATTCharacteristic, octets: bytearray) -> None:
        self._heard.put_nowait(Heard(characteristic.uuid, bytes(octets)))

    def _dropped(self, _client: BleakClient) -> None:
        self._heard.put_nowait(None)

    def _open_client(self) -> BleakClient:
        if self._client is None:
            raise DriverError(self._address, "the link is not open", FailureReason.CLOSED)
        return self._client
