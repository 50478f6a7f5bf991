"""The real I2C bus: one daemon thread per bus, deadlines judged by whoever waits.

smbus2 blocks, and a transfer on a stuck bus may block for ever. So the calls are made
in a thread of their own; a thread that does not come back is left behind and the next
transfer starts another.

A bus on which a chip holds the data line low needs nine clocks on the other line, which
this file does not give: the line belongs to the bus controller, and a program that takes it
as a GPIO cannot put it back.
"""

import asyncio
import contextlib
import fcntl
import logging
import os
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import smbus2

from linetender_drivers.buses.i2c_failures import (
    DEADLINE_S,
    REFUSALS,
    already_owned,
    never_returned,
    opening_failure,
    place,
    transfer_failure,
)
from linetender_drivers.errors import DeviceTimeout, DriverError, FailureReason

log = logging.getLogger(__name__)

I2C_TIMEOUT_IOCTL = 0x0702
"""Sets the kernel's limit for one transfer. Source: Linux, include/uapi/linux/i2c-dev.h."""

KERNEL_TIMEOUT_10_MS = 10
"""That limit, in units of 10 ms (chosen: well inside our own deadline)."""

READ_ATTEMPTS = 3
"""How often a read is tried that a chip or another master refused (chosen)."""

POINTER_LENGTH = 1
"""What a read may write first and still be the same when done twice: a register's number.
More bytes may set something."""

REOPEN_AFTER = 3
"""So many failures of the bus itself in a row, and its node is opened anew (chosen). What
a chip refuses is no failure of the bus."""

MAX_HUNG_THREADS = 4
"""Calls left behind before the bus is given up (chosen: the supervisor retries for ever,
and each retry on a bus that is stuck inside the kernel would leave one more)."""


class OpenBus(Protocol):
    """What is used of `smbus2.SMBus`."""

    fd: int | None

    def i2c_rdwr(self, *messages: Any) -> None:
        """Make one transfer of one or two messages."""

    def close(self) -> None:
        """Close the device node."""


@dataclass(frozen=True)
class _Request:
    address: int
    write: bytes
    read_n: int
    loop: asyncio.AbstractEventLoop
    answer: asyncio.Future[bytes]


class RealI2cBus:
    """One I2C bus of this machine; implements `contracts.I2cBus`.

    Use it from one event loop. It takes the bus for this process alone at the first
    transfer and gives it back with `close`.

    Args:
        path: Device node, e.g. `/dev/i2c-1`.
        open_bus: Opens the node for transfers.
        deadline_s: A transfer that takes longer (s) is a DeviceTimeout.
    """

    def __init__(
        self,
        path: str,
        *,
        open_bus: Callable[[str], OpenBus] = smbus2.SMBus,
        deadline_s: float = DEADLINE_S,
    ) -> None:
        self._path = path
        self._open_bus = open_bus
        self._deadline_s = deadline_s
        self._lock_fd: int | None = None
        self._worker: _Worker | None = None
        self._hung: list[_Worker] = []
        self._closed = False

    async def transfer(self, address: int, write: bytes, read_n: int) -> bytes:
        """Write bytes, then read bytes, as one transfer; see `contracts.I2cBus`.

        Raises:
            DeviceNotFound: there is no such bus.
            DriverConfigError: the bus is another program's, or not open to this user.
            DeviceTimeout: no answer before the deadline.
            DriverError: with reason `nack`, `bus_error` or `closed`.
            ValueError: there is nothing to write and nothing to read.
        """
        if not write and not read_n:
            raise ValueError("a transfer writes or reads at least one byte")
        where = place(self._path, address)
        worker = self._ready_worker(where)
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[bytes] = loop.create_future()
        worker.requests.put(_Request(address, write, read_n, loop, answer))
        try:
            async with asyncio.timeout(self._deadline_s):
                return await answer
        except TimeoutError as error:
            if isinstance(error, DriverError):  # the bus itself reported a time-out
                raise
            self._abandon(worker)
            raise never_returned(where, self._deadline_s) from error

    def close(self) -> None:
        """Give the bus back; a transfer under way ends first, in its own time."""
        self._closed = True
        if self._worker is not None:
            self._worker.stop()
            self._worker = None
        if self._lock_fd is not None:
            os.close(self._lock_fd)
            self._lock_fd = None

    def _ready_worker(self, where: str) -> "_Worker":
        if self._closed:
            raise DriverError(where, "the bus is closed", FailureReason.CLOSED)
        if self._lock_fd is None:
            self._lock_fd = _own(self._path)
        if self._worker is None:
            self._hung = [worker for worker in self._hung if worker.is_alive()]
            if len(self._hung) >= MAX_HUNG_THREADS:
                raise DeviceTimeout(
                    where,
                    f"{len(self._hung)} transfers hang inside the kernel; cut the power of "
                    "the chips on this bus, or restart the machine",
                )
            self._worker = _Worker(self._path, self._open_bus)
            self._worker.start()
        return self._worker

    def _abandon(self, worker: "_Worker") -> None:
        """Leave a worker to its fate, unless another waiter has done so already."""
        if self._worker is worker:
            worker.stop()
            self._hung.append(worker)
            self._worker = None


