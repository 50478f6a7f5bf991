"""A pulse oximeter over Bluetooth Low Energy: PLX service 0x1822.

No wiring: the radio reaches through a wall or two. The oximeter sends about once a
second by itself. It sees oxygen saturation late (half a minute) and sees neither carbon
monoxide nor carbon dioxide.
"""

import asyncio

from linetender_drivers.contracts import Machine, NotificationLink
from linetender_drivers.errors import DeviceTimeout, DriverError, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import BATTERY, BatteryReader
from linetender_drivers.oximeter.plx_decode import decode_plx_continuous
from linetender_drivers.oximeter.plx_description import OximeterDescription, read_description
from linetender_drivers.oximeter.plx_measurements import plx_measurements
from linetender_drivers.oximeter.plx_spec import PlxOptions
from linetender_drivers.oximeter.plx_spot_check_decode import decode_plx_spot_check

PLX_SERVICE = "00001822-0000-1000-8000-00805f9b34fb"
PLX_CONTINUOUS_MEASUREMENT = "00002a5f-0000-1000-8000-00805f9b34fb"
PLX_SPOT_CHECK_MEASUREMENT = "00002a5e-0000-1000-8000-00805f9b34fb"
"""Full 128-bit UUIDs in lower case, as scan filters compare them.

Source: Bluetooth SIG Assigned Numbers, 16-bit UUIDs 0x1822, 0x2A5F and 0x2A5E."""

SILENCE_S = 8.0
"""A link that is up but silent this long counts as lost (chosen: several missed seconds
of notifications, and well before the technical alarm's 30 s)."""
SPOT_CHECK_SILENCE_S = 60.0
"""The same for spot checks, which take their time (chosen)."""
DEADLINE_MARGIN_S = 2.0


class PlxOximeter:
    """An oximeter with the PLX service; implements `contracts.Sensor`.

    Args:
        name: The device's name in the station file.
        options: Its options there.
        machine: Where the radio is.
        signals: Which of the oximeter's signals the station wants.
    """

    read_deadline_s: float

    def __init__(
        self, name: str, options: PlxOptions, machine: Machine, signals: tuple[str, ...]
    ) -> None:
        self._name = name
        self._address = options.address
        self._is_continuous = options.measurement == "continuous"
        self._silence_s = SILENCE_S if self._is_continuous else SPOT_CHECK_SILENCE_S
        self._machine = machine
        self._signals = frozenset(signals)
        self._link: NotificationLink | None = None
        self._battery: BatteryReader | None = None
        self._went_silent = False
        self.read_deadline_s = self._silence_s + DEADLINE_MARGIN_S

    async def open(self) -> None:
        """Connect and subscribe.

        Raises:
            DriverError: the oximeter is off, out of range, or has no PLX service.
        """
        characteristic = (
            PLX_CONTINUOUS_MEASUREMENT if self._is_continuous else PLX_SPOT_CHECK_MEASUREMENT
        )
        link = self._machine.notifications(self._address, PLX_SERVICE, characteristic)
        await link.open()
        self._link, self._went_silent = link, False
        if BATTERY in self._signals:
            self._battery = BatteryReader(link, self._machine.clock)

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next notification.

        Returns:
            Each wanted signal in turn, with a number or the reason why there is none;
            the battery's only when it was read, about once a minute.

        Raises:
            DeviceTimeout: nothing came for 8 s, and from then on at once: whatever the
                library says of the link, it has to be made anew.
            BadFrame: the notification is cut short.
            DriverError: the link was lost, or is not open.
        """
        frame = await self._next_frame()
        made = _measured(self._name, frame, is_continuous=self._is_continuous)
        wanted = tuple(one for one in made if one.signal in self._signals)
        return wanted if self._battery is None else wanted + self._battery.poll()

    async def description(self) -> OximeterDescription:
        """Ask the oximeter who it is and what it can tell; it need not answer.

        Raises:
            DriverError: it is not open.
        """
        if self._link is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        return await read_description(self._name, self._link)

    async def close(self) -> None:
        """Disconnect."""
        battery, self._battery = self._battery, None
        link, self._link = self._link, None
        if battery is not None:
            await battery.close()
        if link is not None:
            await link.close()

    async def _next_frame(self) -> bytes:
        if self._link is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        if self._went_silent:
            raise self._silence()
        try:
            async with asyncio.timeout(self._silence_s):
                return await self._link.next()
        except DriverError:
            raise
        except TimeoutError as error:
            self._went_silent = True
            raise self._silence() from error

    def _silence(self) -> DeviceTimeout:
        return DeviceTimeout(
            self._name, f"the oximeter {self._address} sent nothing for {self._silence_s:g} s"
        )


def open_oximeter(
    name: str, options: PlxOptions, machine: Machine, roles: tuple[str, ...]
) -> PlxOximeter:
    """Return an unopened oximeter that gives the signals in `roles`."""
    return PlxOximeter(name, options, machine, roles)


def decode_oximeter(
    name: str, options: PlxOptions, roles: tuple[str, ...], frame: bytes
) -> tuple[Measurement, ...]:
    """Return what the oximeter makes of one notification.

    Raises:
        BadFrame: it is cut short.
    """
    made = _measured(name, frame, is_continuous=options.measurement == "continuous")
    return tuple(one for one in made if one.signal in roles)


def _measured(name: str, frame: bytes, *, is_continuous: bool) -> tuple[Measurement, ...]:
    decode = decode_plx_continuous if is_continuous else decode_plx_spot_check
    return plx_measurements(decode(name, frame))
