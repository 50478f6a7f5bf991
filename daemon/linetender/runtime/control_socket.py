"""The station's local socket: how people at the computer itself talk to the daemon.

Who may is a matter of file permissions (0660, group `linetender` where there is one). No
client holds up the station: requests are paced, nothing is waited for, and a client that
does not read is dropped.
"""

import asyncio
import grp
import logging
import os
import socket
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import ExitStack, asynccontextmanager, suppress
from pathlib import Path
from typing import Protocol

import msgspec

from linetender.core.events import Event
from linetender.core.inputs import By, Verb
from linetender.core.instants import from_seconds
from linetender.core.snapshot import Snapshot
from linetender.runtime.control_messages import (
    LONGEST_LINE,
    SOCKET_NAME,
    Answer,
    Arguments,
    Ask,
    BrokerView,
    Request,
    Status,
)
from linetender.runtime.proof_messages import ProofView
from linetender_drivers.socket_path import short_path

_LOG = logging.getLogger(__name__)

GROUP = "linetender"
MODE = 0o660
FOLDER_MODE = 0o750

MOST_CLIENTS = 16
"""Further ones are turned away (chosen: a handful of terminals and a few scripts)."""

MOST_WAITING_BYTES = 256 * 1024
"""A client with more than this unread is dropped (chosen: over a minute of `watch`)."""

PACE_S = 0.005
"""Rest after each request of a client (chosen: a flood of them takes little of the loop)."""

IDLE_S = 30.0
"""A client that neither watches nor asks for so long is dropped (chosen)."""

_VERBS = {
    Ask.ACKNOWLEDGE: Verb.ACKNOWLEDGE,
    Ask.PAUSE_SOUND: Verb.PAUSE_SOUND,
    Ask.RESET: Verb.RESET,
    Ask.PRE_USE: Verb.PRE_USE,
    Ask.START: Verb.START,
    Ask.END: Verb.END,
    Ask.OUT: Verb.OUT,
}

_NO_REQUEST = (msgspec.MsgspecError, RecursionError, ValueError)
"""What comes of decoding something else than a request."""


class Controlled(Protocol):
    """The station that is talked to."""

    def snapshot(self) -> Snapshot:
        """Return how it stands."""

    def ask(
        self,
        verb: Verb,
        by: By,
        *,
        shown: int = 0,
        duration_ns: int = 0,
        rule: str = "",
        source: str = "",
        step: str = "",
        reason: str = "",
    ) -> str | None:
        """Hand on a wish; say why it would do nothing, or None."""

    def test_alarm(self) -> str | None:
        """Play every pattern once; say why not, or None."""

    def prove(self, args: Arguments, source: str) -> tuple[str | None, ProofView]:
        """Go on with a proof test; say why not (or None), and how it stands."""