def _own(path: str) -> int:
    """Lock a device node for this process; the returned descriptor holds the lock."""
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
    except OSError as error:
        raise opening_failure(path, error) from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(descriptor)
        if isinstance(error, BlockingIOError):
            raise already_owned(path) from error
        raise opening_failure(path, error) from error
    return descriptor


class _Worker(threading.Thread):
    """Makes the blocking calls of one bus, in order."""

    def __init__(self, path: str, open_bus: Callable[[str], OpenBus]) -> None:
        super().__init__(name=f"i2c {path}", daemon=True)
        self.requests: queue.SimpleQueue[_Request | None] = queue.SimpleQueue()
        self._path = path
        self._open_bus = open_bus
        self._stopped = threading.Event()

    def stop(self) -> None:
        """End after the call under way; requests still queued are dropped."""
        self._stopped.set()
        self.requests.put(None)

    def run(self) -> None:
        bus: OpenBus | None = None
        failures, is_told = 0, False
        while (request := self.requests.get()) is not None and not self._stopped.is_set():
            if request.answer.cancelled():
                continue
            try:
                if bus is None:
                    bus = self._open()
                result: bytes | DriverError = self._transfer(bus, request)
                failures, is_told = 0, False
            except DriverError as error:
                result = error
                failures += error.reason is not FailureReason.NACK
            if bus is not None and failures >= REOPEN_AFTER:
                if not is_told:  # once until it works again
                    log.warning("%s: %d failures in a row; opening it anew", self._path, failures)
                bus.close()
                bus, failures, is_told = None, 0, True
            _deliver(request, result)
        if bus is not None:
            bus.close()

    def _transfer(self, bus: OpenBus, request: _Request) -> bytes:
        attempts = READ_ATTEMPTS if _is_idempotent(request) else 1
        refused: OSError | None = None
        for attempt in range(1, attempts + 1):
            messages = []
            if request.write:
                messages.append(smbus2.i2c_msg.write(request.address, request.write))
            if request.read_n:
                messages.append(smbus2.i2c_msg.read(request.address, request.read_n))
            try:
                bus.i2c_rdwr(*messages)
                break
            except OSError as error:
                is_refusal = error.errno in REFUSALS
                # Of several refusals the first is the cause; later ones may follow from it.
                cause = refused = (refused or error) if is_refusal else error
                if not is_refusal or attempt == attempts or self._stopped.is_set():
                    where = place(self._path, request.address)
                    raise transfer_failure(where, cause) from error
        return bytes(messages[-1]) if request.read_n else b""

    def _open(self) -> OpenBus:
        try:
            bus = self._open_bus(self._path)
        except OSError as error:
            raise opening_failure(self._path, error) from error
        if bus.fd is not None:
            with contextlib.suppress(OSError):  # not every adapter lets it be set
                fcntl.ioctl(bus.fd, I2C_TIMEOUT_IOCTL, KERNEL_TIMEOUT_10_MS)
        return bus


def _is_idempotent(request: _Request) -> bool:
    return request.read_n > 0 and len(request.write) <= POINTER_LENGTH


def _deliver(request: _Request, result: bytes | DriverError) -> None:
    def settle() -> None:
        if request.answer.done():  # its waiter gave up
            return
        if isinstance(result, DriverError):
            request.answer.set_exception(result)
        else:
            request.answer.set_result(result)

    with contextlib.suppress(RuntimeError):  # the loop has closed: nobody waits any more
        request.loop.call_soon_threadsafe(settle)
