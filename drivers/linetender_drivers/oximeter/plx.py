"""A pulse oximeter over Bluetooth Low Energy: PLX service 0x1822, continuous measurement.

No wiring: the radio reaches through a wall or two. The oximeter sends about once a
second by itself. It sees oxygen saturation late (half a minute) and sees neither carbon
monoxide nor carbon dioxide.
"""

import asyncio

from linetender_drivers.contracts import Machine, NotificationLink
from linetender_drivers.errors import DeviceTimeout, DriverError, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.plx_decode import decode_plx_continuous
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spec import PlxOptions

PLX_SERVICE = "00001822-0000-1000-8000-00805f9b34fb"
PLX_CONTINUOUS_MEASUREMENT = "00002a5f-0000-1000-8000-00805f9b34fb"
"""Full 128-bit UUIDs in lower case, as scan filters compare them.

Source: Bluetooth SIG Assigned Numbers, 16-bit UUIDs 0x1822 and 0x2A5F."""

SILENCE_S = 8.0
"""A link that is up but silent this long counts as lost (chosen: several missed seconds
of notifications, and well before the technical alarm's 30 s)."""


class PlxOximeter:
    """An oximeter with the PLX service; implements `contracts.Sensor`.

    Args:
        name: The device's name in the station file.
        options: Its options there.
        machine: Where the radio is.
        signals: Which of the oximeter's signals the station wants.
    """

    read_deadline_s = 10.0

    def __init__(
        self, name: str, options: PlxOptions, machine: Machine, signals: tuple[str, ...]
    ) -> None:
        self._name = name
        self._address = options.address
        self._machine = machine
        self._signals = frozenset(signals)
        self._link: NotificationLink | None = None

    async def open(self) -> None:
        """Connect and subscribe.

        Raises:
            DriverError: the oximeter is off, out of range, or has no PLX service.
        """
        link = self._machine.notifications(self._address, PLX_SERVICE, PLX_CONTINUOUS_MEASUREMENT)
        await link.open()
        self._link = link

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next notification.

        Returns:
            Each wanted signal in turn, with a number or the reason why there is none.

        Raises:
            DeviceTimeout: nothing came for 8 s.
            BadFrame: the notification is cut short.
            DriverError: the link was lost, or is not open.
        """
        frame = await self._next_frame()
        decoded = decode_plx_continuous(self._name, frame)
        return tuple(made for made in plx_measurements(decoded) if made.signal in self._signals)

    async def close(self) -> None:
        """Disconnect."""
        link, self._link = self._link, None
        if link is not None:
            await link.close()

    async def _next_frame(self) -> bytes:
        if self._link is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        try:
            async with asyncio.timeout(SILENCE_S):
                return await self._link.next()
        except DriverError:
            raise
        except TimeoutError as error:
            raise DeviceTimeout(
                self._name, f"the oximeter {self._address} sent nothing for {SILENCE_S:g} s"
            ) from error


def open_oximeter(
    name: str, options: PlxOptions, machine: Machine, roles: tuple[str, ...]
) -> PlxOximeter:
    """Return an unopened oximeter that gives the signals in `roles`."""
    return PlxOximeter(name, options, machine, roles)