class ControlSocket:
    """Serves one station.

    Args:
        folder: Where the socket is made.
        station: Id of the station.
        speak: Returns a line for people about an event, or None; given each once, in order.

    Attributes:
        path: Of the socket.
        pace_s: Rest after each request of a client (s).
        filter_due: Returns until when the filter is good (ISO 8601); empty where nothing says.
        broker: Returns how the way to the broker stands; None where there is none.
        until_known: Awaited before the answer to `status`: what has to be looked up first.
        until_ended: Awaited before the answer to an accepted `end`, if there is something
            to wait for.
    """

    def __init__(self, folder: Path, station: str, speak: Callable[[Event], str | None]) -> None:
        self.path = folder / SOCKET_NAME
        self.pace_s = PACE_S
        self.broker: Callable[[], BrokerView] | None = None
        self.filter_due: Callable[[], str] = str
        self.until_known: Callable[[], Awaitable[None]] | None = None
        self.until_ended: Callable[[], Awaitable[None]] | None = None
        self._station = station
        self._speak = speak
        self._controlled: Controlled | None = None
        self._clients: dict[asyncio.Task[None], asyncio.StreamWriter] = {}
        self._watching: dict[asyncio.StreamWriter, int] = {}

    @property
    def is_asked(self) -> bool:
        """Whether somebody is connected who does not merely watch."""
        return len(self._clients) > len(self._watching)

    @asynccontextmanager
    async def serving(self, controlled: Controlled) -> AsyncIterator[None]:
        """Serve while the context lasts. That it cannot be is logged, and hinders nothing."""
        self._controlled = controlled
        with ExitStack() as stack:
            server = await self._listen(stack)
            try:
                yield
            finally:
                if server is not None:
                    server.close()
                    await self._drop_all()
                    self.path.unlink(missing_ok=True)

    def tell(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Let those who watch see what happened; a listener of the live station."""
        # Whether somebody watches or not: what is news depends on what came before.
        lines = tuple(line for event in events if (line := self._speak(event)) is not None)
        if not self._watching:
            return
        status = self._status(snapshot, lines)
        for writer, number in list(self._watching.items()):
            self._send(writer, Answer(number, True, status))

    def _status(self, snapshot: Snapshot, lines: tuple[str, ...] = ()) -> Status:
        broker = None if self.broker is None else self.broker()
        return Status(self._station, snapshot, lines, broker, self.filter_due())

    async def _listen(self, stack: ExitStack) -> asyncio.Server | None:
        listening = socket.socket(socket.AF_UNIX)
        # Under its own name only once it answers, and only to those who may: what a daemon
        # that was killed left is replaced, as ours is the lock.
        unready = self.path.with_suffix(".new")
        try:
            unready.unlink(missing_ok=True)
            listening.bind(stack.enter_context(short_path(unready)))
            _open_to_group(unready)
            server = await asyncio.start_unix_server(
                self._serve, sock=listening, limit=LONGEST_LINE
            )
            unready.rename(self.path)
        except OSError as error:
            listening.close()
            _LOG.error("%s: nobody can talk to this daemon (%s)", self.path, error)
            return None
        return server

    async def _drop_all(self) -> None:
        # Not by cancelling: asyncio's streams of Python 3.11 log that as a mistake.
        for writer in self._clients.values():
            writer.transport.abort()
        await asyncio.gather(*self._clients)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is None or len(self._clients) >= MOST_CLIENTS:
            self._send(writer, Answer(0, False, error=f"{MOST_CLIENTS} others talk to it already"))
            writer.close()
            return
        self._clients[task] = writer
        try:
            await self._converse(reader, writer)
        except (ConnectionError, asyncio.IncompleteReadError, TimeoutError):
            pass  # it went away, in the middle of a line or not, or had nothing to ask
        except asyncio.CancelledError:
            # Everything ends, as when a simulated world is gone. There is nobody to hand the
            # cancelling on to: asyncio's streams of Python 3.11 log it as a mistake.
            pass
        finally:
            del self._clients[task]
            self._watching.pop(writer, None)
            writer.close()

    async def _converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        source = _peer(writer)
        while not writer.transport.is_closing():
            patience_s = None if writer in self._watching else IDLE_S
            try:
                async with asyncio.timeout(patience_s):
                    line = await reader.readuntil(b"\n")
                request = msgspec.json.decode(line, type=Request)
            except asyncio.LimitOverrunError:
                self._send(writer, Answer(0, False, error=f"a line is over {LONGEST_LINE} bytes"))
                return
            except _NO_REQUEST as error:
                self._send(writer, Answer(0, False, error=f"no request: {error}"))
                return
            if request.verb is Ask.STATUS and self.until_known is not None:
                await self.until_known()
            answer = self._answer(request, writer, source)
            if answer.ok and request.verb is Ask.END and self.until_ended is not None:
                await self.until_ended()
            self._send(writer, answer)
            await asyncio.sleep(self.pace_s)

    def _answer(self, request: Request, writer: asyncio.StreamWriter, source: str) -> Answer:
        station = self._controlled
        if station is None:
            return Answer(request.id, False, error="the station is not running")
        if request.verb in (Ask.STATUS, Ask.WATCH):
            if request.verb is Ask.WATCH:
                self._watching[writer] = request.id
            return Answer(request.id, True, self._status(station.snapshot()))
        proof: ProofView | msgspec.UnsetType = msgspec.UNSET
        if request.verb is Ask.TEST_ALARM:
            refusal = station.test_alarm()
        elif request.verb is Ask.PROOF:
            refusal, proof = station.prove(request.args, source)
        else:
            args = request.args
            refusal = station.ask(
                _VERBS[request.verb],
                By.WEARER if args.wearer else By.ATTENDANT,
                shown=args.shown,
                duration_ns=from_seconds(args.duration_s),
                rule=args.rule,
                step=args.step,
                reason=args.reason,
                source=source,
            )
        _LOG.info("%s from %s: %s", request.verb.value, source, refusal or "done")
        return Answer(request.id, refusal is None, error=refusal or msgspec.UNSET, proof=proof)

    def _send(self, writer: asyncio.StreamWriter, answer: Answer) -> None:
        transport = writer.transport
        if transport.is_closing():
            return
        writer.write(msgspec.json.encode(answer) + b"\n")
        if transport.get_write_buffer_size() > MOST_WAITING_BYTES:
            self._watching.pop(writer, None)
            transport.abort()


def _open_to_group(path: Path) -> None:
    """Let the group in: not by the bind, where the umask has its say."""
    with suppress(KeyError, PermissionError):
        group = grp.getgrnam(GROUP).gr_gid
        os.chown(path.parent, -1, group)
        os.chown(path, -1, group)
    path.parent.chmod(FOLDER_MODE)
    path.chmod(MODE)


def _peer(writer: asyncio.StreamWriter) -> str:
    """Return who is at the other end, as the kernel knows."""
    layout = struct.Struct("3i")
    peer: socket.socket = writer.get_extra_info("socket")
    _pid, uid, _gid = layout.unpack(
        peer.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, layout.size)
    )
    return f"socket, uid {uid}"
