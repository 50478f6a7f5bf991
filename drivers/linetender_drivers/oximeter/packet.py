"""A pulse oximeter over Bluetooth Low Energy that speaks its maker's own packets.

A file describes them (`packet_description.py`), so that a new make needs no code. No
wiring; what any oximeter cannot see, this one cannot either (`plx.py`).
"""

import asyncio
from pathlib import Path

from linetender_drivers.contracts import Machine, NotificationLink
from linetender_drivers.errors import DeviceTimeout, DriverConfigError, DriverError, FailureReason
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.packet_decode import decode_packet
from linetender_drivers.oximeter.packet_file import PacketFileError, load_packet_description
from linetender_drivers.oximeter.packet_frames import FrameCutter
from linetender_drivers.oximeter.packet_spec import PacketOptions

SILENCE_S = 8.0
"""Without a frame that carries the fields for this long, the link counts as lost (chosen,
as for every oximeter)."""
DEADLINE_MARGIN_S = 2.0


class PacketOximeter:
    """An oximeter with described packets; implements `contracts.Sensor`.

    Args:
        name: The device's name in the station file.
        options: Its options there.
        machine: Where the radio is.
        signals: Which of the oximeter's signals the station wants.

    Raises:
        DriverConfigError: the description cannot be used.
    """

    def __init__(
        self, name: str, options: PacketOptions, machine: Machine, signals: tuple[str, ...]
    ) -> None:
        try:
            self._description = load_packet_description(Path(options.description))
        except PacketFileError as error:
            raise DriverConfigError(name, str(error)) from error
        self._name = name
        self._address = options.address
        self._machine = machine
        self._signals = frozenset(signals)
        self._link: NotificationLink | None = None
        self._cutter = FrameCutter(name, self._description.frame)
        self._made: list[tuple[Measurement, ...]] = []
        self._went_silent = False
        self.read_deadline_s = SILENCE_S + DEADLINE_MARGIN_S

    async def open(self) -> None:
        """Connect, subscribe, and send the start command where there is one.

        Raises:
            DriverError: the oximeter is off, out of range, or another one than described.
        """
        description = self._description
        link = self._machine.notifications(
            self._address, description.service, description.characteristic
        )
        await link.open()
        self._link, self._went_silent = link, False
        self._cutter, self._made = FrameCutter(self._name, description.frame), []
        if description.start is None:
            return
        is_started = False
        try:
            await link.send(description.start.characteristic, description.start.value)
            is_started = True
        finally:
            if not is_started:
                await self.close()

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next frame that carries the fields.

        Returns:
            Each wanted signal of that frame, with a number or the reason why there is none.

        Raises:
            DeviceTimeout: none came for 8 s, and from then on at once: the link has to be
                made anew.
            BadFrame: what came does not fit the description, or its checksum.
            DriverError: the link was lost, or is not open.
        """
        link = self._link
        if link is None:
            raise DriverError(self._name, "is not open", FailureReason.CLOSED)
        if self._went_silent:
            raise self._silence()
        try:
            async with asyncio.timeout(SILENCE_S):
                while not self._made:
                    self._take(await link.next())
        except DriverError:
            raise
        except TimeoutError as error:
            self._went_silent = True
            raise self._silence() from error
        return tuple(one for one in self._made.pop(0) if one.signal in self._signals)

    async def close(self) -> None:
        """Disconnect."""
        link, self._link = self._link, None
        if link is not None:
            await link.close()

    def _take(self, notification: bytes) -> None:
        for frame in self._cutter.feed(notification):
            if made := decode_packet(self._name, self._description, frame):
                self._made.append(made)

    def _silence(self) -> DeviceTimeout:
        return DeviceTimeout(
            self._name,
            f"the oximeter {self._address} sent no frame as described for {SILENCE_S:g} s",
        )


def open_packet_oximeter(
    name: str, options: PacketOptions, machine: Machine, roles: tuple[str, ...]
) -> PacketOximeter:
    """Return an unopened oximeter that gives the signals in `roles`."""
    return PacketOximeter(name, options, machine, roles)
