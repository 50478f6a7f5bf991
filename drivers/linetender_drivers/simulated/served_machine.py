"""A machine whose bus, pins and radio peer live in a world that another program serves."""

import asyncio

from linetender_drivers.contracts import Clock
from linetender_drivers.edge_wait import wait_bounded
from linetender_drivers.errors import DriverConfigError, DriverError, FailureReason
from linetender_drivers.simulated.world_link import WorldLink
from linetender_drivers.simulated.world_wire import (
    ClaimInput,
    ClaimOutput,
    Drive,
    GiveBack,
    RadioClose,
    RadioNext,
    RadioOpen,
    RadioValue,
    Transfer,
)


class ServedMachine:
    """A machine in a served world; implements `contracts.Machine`.

    Args:
        link: To the world.
        clock: The world's time.
        name: What the station file calls its bus, chip and radio peer: `simulated:DIR`.
    """

    def __init__(self, link: WorldLink, clock: Clock, name: str) -> None:
        self._link = link
        self._clock = clock
        self._name = name

    @property
    def clock(self) -> Clock:
        """The clock that drivers wait by."""
        return self._clock

    def i2c(self, bus: str) -> "ServedI2cBus":
        """Return the world's bus.

        Raises:
            DriverConfigError: it has another name.
        """
        self._check(bus, "bus")
        return ServedI2cBus(self._link)

    def pins(self, chip: str) -> "ServedPins":
        """Return the world's digital lines.

        Raises:
            DriverConfigError: they have another name.
        """
        self._check(chip, "chip")
        return ServedPins(self._link)

    def notifications(self, peer: str, service: str, characteristic: str) -> "ServedPeerLink":
        """Return a link to the world's oximeter; it has one characteristic only.

        Raises:
            DriverConfigError: it has another address.
        """
        self._check(peer, "address")
        return ServedPeerLink(self._link)

    def _check(self, name: str, key: str) -> None:
        if name != self._name:
            raise DriverConfigError(
                name, f'is not in this simulated world; write {key} = "{self._name}"'
            )


class ServedI2cBus:
    """The world's bus; implements `contracts.I2cBus`."""

    def __init__(self, link: WorldLink) -> None:
        self._link = link

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        """Write bytes, then read bytes, as one transfer; see `contracts.I2cBus`.

        Raises:
            DriverError: as the world's bus says.
            ValueError: there is nothing to write and nothing to read.
        """
        request = Transfer(self._link.next_id(), address, write, read_n)
        return (await self._link.outcome(request)).octets or b""


class ServedPins:
    """The world's header of pins; implements `contracts.Pins`."""

    def __init__(self, link: WorldLink) -> None:
        self._link = link

    def input(self, gpio: int, *, pull_up: bool) -> "ServedInputLine":
        """Claim an input.

        Raises:
            DriverConfigError: there is no such line, or it is claimed already.
        """
        answer = self._link.answer(ClaimInput(self._link.next_id(), gpio, pull_up))
        return ServedInputLine(self._link, gpio, high=bool(answer.high))

    def output(self, gpio: int, *, safe_high: bool) -> "ServedOutputLine":
        """Claim an output, driven to its safe level first.

        Raises:
            DriverConfigError: there is no such line, or it is claimed already.
        """
        self._link.answer(ClaimOutput(self._link.next_id(), gpio, safe_high))
        return ServedOutputLine(self._link, gpio)


class ServedInputLine:
    """An input of the world; implements `contracts.InputLine`.

    The world tells each change of its level, so that a look costs nothing.
    """

    def __init__(self, link: WorldLink, gpio: int, *, high: bool) -> None:
        self._link = link
        self._gpio = gpio
        self._high = high
        self._changed = asyncio.Event()
        self._edges = 0
        self._closed = False
        link.on_edge[gpio] = self._note_edge

    def is_high(self) -> bool:
        """Sample the level now.

        Raises:
            DriverError: the line was given back.
        """
        if self._closed:
            raise DriverError(f"GPIO {self._gpio}", "is closed", FailureReason.CLOSED)
        return self._high

    async def edge(self, timeout_s: float) -> None:
        """Return at a change of level since the last call, or after the timeout (s)."""
        await wait_bounded(self._changed, timeout_s)

    def edges(self) -> int:
        """Return how many changes of level there were since the line was claimed."""
        return self._edges

    def close(self) -> None:
        """Give the line back."""
        if not self._closed:
            self._closed = True
            del self._link.on_edge[self._gpio]
            self._link.send_if_there(GiveBack(self._link.next_id(), self._gpio))

    def _note_edge(self, high: bool) -> None:
        self._high = high
        self._edges += 1
        self._changed.set()


class ServedOutputLine:
    """An output of the world; implements `contracts.OutputLine`."""

    def __init__(self, link: WorldLink, gpio: int) -> None:
        self._link = link
        self._gpio = gpio
        self._closed = False

    def write(self, high: bool) -> None:
        """Drive the line.

        Raises:
            DriverError: the line was given back, or the world has gone.
        """
        if self._closed:
            raise DriverError(f"GPIO {self._gpio}", "is closed", FailureReason.CLOSED)
        self._link.send(Drive(self._link.next_id(), self._gpio, high))

    def close(self) -> None:
        """Drive the line to its safe level and give it back."""
        if not self._closed:
            self._closed = True
            self._link.send_if_there(GiveBack(self._link.next_id(), self._gpio))


class ServedPeerLink:
    """A radio link to the world's oximeter; implements `contracts.NotificationLink`."""

    def __init__(self, link: WorldLink) -> None:
        self._link = link

    async def open(self) -> None:
        """Connect and subscribe.

        Raises:
            DeviceNotFound: the oximeter is out of range.
        """
        await self._link.outcome(RadioOpen(self._link.next_id()))

    async def next(self) -> bytes:
        """Wait for the next notification.

        Raises:
            DriverError: the link dropped, or is not open.
        """
        return (await self._link.outcome(RadioNext(self._link.next_id()))).octets or b""

    async def value(self, characteristic: str) -> bytes | None:
        """Read another characteristic; None when the oximeter has none such.

        Raises:
            DriverError: the link is not open.
        """
        request = RadioValue(self._link.next_id(), characteristic)
        return (await self._link.outcome(request)).octets

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Refuse: nothing can be written to this oximeter."""
        raise DriverError(
            "simulated oximeter",
            f"{characteristic} cannot be written to ({octets.hex(' ')})",
            FailureReason.WRONG_DEVICE,
        )

    async def close(self) -> None:
        """Disconnect."""
        self._link.send_if_there(RadioClose(self._link.next_id()))
