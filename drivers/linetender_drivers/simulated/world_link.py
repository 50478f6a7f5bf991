"""A program's connection to a served world: what it asks, and what the world tells it.

Questions are blocking: simulated time stands still meanwhile, and the world answers within
a fraction of a millisecond. What takes simulated time is awaited.
"""

import asyncio
import socket
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any

import msgspec

from linetender_drivers.errors import (
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)
from linetender_drivers.simulated.world_wire import (
    SOCKET_NAME,
    Answer,
    Drop,
    Edge,
    Later,
    Refused,
    Request,
    Said,
)
from linetender_drivers.socket_path import short_path

PATIENCE_S = 60.0
"""Chosen: a world answers a station within a millisecond, or a busy computer's second."""

LONGEST_READ = 65_536
"""Bytes taken in at once."""

_KINDS = {kind.__name__: kind for kind in (DeviceNotFound, DeviceTimeout, DriverConfigError)}


class WorldGone(DriverError):
    """The simulated world cannot be reached, or is no longer served.

    Example scenarios: `linetender simulate` was stopped; the station file names another
    folder than it serves.
    """

    reason = FailureReason.NOT_FOUND


class WorldLink:
    """A connection to the world that is served from a folder; for one thread.

    Args:
        folder: Where `linetender simulate` was told to serve it.
        patience_s: A world that does not answer for so long in real time has gone; None:
            what is asked may take as long as it likes.

    Attributes:
        on_edge: Called with the new level of a claimed input, by GPIO.
        heard: How many lines the world has said so far.

    Raises:
        WorldGone: no world is served there.
    """

    def __init__(self, folder: Path, patience_s: float | None = PATIENCE_S) -> None:
        self.heard = 0
        self.on_edge: dict[int, Callable[[bool], None]] = {}
        self._place = str(folder)
        self._numbers = count(1)
        self._encoder = msgspec.json.Encoder()
        self._decoder = msgspec.json.Decoder(Said)
        self._rest = b""
        self._answers: dict[int, Answer | Refused | Later] = {}
        self._awaited: set[int] = set()
        self._late: dict[int, asyncio.Future[Answer]] = {}
        self._socket = socket.socket(socket.AF_UNIX)
        self._socket.settimeout(patience_s)
        try:
            with short_path(folder / SOCKET_NAME) as name:
                self._socket.connect(name)
        except OSError as error:
            self._socket.close()
            raise WorldGone(
                self._place,
                "no simulated world is served from this folder; start it with "
                f"`linetender simulate practice --at {folder}`",
            ) from error

    def fileno(self) -> int:
        """Return the descriptor that becomes readable when the world says something."""
        return self._socket.fileno()

    def next_id(self) -> int:
        """Return a number for a request."""
        return next(self._numbers)

    def send(self, request: Request) -> None:
        """Send a request whose answer does not matter.

        Raises:
            WorldGone: the world is no longer served.
        """
        try:
            self._socket.sendall(self._encoder.encode(request) + b"\n")
        except OSError as error:
            raise self._gone(error) from error

    def send_if_there(self, request: Request) -> None:
        """Send a request that a world which has gone need not hear any more."""
        with suppress(WorldGone):
            self.send(request)

    def expect(self, request: Request) -> None:
        """Send a request whose answer `taken` will give."""
        self._awaited.add(request.id)
        self.send(request)

    def taken(self, number: int) -> Answer | Later | None:
        """Return the answer to an expected request if it has come.

        Raises:
            DriverError: a device has failed.
            ValueError: the world refused the request.
        """
        answer = self._answers.pop(number, None)
        if isinstance(answer, Refused):
            raise _error(answer)
        return answer

    def ask(self, request: Request) -> Answer | Later:
        """Ask, and wait for the answer in real time.

        Raises:
            WorldGone: the world is no longer served.
            DriverError: a device has failed.
            ValueError: the world refused the request.
        """
        self.expect(request)
        while (answer := self.taken(request.id)) is None:
            self.receive()
        return answer

    def answer(self, request: Request) -> Answer:
        """Ask something that takes no simulated time; see `ask`."""
        answer = self.ask(request)
        if isinstance(answer, Later):
            raise WorldGone(self._place, "the world puts off what it should answer at once")
        return answer

    async def outcome(self, request: Request) -> Answer:
        """Ask something that may take simulated time; see `ask`."""
        answer = self.ask(request)
        if isinstance(answer, Answer):
            return answer
        try:
            return await self._late[request.id]
        finally:
            if self._late.pop(request.id).cancelled():
                self.send_if_there(Drop(self.next_id(), request.id))

    def receive(self) -> None:
        """Take in what the world has said; waits for it if it has said nothing.

        Raises:
            WorldGone: the world is no longer served.
        """
        try:
            data = self._socket.recv(LONGEST_READ)
        except OSError as error:
            raise self._gone(error) from error
        if not data:
            raise self._gone()
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            self._hear(line)

    def close(self) -> None:
        """End the connection."""
        self._socket.close()

    def _hear(self, line: bytes) -> None:
        said: Any = self._decoder.decode(line)
        self.heard += 1
        if isinstance(said, Edge):
            if said.gpio in self.on_edge:
                self.on_edge[said.gpio](said.high)
        elif isinstance(said, Later):
            if said.id in self._awaited:
                self._late[said.id] = asyncio.get_running_loop().create_future()
            self._hear_answer(said)
        elif said.id in self._late:
            self._settle(self._late[said.id], said)
        else:
            self._hear_answer(said)

    def _hear_answer(self, said: Answer | Refused | Later) -> None:
        if said.id in self._awaited:
            self._awaited.discard(said.id)
            self._answers[said.id] = said

    def _settle(self, late: asyncio.Future[Answer], said: Answer | Refused) -> None:
        if late.done():
            return
        if isinstance(said, Refused):
            late.set_exception(_error(said))
        else:
            late.set_result(said)

    def _gone(self, error: OSError | None = None) -> WorldGone:
        silent = isinstance(error, TimeoutError)
        what = "does not answer" if silent else "is no longer served"
        return WorldGone(self._place, f"the simulated world {what}")


def _error(refused: Refused) -> Exception:
    if not refused.reason:
        return ValueError(refused.why)
    reason = FailureReason(refused.reason)
    return _KINDS.get(refused.kind, DriverError)(refused.device, refused.why, reason)
