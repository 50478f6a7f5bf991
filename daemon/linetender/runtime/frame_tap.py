"""Listens in on what devices answer, so that it can be recorded as it came."""

from collections.abc import Callable

from linetender.recording.lines import Frame
from linetender.recording.writer import RecordingWriter
from linetender_drivers.contracts import Clock, I2cBus, Machine, NotificationLink, Pins

Note = Callable[[bytes], None]


def tapped(
    machine: Machine, source: str, recorder: RecordingWriter | None, clock: Clock
) -> Machine:
    """Return the machine to open a device on: tapped where its answers are to be recorded.

    Args:
        machine: What it is opened on.
        source: Name of the device.
        recorder: Of the session, or None.
        clock: Watch time.
    """
    if recorder is None or not recorder.with_frames:
        return machine
    return TappedMachine(
        machine, lambda answer: recorder.frames([Frame(clock.now_ns(), source, answer.hex())])
    )


class TappedMachine:
    """A machine whose answers to one device are noted; implements `contracts.Machine`.

    Args:
        machine: What the device is opened on.
        note: Called with the bytes of each answer, before the driver has them.
    """

    def __init__(self, machine: Machine, note: Note) -> None:
        self._machine = machine
        self._note = note
        self._buses: dict[str, I2cBus] = {}

    @property
    def clock(self) -> Clock:
        """The clock that drivers wait by."""
        return self._machine.clock

    def i2c(self, bus: str) -> I2cBus:
        """Return the bus with this name, tapped."""
        if bus not in self._buses:
            self._buses[bus] = _TappedBus(self._machine.i2c(bus), self._note)
        return self._buses[bus]

    def pins(self, chip: str) -> Pins:
        """Return the digital lines of a chip; a level is no frame, so nothing is noted."""
        return self._machine.pins(chip)

    def notifications(self, peer: str, service: str, characteristic: str) -> NotificationLink:
        """Return a link to a radio peer, tapped."""
        link = self._machine.notifications(peer, service, characteristic)
        return _TappedLink(link, self._note)


class _TappedBus:
    def __init__(self, bus: I2cBus, note: Note) -> None:
        self._bus = bus
        self._note = note

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        answer = await self._bus.transfer(address, write, read_n)
        if answer:
            self._note(answer)
        return answer


class _TappedLink:
    def __init__(self, link: NotificationLink, note: Note) -> None:
        self._link = link
        self._note = note

    async def open(self) -> None:
        await self._link.open()

    async def next(self) -> bytes:
        frame = await self._link.next()
        self._note(frame)
        return frame

    async def value(self, characteristic: str) -> bytes | None:
        return await self._link.value(characteristic)

    async def send(self, characteristic: str, octets: bytes) -> None:
        await self._link.send(characteristic, octets)

    async def close(self) -> None:
        await self._link.close()
