"""Readings of second boxes, as sensors of this station.

A packet counts when it is fresh, of this run, and not taken before; one that is late
gives bad readings, never numbers. Nothing is made up when none comes: the sensor is
then silent, as a wired one that was pulled out. Age counts from arrival.
"""

import asyncio
from collections.abc import Sequence

from linetender.annunciation.acceptance import Acceptance, Refusal, stale
from linetender.annunciation.forward_payload import ForwardedReading, ForwardPacket
from linetender.annunciation.topics import Topics
from linetender.runtime.far_ends import Refusals
from linetender.runtime.incoming import Received
from linetender.runtime.telling import Teller
from linetender.settings.forwarded_spec import FORWARDED, ForwardedOptions
from linetender.settings.station import Device
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DeviceTimeout, DriverConfigError
from linetender_drivers.measurements import Measurement

SILENCE_S = 5.0
"""A box that sends nothing for longer is lost (chosen: five of its packets)."""

LATE = "late"
"""Why a reading that was too long on its way is none."""

WAITING = 4
"""Packets that may wait for a loop that is behind; the oldest go first (chosen)."""


class ForwardedSensor:
    """One forwarded device of the station file; implements `contracts.Sensor`.

    Args:
        name: The device's name.
        box: The second box it hangs on.
        signals: What is taken of it.
    """

    read_deadline_s = SILENCE_S + 1.0

    def __init__(self, name: str, box: str, signals: Sequence[str]) -> None:
        self.box = box
        self.signals = frozenset(signals)
        self._name = name
        self._waiting: asyncio.Queue[tuple[Measurement, ...]] = asyncio.Queue()

    async def open(self) -> None:
        """Do nothing: the broker's link is there for all."""

    async def read(self) -> tuple[Measurement, ...]:
        """Wait for the next packet.

        Raises:
            DeviceTimeout: none came for 5 s.
        """
        try:
            async with asyncio.timeout(SILENCE_S):
                return await self._waiting.get()
        except TimeoutError as error:
            raise DeviceTimeout(
                self._name,
                f"nothing came from the box {self.box!r} for {SILENCE_S:g} s; see that it runs "
                "`linetender forward` and reaches the broker",
            ) from error

    async def close(self) -> None:
        """Forget what waits: it is old when the device is opened anew."""
        while not self._waiting.empty():
            self._waiting.get_nowait()

    def give(self, made: tuple[Measurement, ...]) -> None:
        """Take what a packet says of this device."""
        if self._waiting.qsize() >= WAITING:
            self._waiting.get_nowait()
        self._waiting.put_nowait(made)


class Forwards:
    """All that second boxes may send to one run of a station.

    Args:
        station: Its id.
        devices: Its devices, of all drivers.
        teller: Knows the run and its heartbeat; None: there is no broker.

    Attributes:
        refusals: What did not count.
    """

    def __init__(self, station: str, devices: Sequence[Device], teller: Teller | None) -> None:
        self.refusals = Refusals()
        self._topics = Topics(station)
        self._teller = teller
        self._sensors = {
            device.name: ForwardedSensor(device.name, device.options.box, device.signals)
            for device in devices
            if device.driver == FORWARDED and isinstance(device.options, ForwardedOptions)
        }
        self._boxes = {sensor.box for sensor in self._sensors.values()}
        run = "" if teller is None else teller.run
        # A late packet is no number, but it is news of its box: only once, so it is counted.
        self._packets = Acceptance(run, ForwardPacket, lambda _: True)

    def sensor(self, device: str) -> ForwardedSensor | None:
        """Return the sensor of a forwarded device; None for any other."""
        return self._sensors.get(device)

    def take(self, received: Received) -> bool:
        """Take a message; whether it was one of readings."""
        box = self._topics.sender(received.topic)
        if not box or received.topic != self._topics.forward(box):
            return False
        if box not in self._boxes:
            self.refusals.note("a packet", box, "the station file takes nothing from such a box")
        elif self._teller is not None:
            self._take(box, received, self._teller)
        return True

    def _take(self, box: str, received: Received, teller: Teller) -> None:
        packet = self._packets.take(
            box, received.payload, retained=received.retained, beat=teller.beat
        )
        if isinstance(packet, Refusal):
            self.refusals.note("a packet", box, packet)
            return
        is_late = stale(packet, teller.run, teller.beat) is not None
        if is_late:
            self.refusals.note("a packet", box, Refusal.STALE)
        wanted = {signal: name for name in self._of(box) for signal in self._sensors[name].signals}
        made: dict[str, dict[str, Measurement]] = {}
        for one in packet.readings:
            name = wanted.get(one.signal)
            if name is None:
                self.refusals.note("a reading", box, "the station file takes no such signal")
            elif one.signal in made.setdefault(name, {}):
                self.refusals.note("a reading", box, "it is the second of its signal")
            else:
                made[name][one.signal] = _measurement(one, is_late=is_late)
        for name, measured in made.items():
            self._sensors[name].give(tuple(measured.values()))

    def _of(self, box: str) -> list[str]:
        return [name for name, sensor in self._sensors.items() if sensor.box == box]


def _measurement(one: ForwardedReading, *, is_late: bool) -> Measurement:
    """Return a reading as it came, or without its value: never better than it was sent."""
    if is_late and one.value is not None:
        return Measurement(one.signal, reason=LATE)
    return Measurement(one.signal, one.value, one.reason, one.doubt)


def open_forwarded(
    name: str, options: ForwardedOptions, _machine: Machine, _roles: tuple[str, ...]
) -> ForwardedSensor:
    """Refuse: only a running station has the link that the readings come by.

    Raises:
        DriverConfigError: always.
    """
    raise DriverConfigError(
        name,
        f"it hangs on the box {options.box!r} and is read by `linetender run` only; do this on "
        "that box",
    )
