"""A simulated I2C bus: chips at addresses, answers at once, and faults to order.

It speaks of failures as the real bus does, by the kernel's error numbers, so that a
driver meets the same errors on both.
"""

import asyncio
import errno
import os
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Protocol

from linetender_drivers.buses.i2c_failures import (
    DEADLINE_S,
    never_returned,
    place,
    transfer_failure,
)
from linetender_drivers.contracts import Clock
from linetender_drivers.errors import DriverError


class NotAcknowledged(Exception):
    """A chip refuses a byte."""


class SimulatedChip(Protocol):
    """A chip as the bus sees it."""

    def write(self, data: bytes, now_ns: int) -> None:
        """Take bytes; raises NotAcknowledged."""

    def read(self, length: int, now_ns: int) -> bytes:
        """Give exactly so many bytes; raises NotAcknowledged."""


class Transfer(NamedTuple):
    """One transfer that was asked for.

    Attributes:
        at_ns: The clock's time.
        address: Of the chip.
        write: Bytes sent.
        read: Bytes answered; empty if it failed or nothing was to be read.
        ok: Whether it succeeded.
    """

    at_ns: int
    address: int
    write: bytes
    read: bytes
    ok: bool


class FaultKind(StrEnum):
    """What can go wrong on the way between chip and driver."""

    NACK = "nack"
    """The chip does not answer: unplugged, without power, busy."""
    STUCK = "stuck"
    """A line is held low: the kernel gives up."""
    ARBITRATION = "arbitration"
    """Something else drives the lines."""
    BUS_ERROR = "bus_error"
    FLIPPED_BIT = "flipped_bit"
    """One bit of the answer is the other way round."""
    ZEROS = "zeros"
    """The answer is all zeros: a data line shorted to ground."""
    FROZEN = "frozen"
    """The same answer again and again, with good CRCs."""
    OVERDUE = "overdue"
    """The call does not return; the bus reports that at its deadline, as the real one does."""
    NEVER_RETURNS = "never_returns"
    """The call does not return and the bus reports nothing: what no bus should do."""


_ERROR_NUMBERS = {
    FaultKind.NACK: errno.EREMOTEIO,
    FaultKind.STUCK: errno.ETIMEDOUT,
    FaultKind.ARBITRATION: errno.EAGAIN,
    FaultKind.BUS_ERROR: errno.EIO,
}

_SLOW = frozenset({FaultKind.OVERDUE, FaultKind.NEVER_RETURNS})


@dataclass(frozen=True)
class BusFault:
    """A fault that lasts from one instant to another.

    Attributes:
        kind: What goes wrong.
        address: The one chip it hits; None for all.
        from_ns: First instant (ns) at which it is there.
        until_ns: First instant (ns) at which it is gone; None for never.
        bit: For a flipped bit: which one, counted from the first received.
    """

    kind: FaultKind
    address: int | None = None
    from_ns: int = 0
    until_ns: int | None = None
    bit: int = 0

    def hits(self, address: int, now_ns: int) -> bool:
        """Whether the fault is there for this chip at this time."""
        return (
            self.address in (None, address)
            and self.from_ns <= now_ns
            and (self.until_ns is None or now_ns < self.until_ns)
        )


class SimulatedI2cBus:
    """A bus that answers inline, without a thread; implements `contracts.I2cBus`.

    Args:
        clock: Tells chips and faults the time.
        name: What the station file calls the bus.
        keep_transfers: Whether to keep a list of all transfers.

    Attributes:
        faults: Faults to come or there now; the first that hits counts. Change the
            list at any time.
        transfers: All transfers in order, if they are kept.
    """

    def __init__(
        self, clock: Clock, *, name: str = "simulated", keep_transfers: bool = False
    ) -> None:
        self.faults: list[BusFault] = []
        self.transfers: list[Transfer] = []
        self._clock = clock
        self._name = name
        self._keep_transfers = keep_transfers
        self._chips: dict[int, SimulatedChip] = {}
        self._last_answers: dict[tuple[int, bytes, int], bytes] = {}

    def attach(self, address: int, chip: SimulatedChip) -> None:
        """Wire a chip to the bus, in place of any that is at this address."""
        self._chips[address] = chip

    def detach(self, address: int) -> None:
        """Pull a chip's plug."""
        self._chips.pop(address, None)

    def answers_at_once(self, address: int) -> bool:
        """Whether a transfer to a chip would end, well or badly, without waiting."""
        now_ns = self._clock.now_ns()
        fault = next((fault for fault in self.faults if fault.hits(address, now_ns)), None)
        return fault is None or fault.kind not in _SLOW

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        """Write bytes, then read bytes, as one transfer; see `contracts.I2cBus`.

        Raises:
            DeviceTimeout: no answer before the deadline.
            DriverError: with reason `nack` or `bus_error`.
            ValueError: there is nothing to write and nothing to read.
        """
        if not write and not read_n:
            raise ValueError("a transfer writes or reads at least one byte")
        at_ns = self._clock.now_ns()
        if not (self.faults or self._keep_transfers):
            return self._carry_out(address, write, read_n, at_ns, None)
        answer: bytes | None = None
        try:
            fault = next((fault for fault in self.faults if fault.hits(address, at_ns)), None)
            if fault is not None:
                await self._fail(place(self._name, address), fault.kind)
            answer = self._carry_out(address, write, read_n, at_ns, fault)
            return answer
        finally:
            if self._keep_transfers:
                ok = answer is not None
                self.transfers.append(Transfer(at_ns, address, write, answer or b"", ok))

    def _carry_out(
        self, address: int, write: bytes, read_n: int, at_ns: int, fault: BusFault | None
    ) -> bytes:
        try:
            answer = self._answer(address, write, read_n, at_ns, fault)
        except NotAcknowledged as error:
            raise _failure(place(self._name, address), errno.EREMOTEIO) from error
        self._last_answers[address, write, read_n] = answer
        return _damaged(answer, fault) if fault else answer

    async def _fail(self, where: str, kind: FaultKind) -> None:
        """Raise or wait if the fault is one that lets no answer through."""
        if kind in _ERROR_NUMBERS:
            raise _failure(where, _ERROR_NUMBERS[kind])
        if kind is FaultKind.OVERDUE:
            await self._clock.sleep(DEADLINE_S)
            raise never_returned(where, DEADLINE_S)
        if kind is FaultKind.NEVER_RETURNS:
            await asyncio.get_running_loop().create_future()

    def _answer(
        self, address: int, write: bytes, read_n: int, at_ns: int, fault: BusFault | None
    ) -> bytes:
        if fault is not None and fault.kind is FaultKind.FROZEN:
            frozen = self._last_answers.get((address, write, read_n))
            if frozen is not None:
                return frozen
        chip = self._chips.get(address)
        if chip is None:
            raise NotAcknowledged
        if write:
            chip.write(write, at_ns)
        return chip.read(read_n, at_ns) if read_n else b""


def _failure(where: str, number: int) -> DriverError:
    return transfer_failure(where, OSError(number, os.strerror(number)))


def _damaged(answer: bytes, fault: BusFault) -> bytes:
    if fault.kind is FaultKind.ZEROS:
        return bytes(len(answer))
    if fault.kind is FaultKind.FLIPPED_BIT and answer:
        damaged = bytearray(answer)
        byte, bit = divmod(fault.bit % (8 * len(answer)), 8)
        damaged[byte] ^= 0x80 >> bit
        return bytes(damaged)
    return answer
