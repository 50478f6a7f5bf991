"""A pulse oximeter (service 0x1822) on a virtual radio that BlueZ takes for its own.

SIGUSR1: it goes out of range; SIGUSR2: it comes back. /run/oximeter holds what it
measures, as `SPO2 PULSE`.
"""

import asyncio
import signal
import struct
from pathlib import Path

from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, PhysicalTransport
from bumble.device import Device
from bumble.gatt import Characteristic, Service
from bumble.hci import Address, LeFeatureMask
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport import open_transport
from bumble.transport.common import AsyncPipeSink

MEASURED = Path("/run/oximeter")
ADDRESS = "C4:11:22:33:44:55"


class Link(LocalLink):
    """The library names a sender by its random address; BlueZ connects from its public one."""

    def send_acl_data(self, sender_controller, destination_address, transport, data):  # type: ignore[no-untyped-def]
        """Deliver under the address that the connection was made from."""
        if transport != PhysicalTransport.LE:
            super().send_acl_data(sender_controller, destination_address, transport, data)
            return
        here = sender_controller.le_connections.get(destination_address)
        there = self.find_le_controller(destination_address)
        if here and there:
            loop = asyncio.get_running_loop()
            loop.call_soon(there.on_link_acl_data, here.self_address, transport, data)


def measurement() -> bytes:
    """Return a continuous measurement: no flags, SpO2 and pulse as SFLOAT."""
    spo2, pulse = MEASURED.read_text(encoding="ascii").split()
    return b"\0" + struct.pack("<HH", int(spo2) & 0xFFF, int(pulse) & 0xFFF)


async def peripheral(link: Link) -> tuple[Device, Characteristic]:
    """Return the oximeter, on the air."""
    controller = Controller("oximeter", link=link, public_address="00:AA:01:00:00:43")
    device = Device(
        name="virtual", address=Address(ADDRESS), host=Host(controller, AsyncPipeSink(controller))
    )
    readable = Characteristic.READABLE
    continuous = Characteristic(
        UUID("2A5F"), Characteristic.Properties.NOTIFY, readable, measurement()
    )
    features = Characteristic(UUID("2A60"), Characteristic.Properties.READ, readable, b"\0\0")
    device.add_service(Service(UUID("1822"), [continuous, features]))
    await device.power_on()
    device.advertising_data = bytes(
        AdvertisingData(
            [
                (AdvertisingData.FLAGS, b"\6"),
                (
                    AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
                    struct.pack("<H", 0x1822),
                ),
                (AdvertisingData.COMPLETE_LOCAL_NAME, b"virtual"),
            ]
        )
    )
    await device.start_advertising(auto_restart=True)
    return device, continuous


async def main() -> None:
    """Measure once a second, for ever."""
    link = Link()
    transport = await open_transport("vhci")
    host = Controller(
        "bluez",
        host_source=transport.source,
        host_sink=transport.sink,
        link=link,
        public_address="00:AA:01:00:00:42",
    )
    # It announces these and then sends the plain events, for which Linux would wait 20 s.
    host.le_features &= ~(
        LeFeatureMask.LL_PRIVACY
        | LeFeatureMask.LE_EXTENDED_ADVERTISING
        | LeFeatureMask.LE_PERIODIC_ADVERTISING
    )
    device, continuous = await peripheral(link)

    async def go_away() -> None:
        await device.stop_advertising()
        for connection in list(device.connections.values()):
            await connection.disconnect()

    loop, tasks = asyncio.get_running_loop(), set()
    for number, act in (
        (signal.SIGUSR1, go_away),
        (signal.SIGUSR2, lambda: device.start_advertising(auto_restart=True)),
    ):
        loop.add_signal_handler(number, lambda act=act: tasks.add(asyncio.ensure_future(act())))
    while True:
        await asyncio.sleep(1)
        continuous.value = measurement()
        if device.connections:
            await device.notify_subscribers(continuous, continuous.value)


asyncio.run(main())
