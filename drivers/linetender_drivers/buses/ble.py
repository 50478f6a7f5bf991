"""The real Bluetooth radio: links to peers that send notifications, over bleak.

What the library says of a link is not believed: it reports one as connected that has
been silent for minutes, or whose Bluetooth service has died. Whoever reads a link
judges it by the age of its data, closes it and opens another; each opening makes a new
client, and each closing disconnects it, for a client that is merely dropped keeps its
D-Bus connection.
"""

import asyncio
import contextlib
import logging

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice

from linetender_drivers.buses.ble_bounded import bounded
from linetender_drivers.buses.ble_failures import RADIO_ERRORS, radio_failure
from linetender_drivers.buses.ble_finder import PeerFinder
from linetender_drivers.buses.ble_limits import RadioLimits
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

_LOG = logging.getLogger(__name__)

WAITING_AT_MOST = 32
"""Notifications kept for a reader that is behind (chosen: half a minute at one a second;
more would be old values that look new). The oldest go first."""

FAILURES_BEFORE_FORGETTING = 3
"""After so many failed openings in a row the Bluetooth service is told to forget the
peer (chosen): a stale list of its services and a link that exists on paper only are
healed by nothing else."""


class BleRadio:
    """The Bluetooth radio of this computer. Have one in a process.

    Args:
        limits: How long calls may take.
    """

    def __init__(self, limits: RadioLimits | None = None) -> None:
        self._limits = limits or RadioLimits()
        self._finder = PeerFinder(self._limits)
        self._failures: dict[str, int] = {}

    def link(self, peer: str, service: str, characteristic: str) -> "BleLink":
        """Return a link, not yet open; see `contracts.Machine.notifications`."""
        return BleLink(self, peer, service, characteristic)

    async def connect(self, link: "BleLink", peer: str, service: str) -> None:
        """Find a peer and let a link take it; keeps count of what fails.

        Raises:
            DriverError: the peer cannot be found, connected or subscribed to.
        """
        device = await self._finder.find(peer, service)
        try:
            await link.take(device, self._limits)
        except RADIO_ERRORS as error:
            await self._note_failure(device)
            raise radio_failure(device.address, error) from error
        self._failures.pop(device.address, None)

    async def _note_failure(self, device: BLEDevice) -> None:
        failures = self._failures.get(device.address, 0) + 1
        self._failures[device.address] = failures
        # To forget a paired peer would undo what a person did, and it could not come back.
        if failures < FAILURES_BEFORE_FORGETTING or device.details["props"].get("Paired"):
            return
        _LOG.info("%s: told the Bluetooth service to forget it", device.address)
        del self._failures[device.address]
        with contextlib.suppress(*RADIO_ERRORS):
            await bounded(BleakClient(device).unpair(), self._limits.disconnect_s)


class BleLink:
    """A link to one peer; implements `contracts.NotificationLink`. Open it once.

    Args:
        radio: Whose link it is.
        peer: Address in upper case, or `only`.
        service: 128-bit UUID in lower case.
        characteristic: 128-bit UUID in lower case; it notifies or indicates.
    """

    def __init__(self, radio: BleRadio, peer: str, service: str, characteristic: str) -> None:
        self._radio = radio
        self._peer = peer
        self._service = service
        self._characteristic = characteristic
        self._client: BleakClient | None = None
        self._limits = RadioLimits()
        self._waiting: asyncio.Queue[bytes | None] = asyncio.Queue()
        self._lost = False

    async def open(self) -> None:
        """Find the peer, connect and subscribe. However it fails, no link is left.

        Raises:
            DeviceNotFound: the peer is not in range, or there is no radio.
            DeviceTimeout: it does not answer.
            DriverError: with reason `wrong_device`, `ambiguous`, `config` or `bus_error`.
        """
        await self._radio.connect(self, self._peer, self._service)

    async def take(self, device: BLEDevice, limits: RadioLimits) -> None:
        """Connect to a device that was found, and subscribe; `open` does both.

        Raises:
            BleakError, OSError, EOFError: it cannot.
        """
        self._limits = limits
        self._peer = device.address
        self._client = client = BleakClient(
            device, disconnected_callback=self._dropped, timeout=limits.connect_s
        )
        is_up = False
        try:
            await bounded(client.connect(), limits.connect_s + limits.call_s)
            start = client.start_notify(self._characteristic, self._received)
            await bounded(start, limits.call_s)
            is_up = True
        finally:
            if not is_up:
                await self.close()

    async def next(self) -> bytes:
        """Wait for the next notification; those that came before a loss come first.

        Raises:
            DeviceNotFound: the link was lost.
            DriverError: the link is not open.
        """
        self._open_client()
        frame = None if self._lost else await self._waiting.get()
        if frame is None:
            self._lost = True
            raise DeviceNotFound(
                self._peer, "the radio link was lost: out of range, switched off, or empty"
            )
        return frame

    async def value(self, characteristic: str) -> bytes | None:
        """Read another characteristic; None when the peer has none such.

        Raises:
            DriverError: it cannot be read, or the link is lost or not open.
        """
        client = self._open_client()
        try:
            found = client.services.get_characteristic(characteristic)
            if found is None:
                return None
            return bytes(await bounded(client.read_gatt_char(found), self._limits.call_s))
        except RADIO_ERRORS as error:
            raise radio_failure(self._peer, error) from error

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Write to a characteristic.

        Raises:
            DriverError: the peer has none such, refuses, or the link is lost or not open.
        """
        client = self._open_client()
        try:
            await bounded(client.write_gatt_char(characteristic, octets), self._limits.call_s)
        except RADIO_ERRORS as error:
            raise radio_failure(self._peer, error) from error

    async def close(self) -> None:
        """Disconnect, within a limit; never raises."""
        client, self._client = self._client, None
        if client is None:
            return
        try:
            await bounded(client.disconnect(), self._limits.disconnect_s)
        except RADIO_ERRORS as error:
            _LOG.debug("%s: disconnecting failed: %s", self._peer, error)

    def _received(self, _characteristic: BleakGATTCharacteristic, frame: bytearray) -> None:
        if self._waiting.qsize() >= WAITING_AT_MOST:
            self._waiting.get_nowait()
        self._waiting.put_nowait(bytes(frame))

    def _dropped(self, _client: BleakClient) -> None:
        self._waiting.put_nowait(None)

    def _open_client(self) -> BleakClient:
        if self._client is None:
            raise DriverError(self._peer, "the link is not open", FailureReason.CLOSED)
        return self._client
