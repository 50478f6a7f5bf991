"""The siren between a station's death in use and its next run.

Another process holds the siren's pins meanwhile, as the kernel may drop or keep a level
whose owner is gone. The next run asks it to let go. Each takes its own lock before it
looks for the other's, so that never both wait and never both hold.
"""

import asyncio
import contextlib
import fcntl
import logging
import os
import select
import signal
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from linetender.settings.station import Station
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DriverError
from linetender_drivers.registry import Kind

_LOG = logging.getLogger(__name__)

LOCK_NAME = "siren.lock"

LETTING_GO_S = 2.0
"""What the holder is given to let go of its pins (chosen: it takes some 20 ms)."""


class SirenHold:
    """The lock of the one that holds the siren, while it is open.

    Args:
        folder: The station's runtime folder.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK_NAME
        self._descriptor = -1

    def __enter__(self) -> Self:
        """Take the lock and write down who has it.

        Raises:
            BlockingIOError: somebody holds the siren already.
        """
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(descriptor)
            raise
        os.ftruncate(descriptor, 0)
        os.write(descriptor, str(os.getpid()).encode())
        self._descriptor = descriptor
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        failure: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        os.close(self._descriptor)


def is_locked(path: Path) -> bool:
    """Say whether a living process holds the lock of a file."""
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(descriptor)
    return False


def take_siren_over(folder: Path) -> None:
    """Ask whoever holds the siren to let go, and wait until it has, 2 s at most."""
    path = folder / LOCK_NAME
    if not is_locked(path):
        return
    try:
        holder = os.pidfd_open(int(path.read_text(encoding="ascii")))
    except (OSError, ValueError) as error:
        _LOG.warning("%s: who holds the siren cannot be told (%s)", path, error)
        return
    try:
        signal.pidfd_send_signal(holder, signal.SIGTERM)
        if not select.select([holder], [], [], LETTING_GO_S)[0]:
            _LOG.warning("%s: the holder of the siren does not let go", path)
    except OSError as error:
        _LOG.warning("%s: the holder of the siren cannot be asked (%s)", path, error)
    finally:
        os.close(holder)


async def hold_siren_on(
    station: Station, machine: Machine, stop: asyncio.Event, seconds: float
) -> tuple[str, ...]:
    """Drive a station's sounders on, and leave all else that it drives in its safe state.

    Args:
        station: Its outputs are opened; one that cannot be is left out.
        machine: Where they are opened.
        stop: Set when the next run wants the pins.
        seconds: How long at most.

    Returns:
        The names of the outputs that were held.
    """
    opened: list[Any] = []
    held: list[str] = []
    try:
        for device in station.devices:
            if device.spec.kind is not Kind.OUTPUT:
                continue
            output = device.spec.opener()(
                device.name, device.options, machine, (device.output or "",)
            )
            try:
                await output.open()
                opened.append(output)
                if device.output == "buzzer":
                    output.write(True)
            except DriverError as error:
                _LOG.warning("%s", error)
            else:
                held.append(device.name)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await stop.wait()
    finally:
        for output in opened:
            await output.close()
    return tuple(held)
