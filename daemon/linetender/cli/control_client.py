"""Talks to a running daemon over its local socket: finds it, asks, and hears."""

import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from linetender.cli.exit_codes import ExitCode
from linetender.runtime.control_messages import (
    SOCKET_NAME,
    Answer,
    Arguments,
    Ask,
    Request,
    Status,
)
from linetender.runtime.single_run import SERVICE_FOLDER, runtime_base
from linetender_drivers.socket_path import short_path

PATIENCE_S = 10.0
"""A daemon that says nothing for so long does not answer (chosen: `watch` comes each second)."""

StationOption = Annotated[
    str | None,
    typer.Option("--station", metavar="ID", help="Which one, where several run here."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the daemon's answer as JSON.")]
WearerOption = Annotated[
    bool,
    typer.Option("--wearer", help="It is the wearer's own hand; else it counts as an attendant's."),
]


class Unanswered(RuntimeError):
    """No daemon answers; the message says where it was looked for, and what to do."""


class ControlClient:
    """A connection to one daemon; use it as a context manager.

    Raises:
        Unanswered: it does not answer any more.
    """

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self._lines = connection.makefile("rb")
        self._number = 0

    def __enter__(self) -> "ControlClient":
        return self

    def __exit__(self, *failure: object) -> None:
        self._lines.close()
        self._connection.close()

    def ask(self, verb: Ask, args: Arguments | None = None) -> Answer:
        """Ask once and return the answer."""
        self._number += 1
        request = Request(self._number, verb, args or Arguments())
        try:
            self._connection.sendall(msgspec.json.encode(request) + b"\n")
        except OSError as error:
            raise Unanswered(f"the daemon went away ({error}). Nothing was done.") from error
        return self._hear()

    def status(self) -> Status:
        """Return how the station stands."""
        return _status(self.ask(Ask.STATUS))

    def watch(self) -> Iterator[Status]:
        """Yield how the station stands, at each change and each second, for ever."""
        yield _status(self.ask(Ask.WATCH))
        while True:
            yield _status(self._hear())

    def _hear(self) -> Answer:
        try:
            line = self._lines.readline()
            if not line.endswith(b"\n"):
                raise Unanswered("the daemon has ended the connection. Is it still running?")
            return msgspec.json.decode(line, type=Answer)
        except (OSError, msgspec.MsgspecError) as error:
            raise Unanswered(
                f"the daemon does not answer ({error}). Look at its log, or start it anew."
            ) from error


def _status(answer: Answer) -> Status:
    if isinstance(answer.result, Status):
        return answer.result
    raise Unanswered(f"the daemon does not say how it stands: {answer.error or 'no reason'}")


def connect(station: str | None) -> ControlClient:
    """Connect to the daemon that runs here.

    Args:
        station: Id of its station; None where only one runs.

    Raises:
        Unanswered: none runs, or this user may not talk to it.
        typer.BadParameter: several run.
    """
    found: dict[str, socket.socket] = {}
    forbidden: list[Path] = []
    for path in _paths(station):
        try:
            found.setdefault(path.parent.name, _connected(path))
        except PermissionError:
            forbidden.append(path)
        except OSError:
            continue  # left by one that was killed
    if len(found) == 1:
        return ControlClient(found.popitem()[1])
    for connection in found.values():
        connection.close()
    if found:
        names = ", ".join(sorted(found))
        raise typer.BadParameter(f"several stations run here ({names}); say which: --station ID")
    raise Unanswered(_why_none(station, forbidden))


def _connected(path: Path) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX)
    connection.settimeout(PATIENCE_S)
    try:
        with short_path(path) as name:
            connection.connect(name)
    except OSError:
        connection.close()
        raise
    return connection


def _paths(station: str | None) -> list[Path]:
    """Return the sockets there are, of this user's own daemons first."""
    paths: list[Path] = []
    for base in dict.fromkeys((*_own_base(), SERVICE_FOLDER)):
        try:
            names = [station] if station else sorted(os.listdir(base))
        except OSError:
            continue
        paths += [path for name in names if _may_be_socket(path := base / name / SOCKET_NAME)]
    return paths


def _own_base() -> tuple[Path, ...]:
    try:
        return (runtime_base(),)
    except PermissionError:  # made by another user: who knows what answers there
        return ()


def _may_be_socket(path: Path) -> bool:
    try:
        return stat.S_ISSOCK(path.stat().st_mode)
    except PermissionError:
        return True  # connecting will say so
    except OSError:
        return False


def _why_none(station: str | None, forbidden: list[Path]) -> str:
    if forbidden:
        return (
            f"{forbidden[0]}: this user may not talk to that daemon. Take the user that runs it, "
            "or add yours to the group: sudo usermod -aG linetender $USER, then log in anew."
        )
    which = f"station {station!r}" if station else "a station"
    return (
        f"no daemon that watches {which} runs here. Nothing is being watched now. "
        "To start it: linetender run FILE"
    )


def order(verb: Ask, station: str | None, args: Arguments, *, as_json: bool, done: str) -> None:
    """Ask for something, and print what came of it.

    Args:
        verb: What.
        station: Id of the station, or None.
        args: How it is meant.
        as_json: Print the answer itself.
        done: The words for a person when it was done.

    Raises:
        typer.Exit: it was refused; the reason was printed.
    """
    with connect(station) as client:
        report(client.ask(verb, args), as_json=as_json, done=done)


def report(answer: Answer, *, as_json: bool, done: str) -> None:
    """Print an answer.

    Raises:
        typer.Exit: it was refused.
    """
    if as_json:
        typer.echo(msgspec.json.encode(answer).decode())
    elif answer.ok:
        typer.echo(done)
    else:
        typer.echo(f"Not done: {answer.error}.", err=True)
    if not answer.ok:
        raise typer.Exit(ExitCode.FINDINGS)
